"""The scatter of one reading, whatever the display's last digit."""

import numpy as np
import pytest

from diagnostics.cycle.events import noise_of


@pytest.mark.parametrize("digit", [0.0, 0.5, 1.0, 2.0])
def test_a_coarse_digit_does_not_hide_how_much_a_reading_scatters(digit):
    rng = np.random.default_rng(0)
    value = rng.normal(0.0, 1.0, 20_000)
    if digit:
        value = np.round(value / digit) * digit
    assert noise_of(value) == pytest.approx(1.0, rel=0.1)


def test_a_trace_that_hardly_moves_scatters_by_its_digit():
    value = np.zeros(1000)
    value[::100] = 0.1
    assert noise_of(value) == pytest.approx(0.1 / np.sqrt(12.0), rel=0.2)
