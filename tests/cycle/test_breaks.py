"""One break a period or two: a spike that dies away once must not be taken for two unlike towers.

The folded curves follow from their formula; invented, no outside source.
"""

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.cycle.folding import breaks_ratio, fold
from diagnostics.cycle.trace import trace_of
from diagnostics.cycle.tracking import breaks_a_period

PERIOD_S, INTERVAL_S = 14386.9, 60.0


def _folded(shape, seed: int):
    noise = np.random.default_rng(seed)
    time_s = np.arange(0.0, 18 * PERIOD_S, INTERVAL_S)
    value = shape(np.mod(time_s - 131.7 * seed, PERIOD_S)) + noise.normal(0.0, 0.01, time_s.size)
    return fold(time_s, value - value.mean(), PERIOD_S, INTERVAL_S, 0.0)


def _spike(since_s, size: float = 6.0):
    """A spike that a quick probe shows within seconds and that dies away within a quarter of an hour."""
    return size * (np.exp(-since_s / 900.0) - np.exp(-since_s / 3.0))


@pytest.mark.parametrize("seed", range(8))
def test_one_sharp_spike_a_period_is_one_break_wherever_it_falls_between_the_trials(seed):
    assert breaks_ratio(_folded(_spike, seed), INTERVAL_S) < 1.2


@pytest.mark.parametrize("seed", range(4))
def test_two_unlike_spikes_a_period_are_two_breaks(seed):
    def towers(since_s):
        later = np.mod(since_s - 0.5 * PERIOD_S, PERIOD_S)
        return _spike(since_s) + _spike(later, 2.0)

    assert breaks_ratio(_folded(towers, seed), INTERVAL_S) > 1.45


def test_the_timer_setting_says_which_way_to_lean_where_the_breaks_do_not_decide():
    def shape(since_s):
        later = np.mod(since_s - 0.5 * PERIOD_S, PERIOD_S)
        return _spike(since_s) + _spike(later, 0.5)

    folded = _folded(shape, 3)
    assert 1.15 < breaks_ratio(folded, INTERVAL_S) < 4.0
    time_s = np.arange(0.0, 10.0 * PERIOD_S, INTERVAL_S)
    trace = trace_of(time_s, np.zeros(time_s.size), INTERVAL_S)
    told = [breaks_a_period(folded, replace(trace, plate_s=plate_s)) for plate_s in (PERIOD_S, 0.5 * PERIOD_S)]
    assert told == [1, 2]
