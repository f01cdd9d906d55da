"""Intervals carried through sums and products."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.energy.uncertain import known, relative, uncertain
from diagnostics.estimate import Estimate


@given(st.floats(0.01, 1e4), st.floats(0.0, 1.0), st.floats(0.0, 3.0))
def test_an_input_comes_back_as_it_went_in(value: float, below: float, above: float) -> None:
    estimate = Estimate(value, value / (1 + below), value * (1 + above))
    back = uncertain("x", estimate).estimate()
    assert back.value == value
    assert back.low == pytest.approx(estimate.low, rel=0.02)
    assert back.high == pytest.approx(estimate.high, rel=0.02)


def test_same_name_moves_in_step_other_names_do_not() -> None:
    one, again, other = relative("flow", 1.0, 0.1), relative("flow", 2.0, 0.1), relative("purge", 1.0, 0.1)
    ratio = (again / one).estimate()
    assert ratio.high - ratio.low == pytest.approx(0.0, abs=1e-9)
    assert abs(np.corrcoef(one.draws, other.draws)[0, 1]) < 0.1


def test_product_of_independent_inputs() -> None:
    # lognormal factors: relative 95 % half-widths add in squares (JCGM 100, 5.1.6)
    product = (relative("a", 2.0, 0.10) * relative("b", 3.0, 0.20)).estimate()
    width = np.log(product.high / product.value)
    assert product.value == 6.0
    assert width == pytest.approx(np.hypot(np.log(1.1), np.log(1.2)), rel=0.06)


def test_draws_repeat() -> None:
    assert np.array_equal(relative("flow", 1.0, 0.1).draws, relative("flow", 1.0, 0.1).draws)


def test_a_quantity_that_may_be_nought_is_never_negative() -> None:
    assert uncertain("y", Estimate(0.02, 0.0, 0.05)).draws.min() >= 0.0


def test_known_figures_have_no_width() -> None:
    total = (known(2.0) + 3.0 - 1.0).estimate()
    assert (total.low, total.value, total.high) == (4.0, 4.0, 4.0)
