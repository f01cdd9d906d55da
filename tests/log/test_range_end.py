"""An end of the range against air that comes to rest, at every step of the display."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.log.stuck import find_range_end


def _heated(step_k: float) -> np.ndarray:
    """Four days of a heated dryer, a reading every five minutes: a spike after each changeover that dies away."""
    rng = np.random.default_rng(3)
    since_s = np.mod(np.arange(0.0, 4 * 86400.0, 300.0), 14437.0)
    shown = -68.1 + 12.0 * np.exp(-since_s / 900.0) + 0.03 * rng.standard_normal(since_s.size)
    return np.round(np.round(shown / step_k) * step_k, 2)


@pytest.mark.parametrize("step_k", [0.1, 0.2, 0.5, 1.0])
def test_a_floor_in_coarse_steps_is_no_end_of_the_range(step_k: float) -> None:
    assert find_range_end(_heated(step_k), step_k) == ()


@pytest.mark.parametrize("step_k", [0.01, 0.1, 0.5])
def test_a_course_cut_off_on_its_way_is_one(step_k: float) -> None:
    cut = np.maximum(_heated(step_k), -64.0)
    assert find_range_end(cut, step_k) == (-64.0,)
