"""What is set aside, on invented traces with known truth; sound logs must keep every reading."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest

from diagnostics.air.humidity import change_pressure, mixing_ratio_g_kg, moisture_fraction
from diagnostics.errors import InputError
from diagnostics.log.reading import read_log
from diagnostics.log.record import ClockJump, Log, ScreenedLog
from diagnostics.log.screening import screen
from diagnostics.log.stuck import find_frozen
from diagnostics.plant import load_plant, plant_from
from tests.log.screening_logs import dry_down, dryer_air, log_of, noisy, plant_of
from tests.second_plant import second_plant
from tests.shared_data import shared


def _spans(screened: ScreenedLog, reason: str) -> list[tuple[float, float]]:
    return [(e.start_s, e.end_s) for e in screened.exclusions if e.reason == reason]


def _overlap(screened: ScreenedLog, reason: str, rows: np.ndarray) -> float:
    """Intersection over union, in readings."""
    time_s = screened.log.time_s
    found = np.zeros(time_s.size, dtype=bool)
    for start, end in _spans(screened, reason):
        found |= (time_s >= start) & (time_s <= end)
    truth = np.zeros(time_s.size, dtype=bool)
    truth[rows] = True
    return float((found & truth).sum() / max((found | truth).sum(), 1))


def _codes(screened: ScreenedLog) -> set[str]:
    return {s.code for s in screened.signs}


@pytest.mark.parametrize("ripple", [False, True])
def test_settling_ends_where_the_dry_down_is_half_a_kelvin_above_its_target(ripple: bool) -> None:
    """The outside contract's bar: within 20 % of the settling, or five readings."""
    rng = np.random.default_rng(20260301 + ripple)
    good = []
    for k in range(16):
        heated = k % 2 == 1 and ripple
        half_cycle_s = 14400.0 if heated else 300.0
        kind = "heated_purge" if heated else "heatless"
        interval_s = float(rng.choice([30.0, 60.0]))
        air = dryer_air(
            rng, 48.0, interval_s, half_cycle_s, level_c=rng.uniform(-70, -40), ripple_k=2.0 * ripple,
            daily_k=0.5 * ripple, kind=kind,
        )  # fmt: skip
        trace, settled_s = dry_down(
            air, rng.uniform(-10, 15), rng.uniform(150, 900), rng.uniform(0.5, 5), rng.uniform(1500, 5400)
        )
        screened = screen(log_of(trace.time_s, noisy(rng, trace)), plant_of(kind, half_cycle_s))
        spans = _spans(screened, "settling")
        assert spans, "a plain dry-down was not seen"
        allowed = max(0.2 * (settled_s - trace.time_s[0]), 5 * interval_s)
        good.append(len(spans) == 1 and abs(spans[0][1] - settled_s) <= allowed)
        assert "unsettled" in _codes(screened)
    assert np.mean(good) >= (0.9 if ripple else 1.0), f"{np.mean(good):.2f} within the bar"


def _sound(kind: str, seed: int) -> Log:
    rng = np.random.default_rng(seed)
    half_cycle_s = float(rng.choice([180.0, 300.0])) if kind == "heatless" else float(rng.choice([7200.0, 14400.0]))
    air = dryer_air(
        rng, float(rng.choice([12.0, 24.0, 48.0])), float(rng.choice([20.0, 60.0])), half_cycle_s,
        level_c=rng.uniform(-70, -35), ripple_k=rng.uniform(0.2, 6), daily_k=rng.uniform(0, 10), kind=kind,
    )  # fmt: skip
    return log_of(air.time_s, noisy(rng, air, rng.uniform(0.02, 0.1)), resolution=float(rng.choice([0.01, 0.1])))


@pytest.mark.parametrize("kind", ["heatless", "heated_purge"])
def test_sound_logs_keep_every_reading(kind: str) -> None:
    """Two hundred logs over both kinds: not one may lose a reading (the bar is 0.5 % of logs)."""
    half_cycle_s = 300.0 if kind == "heatless" else 14400.0
    wrong = [seed for seed in range(100) if screen(_sound(kind, seed), plant_of(kind, half_cycle_s)).exclusions]
    assert wrong == []


@pytest.mark.parametrize(
    ("fall_k", "hours_to_fall"),
    [(4.0, 0.75), (8.0, 0.75), (4.0, 1.5), (8.0, 1.5), (14.0, 1.5), (8.0, 4.0), (14.0, 4.0)],
)
def test_a_load_drop_at_night_is_the_dryers_own(fall_k: float, hours_to_fall: float) -> None:
    rng = np.random.default_rng(5)
    air = dryer_air(rng, 30.0, 60.0, 300.0, level_c=-55.0)
    since_h = (air.time_s - air.time_s[0]) / 3600.0
    falling = dataclasses.replace(air, dew_point_c=air.dew_point_c + fall_k * np.exp(-since_h / hours_to_fall))
    assert not screen(log_of(air.time_s, noisy(rng, falling)), plant_of()).exclusions


@pytest.mark.parametrize("recovery_h", [2.0, 6.0])
@pytest.mark.parametrize("at_h", [0.0, 9.0])
def test_recovery_after_liquid_water_is_the_dryers_own(recovery_h: float, at_h: float) -> None:
    rng = np.random.default_rng(6)
    air = dryer_air(rng, 36.0, 60.0, 300.0, level_c=-58.0)
    since_h = (air.time_s - air.time_s[0]) / 3600.0 - at_h
    slug = np.where(since_h >= 0, 45.0 * np.exp(-np.maximum(since_h, 0) / recovery_h), 0.0)
    wet = dataclasses.replace(air, dew_point_c=air.dew_point_c + slug)
    screened = screen(log_of(air.time_s, noisy(rng, wet)), plant_of())
    assert not {"settling", "removal"} & {e.reason for e in screened.exclusions}


def test_a_tower_that_comes_back_wet_is_no_removal() -> None:
    rng = np.random.default_rng(7)
    air = dryer_air(rng, 40.0, 60.0, 14400.0, kind="heated_purge")
    wet = ((air.time_s - air.time_s[0]) // 14400.0) % 2 == 1
    late = air.time_s > air.time_s[0] + 16 * 3600
    trace = np.where(wet & late, 12.0, air.dew_point_c)
    screened = screen(log_of(air.time_s, trace + rng.normal(0, 0.05, trace.size)), plant_of("heated_purge", 14400.0))
    assert not screened.exclusions


@pytest.mark.parametrize("minutes", [4, 25, 90])
def test_removal_at_the_end(minutes: int) -> None:
    rng = np.random.default_rng(minutes)
    air = dryer_air(rng, 24.0, 60.0, 300.0)
    rows = np.arange(air.time_s.size - minutes, air.time_s.size)
    trace = air.dew_point_c.copy()
    trace[rows] = 9.0 - 25.0 * np.exp(-(np.arange(minutes) + 0.5) / 1.0)
    screened = screen(log_of(air.time_s, trace + rng.normal(0, 0.05, trace.size)), plant_of())
    assert _overlap(screened, "removal", rows) >= 0.9
    assert "unsettled" in _codes(screened)


def test_removal_in_the_middle_and_the_dry_down_after_it() -> None:
    rng = np.random.default_rng(11)
    air = dryer_air(rng, 48.0, 60.0, 300.0, ripple_k=0.6)
    trace, settled_s = dry_down(air, 8.0, 400.0, 2.0, 3000.0, at=1440)
    dew_point = trace.dew_point_c.copy()
    rows = np.arange(1395, 1440)
    dew_point[rows] = 8.5 - 20.0 * np.exp(-(np.arange(45) + 0.5))
    screened = screen(log_of(air.time_s, dew_point + rng.normal(0, 0.05, dew_point.size)), plant_of())
    assert _overlap(screened, "removal", rows) >= 0.9
    settling = _spans(screened, "settling")
    assert len(settling) == 1
    assert abs(settling[0][1] - settled_s) <= 0.2 * (settled_s - air.time_s[1440])


def test_line_pressure_that_falls_to_zero_settles_a_removal() -> None:
    rng = np.random.default_rng(12)
    air = dryer_air(rng, 24.0, 60.0, 300.0)
    rows = np.arange(700, 760)
    dew_point, pressure = air.dew_point_c.copy(), np.full(air.time_s.size, 7.0)
    dew_point[rows], pressure[rows] = np.linspace(2.0, 10.0, rows.size), 0.0
    screened = screen(log_of(air.time_s, dew_point, pressure=pressure), plant_of())
    assert _overlap(screened, "removal", rows) >= 0.9


@pytest.mark.parametrize("resolution", [0.01, 0.1])
def test_frozen_readings(resolution: float) -> None:
    rng = np.random.default_rng(3)
    air = dryer_air(rng, 36.0, 30.0, 300.0, ripple_k=1.5)
    shown = noisy(rng, air)
    shown[2000:2500] = shown[2000]
    screened = screen(log_of(air.time_s, shown, resolution=resolution), plant_of())
    assert _overlap(screened, "frozen", np.arange(2000, 2500)) >= 0.9
    assert "sensor_frozen" in _codes(screened)


def test_holds_of_a_self_calibration_are_told_by_their_regularity() -> None:
    rng = np.random.default_rng(4)
    air = dryer_air(rng, 24.0, 10.0, 300.0, ripple_k=1.5)
    shown = noisy(rng, air)
    rows = np.concatenate([np.arange(at, at + 30) for at in range(500, shown.size - 60, 720)])
    for at in range(500, shown.size - 60, 720):
        shown[at : at + 30] = shown[at]
    screened = screen(log_of(air.time_s, shown), plant_of())
    assert _overlap(screened, "frozen", rows) >= 0.9
    [sign] = [s for s in screened.signs if s.code == "sensor_frozen"]
    assert "self-calibration" in sign.sentence


@pytest.mark.parametrize("resolution", [0.1, 0.5, 1.0])
def test_a_quiet_signal_of_few_digits_is_not_frozen(resolution: float) -> None:
    rng = np.random.default_rng(8)
    time_s = 1.7676e9 + 30.0 * np.arange(5760)
    slow = np.cumsum(rng.normal(0, 0.01, time_s.size))
    quiet = -62.0 + 0.3 * slow / np.abs(slow).max() + rng.normal(0, 0.03, time_s.size)
    screened = screen(log_of(time_s, quiet, resolution=resolution), plant_of())
    assert not [e for e in screened.exclusions if e.reason == "frozen"]


def test_the_flat_part_of_heated_half_cycles_in_whole_kelvins_is_not_frozen() -> None:
    """A spike that dies away within the hour, then three hours within a tenth of a kelvin: 1 K of display shows one."""
    time_s = 1.7676e9 + 60.0 * np.arange(5040)
    since_s = np.mod(time_s, 14400.0)
    quiet = -58.0 + 5.5 * np.exp(-since_s / 1500.0) + 0.1 * np.random.default_rng(3).standard_normal(time_s.size)
    screened = screen(log_of(time_s, quiet, resolution=1.0), plant_of("heated_purge", 14400.0))
    assert _spans(screened, "frozen") == []
    assert screened.used.all()


@pytest.mark.parametrize(("end", "lower"), [(-62.0, True), (-40.0, False)])
def test_range_end(end: float, lower: bool) -> None:
    rng = np.random.default_rng(9)
    air = dryer_air(rng, 30.0, 60.0, 14400.0, level_c=-64.0 if lower else -44.0, ripple_k=6.0, kind="heated_purge")
    true = noisy(rng, air)
    shown = np.maximum(true, end) if lower else np.minimum(true, end)
    screened = screen(log_of(air.time_s, shown), plant_of("heated_purge", 14400.0))
    at_end = np.flatnonzero(np.abs(log_of(air.time_s, shown).channels["dew_point"] - end) < 1e-9)
    assert at_end.size > 50
    assert _overlap(screened, "range_end", at_end) >= 0.9
    assert "sensor_range_end" in _codes(screened)


def test_the_wet_end_of_the_range_stays_where_it_proves_a_passed_limit() -> None:
    rng = np.random.default_rng(9)
    air = dryer_air(rng, 30.0, 60.0, 14400.0, level_c=-34.0, ripple_k=6.0, kind="heated_purge")
    shown = np.minimum(noisy(rng, air), -30.0)
    screened = screen(log_of(air.time_s, shown), plant_of("heated_purge", 14400.0))
    at_end = np.abs(shown - -30.0) < 1e-9
    assert at_end.sum() > 50
    assert screened.used[at_end].all()
    assert "sensor_range_end" in _codes(screened)
    assert not {"range_end", "frozen"} & {e.reason for e in screened.exclusions}


def test_numbers_no_air_has_are_implausible() -> None:
    rng = np.random.default_rng(10)
    air = dryer_air(rng, 24.0, 60.0, 300.0)
    shown = noisy(rng, air)
    shown[[100, 500, 900]] = (-999.0, 15.0, -95.0)
    screened = screen(log_of(air.time_s, shown), plant_of())
    assert _overlap(screened, "implausible", np.array([100, 500, 900])) == 1.0
    assert screened.used.sum() == shown.size - 3


def test_a_hole_of_more_than_three_intervals_is_a_gap() -> None:
    rng = np.random.default_rng(13)
    air = dryer_air(rng, 6.0, 60.0, 300.0)
    rows = np.delete(np.arange(air.time_s.size), [50, 51, *range(200, 203)])
    screened = screen(log_of(air.time_s[rows], air.dew_point_c[rows]), plant_of())
    assert _spans(screened, "gap") == [(air.time_s[199], air.time_s[203])]
    assert screened.used.all()


def test_missing_readings_make_a_gap_as_missing_rows_do() -> None:
    rng = np.random.default_rng(13)
    air = dryer_air(rng, 6.0, 60.0, 300.0)
    shown = noisy(rng, air)
    shown[100:130] = np.nan
    screened = screen(log_of(air.time_s, shown), plant_of())
    assert _spans(screened, "gap") == [(air.time_s[99], air.time_s[130])]
    assert not screened.used[100:130].any()


def test_a_clock_set_back_is_told_and_the_doubled_stretch_set_aside() -> None:
    rng = np.random.default_rng(14)
    air = dryer_air(rng, 24.0, 60.0, 300.0)
    log = log_of(air.time_s, noisy(rng, air))
    at = float(air.time_s[600])
    jumped = screen(dataclasses.replace(log, clock_jumps=(ClockJump(at, -1200.0, False),)), plant_of())
    assert _spans(jumped, "clock_jump") == [(at - 1200.0, at)]
    summer = screen(dataclasses.replace(log, clock_jumps=(ClockJump(at, -3600.0, True),)), plant_of())
    assert not summer.exclusions
    assert _codes(summer) == {"clock_jump"}


def test_atmospheric_readings_come_to_line_pressure_the_way_the_instrument_converted() -> None:
    """Worked value: -57.0 degC at 1.01325 bar is -40 degC at 7 bar gauge (ideal), tests/reference/humidity rows."""
    time_s = 1.7676e9 + 60.0 * np.arange(100)
    shown = np.full(100, -57.0) + 0.01 * (np.arange(100) % 2)
    for conversion in ("ideal", "real"):
        plant = plant_of(measurement={"basis": "atmospheric", "pressure_bar_g": 7.0, "conversion": conversion})
        screened = screen(log_of(time_s, shown), plant)
        expected = change_pressure(-57.0, 1.01325, 8.01325, real=conversion == "real")
        assert screened.dew_point_c[0] == pytest.approx(float(expected), abs=1e-6)
    assert screened.dew_point_c[0] == pytest.approx(-40.0, abs=0.5)


def test_moisture_load_is_dry_air_times_mixing_ratio() -> None:
    """Worked value: 10 m3/min (20 degC, 1 bar) saturated at 35 degC and 7 bar gauge carry 52.3 g/min as ideal gas
    (4.400 g/kg x 1.1885 kg/m3); the enhancement factor at 8 bar adds some 3 %."""
    rng = np.random.default_rng(15)
    air = dryer_air(rng, 6.0, 60.0, 300.0)
    plant = plant_of(operation={"flow_m3_min": 10.0, "inlet_temperature_c": 35.0, "pressure_bar_g": 7.0})
    load = screen(log_of(air.time_s, air.dew_point_c), plant).conditions.moisture_load_g_min
    assert load is not None
    ideal = 10.0 * 1.1885 * float(mixing_ratio_g_kg(float(moisture_fraction(35.0, 8.01325, real=False))))
    assert ideal == pytest.approx(52.29, rel=2e-3)
    assert ideal < load[0] < 1.05 * ideal


def test_flow_after_the_dryer_gets_the_purge_added() -> None:
    rng = np.random.default_rng(16)
    air = dryer_air(rng, 6.0, 60.0, 300.0)
    plant = plant_of(
        dryer={"rated_flow_m3_min": 20.0, "purge_share": 0.15}, measurement={"flow_at": "outlet"},
    )  # fmt: skip
    screened = screen(log_of(air.time_s, air.dew_point_c, flow=np.full(air.time_s.size, 8.0)), plant)
    assert screened.conditions.flow_m3_min is not None
    assert screened.conditions.flow_m3_min[0] == pytest.approx(8.0 + 0.15 * 20.0)
    assert any("purge" in note for note in screened.notes)


@pytest.mark.parametrize(("entered", "due"), [(7.0, False), (7.2, False), (6.0, True), (8.5, True)])
def test_pressure_mismatch(entered: float, due: bool) -> None:
    rng = np.random.default_rng(17)
    air = dryer_air(rng, 6.0, 60.0, 300.0)
    log = log_of(air.time_s, air.dew_point_c, pressure=7.0 + rng.normal(0, 0.05, air.time_s.size))
    screened = screen(log, plant_of(measurement={"pressure_bar_g": entered}))
    assert ("pressure_mismatch" in _codes(screened)) is due


def test_outlet_wetter_than_its_inlet_can_be() -> None:
    time_s = 1.7676e9 + 60.0 * np.arange(600)
    shown = 25.0 + np.random.default_rng(18).normal(0, 0.1, 600)
    wet = screen(log_of(time_s, shown, inlet_temperature=np.full(600, 18.0)), plant_of())
    assert "inlet_wetter_than_saturated" in _codes(wet)
    possible = screen(log_of(time_s, shown, inlet_temperature=np.full(600, 23.0)), plant_of())
    assert "inlet_wetter_than_saturated" not in _codes(possible)


@pytest.mark.parametrize("follows", [True, False])
def test_a_stagnant_sample_follows_temperature_and_a_quiet_outlet_does_not(follows: bool) -> None:
    rng = np.random.default_rng(19)
    time_s = 1.7676e9 + 60.0 * np.arange(2880)
    temperature = 24.0 + 5.0 * np.sin(2 * np.pi * np.arange(2880) / 1440) + rng.normal(0, 0.1, 2880)
    drift = np.cumsum(rng.normal(0, 0.02, 2880))
    shown = -45.0 + (0.8 * (temperature - 24.0) if follows else drift) + rng.normal(0, 0.05, 2880)
    screened = screen(log_of(time_s, shown, temperature=temperature), plant_of())
    assert ("sample_stagnant" in _codes(screened)) is follows


def test_a_log_without_dew_point_is_refused() -> None:
    rng = np.random.default_rng(20)
    air = dryer_air(rng, 2.0, 60.0, 300.0)
    log = dataclasses.replace(log_of(air.time_s, air.dew_point_c), channels={"flow": air.dew_point_c})
    with pytest.raises(InputError, match="--column dew_point="):
        screen(log, plant_of())


def test_logs_with_known_truth() -> None:
    """The logs beside the checkout: exclusions where due, none elsewhere, and no sign that would be wrong."""
    for folder in sorted(p for p in shared("examples").iterdir() if p.is_dir()):
        truth = json.loads((folder / "truth.json").read_text())
        plant = load_plant(folder / "plant.toml")
        screened = screen(read_log([folder / "log.csv"], plant), plant)
        reasons = [e.reason for e in screened.exclusions]
        assert reasons == [reason for _, _, reason in truth["excluded"]], folder.name
        assert not _codes(screened) & set(truth["finding_codes_wrong"]), folder.name
        if "settled" in truth:
            earliest, _, latest = truth["settled"]
            assert earliest <= screened.exclusions[0].end_s <= latest


@pytest.mark.parametrize(
    ("kind", "fault"),
    [
        *(
            (kind, fault)
            for kind in ("heatless", "heated")
            for fault in ("removal", "frozen_sensor", "lost_rows", "clock_jump", "stagnant_sample")
        ),
    ],
)
def test_what_a_second_plant_spoils_is_set_aside(kind: str, fault: str, tmp_path: Path) -> None:
    """Logs of a second plant model, which screening was also developed on; nine tenths in common with the truth."""
    for seed in (1, 2, 3):
        screened, truth = _second(tmp_path, seed, kind, fault)  # type: ignore[arg-type]
        [(start_s, end_s, reason)] = truth["excluded"]
        assert {e.reason for e in screened.exclusions} == {reason}
        found = _spans(screened, reason)
        assert len(found) == 1
        common = min(end_s, found[0][1]) - max(start_s, found[0][0])
        either = max(end_s, found[0][1]) - min(start_s, found[0][0])
        assert common >= 0.9 * either - screened.log.interval_s, (seed, found, truth["excluded"])


@pytest.mark.parametrize(("off_beat_s", "stagnant"), [(0.0, True), (2700.0, False)])
def test_turns_that_do_not_show_come_back_on_the_beat_or_the_dryer_stopped(off_beat_s: float, stagnant: bool) -> None:
    """Three days of two-hour half-cycles; for 15 h no turn shows and the reading creeps. A timer that went on unseen
    comes back on its beat, one that stood still for some time does not, and that is the dryer's own."""
    rng = np.random.default_rng(31)
    time_s = 1.7676e9 + 60.0 * np.arange(3 * 1440)
    since = time_s - time_s[0]
    calm = (since > 100_000.0) & (since < 154_000.0)
    beat = np.where(since >= 154_000.0, since + off_beat_s, since)
    shown = -62.0 + 9.0 * np.exp(-(beat % 7200.0) / 900.0) + rng.normal(0, 0.05, since.size)
    creep = -62.0 + 6.0 * (1.0 - np.exp(-(since - 100_000.0) / 12_000.0))
    shown = np.where(calm, creep + rng.normal(0, 0.05, since.size), shown)
    screened = screen(log_of(time_s, shown), plant_of("heated_purge", 7200.0))
    assert bool(_spans(screened, "stagnant")) is stagnant
    if stagnant:
        [(start_s, end_s)] = _spans(screened, "stagnant")
        assert abs(start_s - time_s[0] - 100_000.0) < 7200.0
        assert abs(end_s - time_s[0] - 154_000.0) < 600.0
        idle = screen(log_of(time_s, shown, flow=np.where(calm, 0.1, 8.0)), plant_of("heated_purge", 7200.0))
        assert not _spans(idle, "stagnant"), "without flow the plant stands still, not the sample"


def test_long_half_cycles_of_dew_point_control_are_no_stagnant_sample(tmp_path: Path) -> None:
    """A bed under little load may not turn for a day, and turns at uneven distances."""
    for seed in (1, 2, 3):
        table, truth = second_plant(
            seed, kind="heated", control="dew_point", days=4.0, interval_s=60.0, load=0.3, swing=0.3
        )
        path = tmp_path / f"{seed}.csv"
        table.to_csv(path, index=False)
        plant = plant_from(truth["plant"])
        assert screen(read_log([path], plant), plant).used.all()


def test_a_value_met_again_and_again_between_others_is_no_hang() -> None:
    """Whole kelvins over quiet air: the reading rests at two values and shows a third for a moment in between."""
    rng = np.random.default_rng(34)
    moving = np.round(-45.0 + 12.0 * np.sin(np.arange(3000) / 9.0) + rng.normal(0, 1, 3000))
    rest = np.tile(np.concatenate((np.full(8, -46.0), [-45.0], np.full(8, -47.0), [-45.0])), 120)
    assert find_frozen(np.concatenate((moving, rest, moving)), 1.0) == []
    hang = np.concatenate((moving, np.full(240, -45.0), moving))
    assert [run.length >= 240 for run in find_frozen(hang, 1.0)] == [True]


def test_a_tower_that_is_wet_at_every_turn_is_no_probe_in_the_room() -> None:
    """Of a log a minute, a wet tower's stretch holds a handful of readings at a level that room air has too."""
    rng = np.random.default_rng(32)
    time_s = 1.7676e9 + 60.0 * np.arange(2160)
    since = time_s - time_s[0]
    sick = (since > 80_000.0) & ((since // 420.0) % 2 == 1)
    shown = np.where(sick, 4.0 + 3.0 * np.sin(since / 5e4), -48.0) + rng.normal(0, 0.1, since.size)
    assert screen(log_of(time_s, shown), plant_of("heatless", 420.0)).used.all()


def test_spikes_no_probe_can_make_go_and_a_rising_turn_stays() -> None:
    """Forty kelvin up and back within a minute; a turn's own spike decays over several readings."""
    rng = np.random.default_rng(33)
    time_s = 1.7676e9 + 60.0 * np.arange(2880)
    shown = -60.0 + 15.0 * np.exp(-((time_s - time_s[0]) % 14400.0) / 700.0) + rng.normal(0, 0.05, 2880)
    spoilt = np.sort(rng.choice(np.arange(10, 2870, 7), 12, replace=False))
    shown[spoilt] += np.where(np.arange(12) % 3, 40.0, -30.0)
    screened = screen(log_of(time_s, shown), plant_of("heated_purge", 14400.0))
    assert np.flatnonzero(~screened.used).tolist() == spoilt.tolist()


@pytest.mark.parametrize(
    "fault", ["bypass_leak", "leaking_valve", "tower_imbalance", "liquid_carryover", "overload", "hot_inlet"]
)
@pytest.mark.parametrize("kind", ["heatless", "heated"])
def test_a_sick_dryers_air_is_kept(fault: str, kind: str, tmp_path: Path) -> None:
    """Nothing is set aside because it looks bad for the dryer."""
    for seed in (1, 2):
        screened, _ = _second(tmp_path, seed, kind, fault)  # type: ignore[arg-type]
        assert screened.used.all(), [e.reason for e in screened.exclusions]


def _second(
    folder: Path, seed: int, kind: Literal["heatless", "heated"], fault: str
) -> tuple[ScreenedLog, dict[str, Any]]:
    heatless = kind == "heatless"
    table, truth = second_plant(
        seed, kind=kind, faults=(fault,), days=2.0 if heatless else 3.0, interval_s=30.0 if heatless else 60.0
    )
    path = folder / f"{kind}_{fault}_{seed}.csv"
    table.to_csv(path, index=False)
    plant = plant_from(truth["plant"], source="second plant")
    return screen(read_log([path], plant), plant), truth
