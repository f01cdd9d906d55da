"""Peaks and prominences against scipy.signal.find_peaks, a general-purpose reference library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import find_peaks as reference

from diagnostics.cycle.peaks import find_peaks


def assert_same(values: np.ndarray, least: float) -> None:
    index, prominence = find_peaks(values, least)
    wanted, about = reference(values, prominence=least)
    np.testing.assert_array_equal(index, wanted)
    np.testing.assert_array_equal(prominence, about["prominences"])


@settings(deadline=None, max_examples=200)
@given(st.lists(st.integers(-4, 4), min_size=1, max_size=60), st.integers(0, 4))
def test_small_traces_with_flat_tops(values: list[int], least: int) -> None:
    assert_same(np.array(values, float), float(least))


@pytest.mark.parametrize("least", [0.0, 0.5, 2.0])
def test_a_long_walk(least: float) -> None:
    steps = np.random.default_rng(5).standard_normal(20_000)
    assert_same(np.round(np.cumsum(steps), 1), least)
