"""Logs that say which vessel dries, and timers that count running time; a real twin-tower dryer's switching among them.

The real files: MetroPT-3 (UCI 791, DOI 10.24432/C5VW3R, CC BY 4.0) and MetroPT 2022 (Zenodo), an air production unit of
a train; its timer runs only under load.
"""

import numpy as np
import pandas as pd
import pytest

from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.running import alternates, running_clocks
from diagnostics.errors import InputError
from diagnostics.log.record import Column, Conditions, Log, ScreenedLog
from tests.cycle.invented import plant_of, screened_log
from tests.shared_data import shared


def _without_dew_point(time_s, other, tower=None):
    channels = {} if tower is None else {"tower": tower}
    columns = {} if tower is None else {"tower": Column("Towers", "1")}
    log = Log("air unit", time_s, channels, columns, None, float(np.median(np.diff(time_s))), other=other)
    nothing = np.full(time_s.size, np.nan)
    conditions = Conditions(np.full(time_s.size, 8.0), None, None, None)
    return ScreenedLog(log, nothing, nothing, np.zeros(time_s.size, dtype=bool), (), conditions)


def _air_unit(name, *, tower):
    table = pd.read_csv(shared("data", "air_supply", name))
    time_s = pd.to_datetime(table["timestamp"]).to_numpy().astype("datetime64[ms]").astype(np.int64) / 1e3
    other = {c: table[c].to_numpy(float) for c in ("TP2", "DV_pressure", "Motor_current", "COMP", "DV_eletric")}
    towers = table["Towers"].to_numpy(float)
    return _without_dew_point(time_s, other, towers if tower else None), towers, other["DV_eletric"] > 0.5


@pytest.mark.parametrize("name", ["metropt3_first1000.csv", "metropt3_20200205_1h.csv"])
def test_the_real_timer_counts_sixty_seconds_of_running_time(name):
    screened, towers, loaded = _air_unit(name, tower=True)
    cycle = segment(screened, plant_of(None))
    assert cycle.control == "fixed"
    assert cycle.counted_in == "running_time"
    # steps are 9-10 s
    assert cycle.half_cycle_s.value == pytest.approx(60.0, abs=10.0)
    rows = np.searchsorted(screened.log.time_s, cycle.half_cycles["start_s"].to_numpy()[1:])
    assert loaded[rows].all()
    under_load = [i for i in range(1, towers.size) if towers[i] != towers[i - 1] and loaded[i] and loaded[i - 1]]
    assert set(under_load) <= set(rows)


@pytest.mark.parametrize("header", ["TP2", "DV_pressure"])
@pytest.mark.parametrize("name", ["metropt3_first1000.csv", "metropt3_20200205_1h.csv", "metropt2022_1hz_1000.csv"])
def test_the_compressors_own_cycle_is_not_taken_for_the_dryers(name, header):
    table = pd.read_csv(shared("data", "air_supply", name))
    time_s = pd.to_datetime(table["timestamp"]).to_numpy().astype("datetime64[ms]").astype(np.int64) / 1e3
    screened = _without_dew_point(time_s, {c: table[c].to_numpy(float) for c in ("TP2", "DV_pressure", "COMP")})
    cycle = segment(screened, plant_of(None), rhythm_from=header)
    assert cycle.half_cycle_s is None or cycle.half_cycle_s.low <= 60.0 <= cycle.half_cycle_s.high


def _train(seed):
    """An air unit that is loaded for minutes to hours; its timer and the dips at each change count loaded time."""
    rng = np.random.default_rng(seed)
    n = 4000
    time_s = 1.58e9 + np.cumsum(rng.choice([9.0, 10.0, 10.0, 10.0], n))
    loaded = np.zeros(n, dtype=bool)
    at = 0
    while at < n:
        idle, busy = int(rng.integers(60, 200)), int(rng.integers(60, 900))
        loaded[at + idle : at + idle + busy] = True
        at += idle + busy
    run = np.concatenate([[0.0], np.cumsum(np.diff(time_s) * loaded[:-1])])
    tower = np.floor((run + rng.uniform(0, 60)) / 59.6).astype(int) % 2
    changed = np.concatenate([[False], np.diff(tower) != 0]) & loaded
    pressure = 8.6 + rng.normal(0, 0.02, n) - 0.08 * tower - changed * rng.uniform(0.15, 0.4, n)
    pressure = np.where(loaded, pressure, -0.013 + rng.normal(0, 0.002, n))
    inner = changed & np.concatenate([[False], loaded[:-1]])
    return time_s, pressure, loaded, np.flatnonzero(inner)


@pytest.mark.parametrize("seed", range(3))
def test_blind_from_a_pressure_that_dips_at_each_change(seed):
    time_s, pressure, loaded, true = _train(seed)
    cycle = segment(_without_dew_point(time_s, {"TP2": pressure}), plant_of(None), rhythm_from="TP2")
    assert cycle.counted_in == "running_time"
    assert cycle.half_cycle_s.value == pytest.approx(59.6, rel=1e-3)
    rows = np.searchsorted(time_s, cycle.half_cycles["start_s"].to_numpy())
    near = [np.abs(rows - i).min() for i in true]
    assert np.mean(np.array(near) <= 1) >= 0.98
    assert np.mean(np.array(near) == 0) >= 0.95
    assert np.mean(loaded[np.clip(rows, 0, time_s.size - 1)]) >= 0.99


def _measured(name):
    table = pd.read_csv(shared("data", "air_supply", name))
    time_s = pd.to_datetime(table["timestamp"]).to_numpy().astype("datetime64[ms]").astype(np.int64) / 1e3
    left_out = ("timestamp", "Towers", "Unnamed: 0")
    other = {c: table[c].to_numpy(float) for c in table.columns if c not in left_out}
    return _without_dew_point(time_s, other), table["Towers"].to_numpy(), table["DV_eletric"].to_numpy() > 0.5


def _under_load(tower, loaded):
    return {i for i in range(1, tower.size) if tower[i] != tower[i - 1] and loaded[i] and loaded[i - 1]}


def test_the_real_timer_shows_blind_in_the_dips_of_a_pressure():
    screened, tower, loaded = _measured("metropt3_first1000.csv")
    cycle = segment(screened, plant_of(None), rhythm_from="TP2")
    assert cycle.control == "fixed"
    assert cycle.counted_in == "running_time"
    assert cycle.half_cycle_s.low <= 60.0 <= cycle.half_cycle_s.high
    rows = np.searchsorted(screened.log.time_s, cycle.half_cycles["start_s"].to_numpy()[1:])
    assert set(rows[loaded[rows] & loaded[rows - 1]]) == _under_load(tower, loaded)


@pytest.mark.parametrize(
    ("name", "header"),
    [
        ("metropt3_first1000.csv", "DV_pressure"),
        ("metropt3_20200205_1h.csv", "TP2"),
        ("metropt3_20200205_1h.csv", "DV_pressure"),
        ("metropt2022_1hz_1000.csv", "TP2"),
        ("metropt2022_1hz_1000.csv", "DV_pressure"),
    ],
)
def test_a_column_that_stands_still_or_two_runs_under_load_tell_nothing(name, header):
    screened, _, _ = _measured(name)
    cycle = segment(screened, plant_of(None), rhythm_from=header)
    assert not cycle.resolved
    assert cycle.half_cycles.empty


def _light_load(seed, dips=True, hours=16.0):
    """A compressor that fills its vessel in one to three minutes and rests half an hour; noise and dips invented."""
    rng = np.random.default_rng(seed)
    fine = 0.5
    time_s = fine * np.arange(int(hours * 7200))
    loaded = np.zeros(time_s.size, dtype=bool)
    at = 1500.0
    while at < time_s[-1]:
        lasts = rng.uniform(70.0, 160.0)
        loaded[(time_s >= at) & (time_s < at + lasts)] = True
        at += lasts + rng.uniform(1200.0, 2400.0)
    run = np.cumsum(loaded) * fine
    tower = np.floor((run + rng.uniform(0.0, 60.3)) / 60.3).astype(int)
    turned = np.concatenate([[0], np.maximum.accumulate(np.where(np.diff(tower) > 0, run[1:], -1e9))])
    since = np.where(loaded & dips, run - turned, 1e9)
    started = np.maximum.accumulate(np.where(np.diff(loaded.astype(int), prepend=0) > 0, np.arange(time_s.size), 0))
    filling = np.cumsum(loaded & (since >= 2.0)) * fine
    line = 8.1 + 0.024 * np.where(loaded, filling - filling[started], 0.0)
    outlet = np.where(loaded, line + 0.4 - 0.8 * np.exp(-since / 2.5), -0.012)
    stamps = np.cumsum(rng.choice([9.0, 10.0, 10.0, 10.0], int(hours * 360)))
    place = np.searchsorted(time_s, stamps[stamps < time_s[-1]])
    shown = [np.round(v[place] + rng.normal(0.0, 0.006, place.size), 3) for v in (outlet, line)]
    return 1.58e9 + time_s[place], *shown, loaded[place], tower[place]


def test_single_dips_under_short_loads_give_the_changes():
    met = all_found = all_true = 0
    for seed in range(3):
        time_s, outlet, line, loaded, tower = _light_load(seed)
        screened = _without_dew_point(time_s, {"out": outlet, "line": line})
        cycle = segment(screened, plant_of(None), rhythm_from="out")
        assert cycle.counted_in == "running_time"
        assert cycle.half_cycle_s.low <= 60.3 <= cycle.half_cycle_s.high
        rows = np.searchsorted(time_s, cycle.half_cycles["start_s"].to_numpy()[1:])
        found, true = set(rows[loaded[rows] & loaded[rows - 1]]), _under_load(tower, loaded)
        met, all_found, all_true = met + len(found & true), all_found + len(found), all_true + len(true)
    assert met >= 0.95 * all_true
    assert met >= 0.95 * all_found


@pytest.mark.parametrize("seed", range(4))
def test_short_loads_without_dips_tell_nothing(seed):
    time_s, outlet, line, _, _ = _light_load(seed, dips=False)
    screened = _without_dew_point(time_s, {"out": outlet, "line": line})
    assert not segment(screened, plant_of(None), rhythm_from="out").resolved


def test_a_tower_channel_is_taken_as_it_stands():
    time_s = 1.7e9 + 10.0 * np.arange(2000)
    tower = (np.floor((time_s - time_s[0] + 70.0) / 240.0) % 2).astype(float)
    screened = screened_log(time_s, np.full(2000, -50.0), 10.0)
    log = screened.log
    with_tower = ScreenedLog(
        Log("x", time_s, {**log.channels, "tower": tower}, {}, None, 10.0),
        screened.dew_point_c,
        screened.moisture,
        screened.used,
        (),
        screened.conditions,
    )
    cycle = segment(with_tower, plant_of(240.0))
    assert cycle.control == "fixed"
    assert cycle.counted_in == "clock_time"
    assert cycle.half_cycle_s.value == 240.0
    names = cycle.half_cycles["tower"].to_numpy()
    at = np.searchsorted(time_s, cycle.half_cycles["start_s"].to_numpy() + 1.0)
    assert len({(name, value) for name, value in zip(names, tower[at], strict=True)}) == 2


def test_an_unknown_title_is_refused_with_those_that_are_there():
    screened = screened_log(10.0 * np.arange(100), np.full(100, -40.0), 10.0, {"Tower A pressure": np.zeros(100)})
    with pytest.raises(InputError, match=r"no numeric column 'B'.*Tower A pressure"):
        segment(screened, plant_of(None), rhythm_from="B")


def test_a_vessels_pressure_gives_the_half_cycle():
    time_s = 1.7e9 + 10.0 * np.arange(6000)
    rng = np.random.default_rng(3)
    drying = np.floor((time_s - time_s[0] + 33.0) / 299.3) % 2 == 0
    pressure = np.where(drying, 7.0, 0.1) + rng.normal(0, 0.02, time_s.size)
    screened = screened_log(time_s, -60.0 + rng.normal(0, 0.1, time_s.size), 10.0, {"p A": pressure})
    cycle = segment(screened, plant_of(None), rhythm_from="p A")
    assert cycle.half_cycle_s.value == pytest.approx(299.3, rel=1e-3)


def test_only_columns_of_two_levels_drive_a_clock():
    time_s = 10.0 * np.arange(500)
    rng = np.random.default_rng(1)
    on = (np.arange(500) % 100 < 20).astype(float)
    log = Log("x", time_s, {}, {}, None, 10.0, other={"load": on, "noise": rng.normal(size=500)})
    clocks = running_clocks(log)
    assert {clock.column for clock in clocks} == {"load"}
    assert clocks[0].run_s[-1] == pytest.approx(10.0 * on[:-1].sum())
    assert not alternates(on)
    assert alternates(rng.normal(size=500))
