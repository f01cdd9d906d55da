"""The switchover's phase in an average cycle: where the trace starts to answer, whatever comes after.

Cycles are invented from their formula and seen through a first-order lag; no outside source.
"""

import numpy as np
import pytest
from scipy.signal import lfilter

from diagnostics.cycle.placing import fold_to_place, place_break


def _placed(shape, half_s, interval_s, lag_s, cycles, noise, seed, level=None):
    """How late the switchover is placed [s], and its standard error, for a switchover at a quarter of the phase."""
    rng = np.random.default_rng(seed)
    fine_s = interval_s / 20.0
    time_s = np.arange(-3.0 * half_s, cycles * half_s, fine_s)
    share = 1.0 - np.exp(-fine_s / lag_s)
    seen = lfilter([share], [1.0, share - 1.0], shape(np.mod(time_s - 0.25 * half_s, half_s) / half_s))
    read_s = np.arange(0.0, cycles * half_s - interval_s, interval_s)
    value = np.interp(read_s, time_s, seen)
    value = value + noise * np.ptp(value) * rng.normal(size=read_s.size)
    folded = fold_to_place(np.mod(read_s, half_s), value - value.mean(), half_s, interval_s, cycles, 1)
    found = place_break((folded,), interval_s)
    return (found.phase_s - 0.25 * half_s + 0.5 * half_s) % half_s - 0.5 * half_s, found.error_s


def _wave_of_heat(since):
    """A leap at the switchover, and minutes later the water that the heat of regeneration left."""
    return 0.5 * np.exp(-since / 0.02) + np.exp(-(((since - 0.1) / 0.03) ** 2)) + 0.01 * np.exp((since - 1.0) / 0.2)


def _spike_and_tail(since):
    return 0.3 * np.exp(-since / 0.1) + 0.3 * np.exp((since - 1.0) / 0.4)


@pytest.mark.parametrize("seed", range(3))
def test_a_wave_minutes_after_the_switchover_is_not_taken_for_it(seed):
    late_s, error_s = _placed(_wave_of_heat, 14_391.0, 60.0, 90.0, 20, 0.01, seed)
    assert abs(late_s) < 0.03 * 14_391.0
    assert error_s < 0.05 * 14_391.0


@pytest.mark.parametrize(("half_s", "interval_s"), [(241.3, 10.0), (299.1, 60.0), (316.0, 60.0)])
@pytest.mark.parametrize("seed", range(3))
def test_a_noisy_ripple_is_placed_within_a_twentieth(half_s, interval_s, seed):
    late_s, _ = _placed(_spike_and_tail, half_s, interval_s, 25.0, 300, 0.2, seed)
    assert abs(late_s) < 0.05 * half_s


def test_a_timer_of_whole_readings_is_placed_with_a_wide_error():
    late_s, error_s = _placed(_spike_and_tail, 300.0, 60.0, 25.0, 300, 0.05, 1)
    assert error_s > 20.0
    assert abs(late_s) < 2.0 * error_s


def test_a_plain_wave_tells_no_switchover():
    _, error_s = _placed(lambda since: np.sin(2.0 * np.pi * since), 241.3, 10.0, 5.0, 300, 0.2, 1)
    assert error_s > 0.08 * 241.3


@pytest.mark.parametrize("tail", [0.25, 0.4])
def test_a_smooth_ripple_that_rises_late_and_falls_early_is_placed_at_its_top(tail):
    late_s = [
        _placed(lambda since: np.exp((since - 1.0) / tail), 179.8, 10.0, 36.0, 300, 0.15, seed)[0] for seed in range(4)
    ]
    assert abs(np.mean(late_s)) < 0.008 * 179.8


def test_what_is_enough_for_a_template_is_near_the_place_told():
    time_s = np.arange(0.0, 300 * 241.3, 10.0)
    phase = np.mod(time_s, 241.3)
    value = _spike_and_tail(phase / 241.3)
    folded = fold_to_place(phase, value - value.mean(), 241.3, 10.0, 300, 1)
    roughly, told = place_break((folded,), 10.0, roughly=True), place_break((folded,), 10.0)
    for each in (roughly, told):
        assert abs((each.phase_s + 0.5 * 241.3) % 241.3 - 0.5 * 241.3) < 0.05 * 241.3
