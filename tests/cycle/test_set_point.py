"""Dew-point-dependent switching in invented logs: no period, only a level."""

import numpy as np
import pytest

from diagnostics.cycle.events import Falls
from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.set_point import by_set_point
from diagnostics.cycle.trace import trace_of
from tests.cycle.invented import set_point_log
from tests.cycle.scoring import margin_of, score


def _found(made, cycle):
    found = cycle.half_cycles["start_s"].to_numpy()
    return found[found > made.screened.log.time_s[0]]


@pytest.mark.parametrize("seed", range(4))
def test_switchovers_and_set_point(seed):
    made = set_point_log(seed=seed)
    cycle = segment(made.screened, made.plant)
    assert cycle.control == "dew_point"
    margin = margin_of(made.screened.log.interval_s, np.median(np.diff(made.switchovers_s)))
    assert score(made.switchovers_s, _found(made, cycle), margin).f1 >= 0.97
    # the lag lowers the highest reading a little
    assert cycle.set_point_c.value == pytest.approx(-45.0, abs=0.35)
    low, high = cycle.half_cycle_spread_s
    assert high / low > 1.3


def test_long_half_cycles_at_a_reading_a_minute():
    made = set_point_log(
        seed=9, usual_s=40_000.0, interval_s=60.0, half_cycles=14, floor_c=-62.0, lag_s=120.0, set_point_c=-45.0
    )
    cycle = segment(made.screened, made.plant)
    assert cycle.control == "dew_point"
    margin = margin_of(60.0, np.median(np.diff(made.switchovers_s)))
    assert score(made.switchovers_s, _found(made, cycle), margin).f1 >= 0.97


def test_a_log_that_obeys_first_one_control_then_the_other_is_split():
    made = set_point_log(seed=5, fixed_first=150, fixed_s=300.0, half_cycles=150, usual_s=520.0)
    cycle = segment(made.screened, made.plant)
    kinds = {span.control for span in cycle.control_spans}
    assert {"fixed", "dew_point"} <= kinds
    change = made.switchovers_s[np.argmax(np.diff(made.switchovers_s) > 301.0)]
    turn = next(span.start_s for span in cycle.control_spans if span.control == "dew_point")
    assert turn == pytest.approx(change, abs=8 * 520.0)
    margin = margin_of(10.0, 300.0)
    assert score(made.switchovers_s, _found(made, cycle), margin).f1 >= 0.93


def test_waves_of_the_load_far_below_the_set_point_are_no_switchovers():
    rng = np.random.default_rng(3)
    hours = np.array([19.0, 22.5, 17.2, 24.0, 20.1, 18.3, 21.7, 23.1, 19.6])
    at = 3600.0 * np.concatenate([[5.0], 5.0 + np.cumsum(hours)])
    time_s = 120.0 * np.arange(int((at[-1] + 20_000.0) / 120.0))
    since = time_s - at[np.searchsorted(at, time_s, side="right").clip(1) - 1]
    whole = np.append(np.diff(at), np.diff(at)[-1])[np.searchsorted(at, time_s, side="right").clip(1) - 1]
    value = np.where(time_s < at[0], -13.0 + time_s / at[0] * 1.4, -14.0 + 2.4 * np.exp((since / whole - 1.0) * 8.0))
    waves = at[[2, 5]] + 9.0 * 3600.0
    for wave in waves:
        apart = time_s - wave
        value += np.where(apart <= 0.0, 1.6 * np.exp(apart / 5000.0), 1.6 * np.exp(-apart / 600.0))
    trace = trace_of(time_s, value + 0.005 * rng.standard_normal(time_s.size), 120.0)
    every = np.sort(np.concatenate([at, waves]))
    falls = Falls(every, np.interp(every, time_s, trace.value), np.full(every.size, 2.0), 1e-9)
    found = by_set_point(trace, falls, 14_400.0).stretches[0].switchovers_s
    assert found.size == at.size
    assert np.abs(found - at).max() < 600.0


def test_a_slug_that_dries_off_after_the_last_fall_is_no_stop():
    lengths = 3600.0 * np.array([6.0, 7.5, 5.2, 8.0, 6.6, 7.1])
    at = 20_000.0 + np.concatenate([[0.0], np.cumsum(lengths)])
    time_s = 60.0 * np.arange(int((at[-1] + 200_000.0) / 60.0))
    place = np.searchsorted(at, time_s, side="right").clip(1) - 1
    since, whole = time_s - at[place], np.append(lengths, 25_000.0)[place]
    value = -14.0 + 2.0 * np.exp((np.minimum(since / whole, 1.0) - 1.0) * 6.0)
    slug = time_s > at[-1] + 5000.0
    words = {}
    for word, slope in (("unresolved", -1.0), ("stopped", 1.0)):
        course = value.copy()
        course[slug] = -9.0 + 1.5 * slope * (time_s[slug] - at[-1]) / 200_000.0
        trace = trace_of(time_s, course + 0.003 * np.random.default_rng(0).standard_normal(time_s.size), 60.0)
        falls = Falls(at[1:], np.full(6, -12.0), np.full(6, 2.0), 1e-9)
        words[word] = by_set_point(trace, falls, 14_400.0).spans[-1].control
    assert words == {"unresolved": "unresolved", "stopped": "stopped"}
