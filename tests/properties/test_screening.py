"""What screening must not depend on: where the clock starts, how fast it runs, rows without a reading."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.log.holes import find_gaps
from diagnostics.log.screening import screen
from diagnostics.log.statistics import statistics, used_statistics
from diagnostics.log.stuck import runs_of_equal
from tests.log.screening_logs import dry_down, dryer_air, log_of, noisy, plant_of


def _settling_log(seed: int):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(seed)
    trace, _ = dry_down(dryer_air(rng, 24.0, 60.0, 300.0), 5.0, 400.0, 2.0, 2400.0)
    return log_of(trace.time_s, noisy(rng, trace))


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 1000), st.integers(-(10**8), 10**8))
def test_exclusions_move_with_the_clock(seed: int, shift_s: int) -> None:
    log = _settling_log(seed)
    here = screen(log, plant_of()).exclusions
    there = screen(dataclasses.replace(log, time_s=log.time_s + shift_s), plant_of()).exclusions
    assert [e.reason for e in here] == [e.reason for e in there] == ["settling"]
    assert there[0].end_s - shift_s == pytest.approx(here[0].end_s, rel=0, abs=240.0)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 1000), st.lists(st.integers(600, 1400), max_size=40, unique=True))
def test_rows_without_a_reading_change_nothing_else(seed: int, rows: list[int]) -> None:
    log = _settling_log(seed)
    holes = log.channels["dew_point"].copy()
    holes[rows] = np.nan
    whole = screen(log, plant_of())
    pierced = screen(dataclasses.replace(log, channels={"dew_point": holes}), plant_of())
    assert not pierced.used[rows].any()
    ends = [[e.end_s for e in s.exclusions if e.reason == "settling"] for s in (whole, pierced)]
    assert ends[1] == pytest.approx(ends[0], rel=0, abs=0.15 * (ends[0][0] - log.time_s[0]))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.booleans(), min_size=2, max_size=60))
def test_gaps_are_the_holes_of_more_than_three_intervals(valid: list[bool]) -> None:
    """Against a loop over the valid readings one by one."""
    mask = np.array(valid)
    time_s = 60.0 * np.arange(mask.size)
    times = time_s[mask]
    found = {(g.start_s, g.end_s) for g in find_gaps(time_s, mask, 60.0)}
    wide = {(float(a), float(b)) for a, b in pairwise(times) if b - a > 180.0}
    assert found <= wide
    lone = {w for w in wide if np.diff(times[np.abs(times - w[0]) <= 360.0]).tolist().count(60.0) >= 4}
    assert lone <= found | {w for w in wide if sum(abs(v[0] - w[0]) <= 1500.0 for v in wide) > 1}


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 2), min_size=1, max_size=50))
def test_runs_of_equal_readings_agree_with_a_loop(values: list[int]) -> None:
    naive, first = [], 0
    for i in range(1, len(values) + 1):
        if i == len(values) or values[i] != values[first]:
            if i - first >= 3:
                naive.append((first, i - 1, float(values[first])))
            first = i
    assert [(r.first, r.last, r.value) for r in runs_of_equal(np.array(values, dtype=float))] == naive


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_statistics_against_numpy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    air = dryer_air(rng, 4.0, 60.0, 300.0)
    shown = noisy(rng, air)
    shown[rng.integers(0, shown.size, 5)] = np.nan
    log = log_of(air.time_s, shown)
    described = statistics(log)["dew_point_c"]
    valid = log.channels["dew_point"][np.isfinite(shown)]
    assert described["mean"] == pytest.approx(np.nanmean(valid))
    assert described["p95"] == pytest.approx(np.percentile(valid, 95))
    used = used_statistics(screen(log, plant_of()))["dew_point_c"]
    assert used["mean"] <= used["moisture_mean_dew_point_c"] + 0.02
