"""Carry-over and bypass on readings mixed by hand: y = (1 - f) y_dry + f y_inlet."""

from __future__ import annotations

import re

import numpy as np
import pytest

from diagnostics.air.humidity import dew_point_c, moisture_fraction
from diagnostics.health.faults_of_air import find_faults_of_air
from tests.health.cases import START_S, case_of, cycle_of, drawn_from, half_cycles, screened_log

PRESSURE_BAR = 8.01325


def _minutes(days: float) -> np.ndarray:
    return np.arange(0, days * 1440.0)


def _healthy(minutes: np.ndarray, level: float = -60.0, ripple: float = 1.0, seed: int = 0) -> np.ndarray:
    """Heatless saw-tooth of 5 min with a daily wave and the probe's noise."""
    rng = np.random.default_rng(seed)
    wave = 1.0 * np.sin(2 * np.pi * minutes / 1440)
    return level + wave + ripple * ((minutes % 5) / 5 - 0.5) + rng.normal(0, 0.05, minutes.size)


def _codes(dew_point: np.ndarray, plant: dict | None = None, rows=None, **channels) -> list[str]:
    screened = screened_log(dew_point, **channels)
    found = find_faults_of_air(case_of(rows, screened, plant, cycle=None if rows is None else cycle_of(rows)))
    return [f.code for f in found]


def _slug(minutes: np.ndarray, at_min: float, jump: float, recovery_min: float) -> np.ndarray:
    after = minutes >= at_min
    return np.where(after, jump * np.exp(-np.clip(minutes - at_min, 0, None) / recovery_min), 0.0)


@pytest.mark.parametrize("jump", [8.0, 20.0, 40.0])
@pytest.mark.parametrize("recovery_min", [120.0, 400.0])
def test_a_sudden_slug_with_slow_recovery_is_carryover(jump: float, recovery_min: float) -> None:
    minutes = _minutes(2)
    screened = screened_log(_healthy(minutes) + _slug(minutes, 1000.0, jump, recovery_min))
    [finding] = find_faults_of_air(case_of(None, screened))
    assert finding.code == "carryover"
    assert finding.start_s == pytest.approx(START_S + 1000 * 60, abs=300)
    assert finding.severity == ("critical" if -60 + jump > -40 else "warning")
    told = float(re.search(r"wetter by ([\d.]+) K", finding.statement)[1])
    assert told == pytest.approx(jump, rel=0.15)


def test_a_slug_in_a_heated_dryer_stands_out_from_the_saw_tooth() -> None:
    length_s = 14400.0
    rows = half_cycles(np.full(9, -55.0), np.full(9, -55.0), length_s=length_s, ripple_k=7.0)
    base = drawn_from(rows).dew_point_c
    minutes = np.arange(base.size, dtype=float)
    dew_point = base + np.random.default_rng(2).normal(0, 0.1, base.size) + _slug(minutes, 2000, 25.0, 500.0)
    assert _codes(dew_point, {"dryer": {"regeneration": "heated_purge"}}, rows) == ["carryover"]


def test_a_lasting_step_is_no_carryover() -> None:
    minutes = _minutes(2)
    assert "carryover" not in _codes(_healthy(minutes) + 15.0 * (minutes > 1500))


def test_a_slow_climb_and_fall_with_the_load_is_no_carryover() -> None:
    minutes = _minutes(2)
    assert _codes(_healthy(minutes) + 12 * np.sin(np.pi * minutes / 2880) ** 2) == []


def test_a_single_wet_block_is_no_carryover() -> None:
    minutes = _minutes(2)
    assert "carryover" not in _codes(_healthy(minutes) + 20.0 * ((minutes > 1500) & (minutes < 1512)))


def _with_leak(dry_c: np.ndarray, inlet_c: np.ndarray, share: np.ndarray | float) -> np.ndarray:
    dry, wet = moisture_fraction(dry_c, PRESSURE_BAR), moisture_fraction(inlet_c, PRESSURE_BAR)
    return np.asarray(dew_point_c((1 - share) * dry + share * wet, PRESSURE_BAR))


@pytest.mark.parametrize("share", [1e-3, 5e-3, 2e-2])
def test_a_constant_share_of_the_inlet_is_a_leak(share: float) -> None:
    minutes = _minutes(2)
    inlet = 30 + 3 * np.sin(2 * np.pi * minutes / 1440)
    dew_point = _with_leak(_healthy(minutes), inlet, share)
    screened = screened_log(dew_point, inlet_temperature=inlet)
    [finding] = find_faults_of_air(case_of(None, screened))
    assert finding.code == "bypass_leak"
    assert finding.confidence > 0.8
    told = float(re.search(r"as if ([\d.]+) % of the wet inlet air", finding.statement)[1]) / 100
    assert told == pytest.approx(share, rel=0.35)


def test_a_leak_that_opens_is_dated() -> None:
    minutes = _minutes(2)
    inlet = 30 + 2 * np.sin(2 * np.pi * minutes / 1440)
    dew_point = _with_leak(_healthy(minutes), inlet, np.where(minutes > 1440, 1e-3, 0.0))
    [finding] = find_faults_of_air(case_of(None, screened_log(dew_point, inlet_temperature=inlet)))
    assert finding.code == "bypass_leak"
    assert finding.start_s == pytest.approx(START_S + 1440 * 60, abs=1800)


def test_a_dry_healthy_dryer_has_no_leak() -> None:
    minutes = _minutes(2)
    assert _codes(_healthy(minutes, ripple=0.3), inlet_temperature=30 + 0 * minutes) == []


def test_a_wet_dryer_with_its_own_ripple_has_no_leak() -> None:
    minutes = _minutes(2)
    level = -45 + 4 * np.sin(2 * np.pi * minutes / 1440)
    assert _codes(level + 2.5 * (minutes % 5) / 5, inlet_temperature=30 + 0 * minutes) == []


def test_a_steady_wet_dryer_that_does_not_follow_its_inlet_has_no_leak() -> None:
    """What passes the beds takes the inlet's moisture with it; a slow bed near its limit evens it out."""
    minutes = _minutes(2)
    inlet_c = 30.0 + 1.5 * np.sin(2 * np.pi * minutes / 1440)
    wave = 0.1 * np.sin(2 * np.pi * (minutes - 700) / 1440)
    level = -38.0 + wave + 0.3 * (minutes % 5) / 5 + np.random.default_rng(1).normal(0, 0.05, minutes.size)
    flow = 10.0 + np.sin(2 * np.pi * minutes / 210)
    assert "bypass_leak" not in _codes(level, inlet_temperature=inlet_c, flow=flow)


def test_a_leak_is_not_called_where_control_holds_the_set_point() -> None:
    rows = half_cycles(np.full(40, -40.0), np.full(40, -40.0), length_s=1200.0, ripple_k=0.2)
    case = case_of(rows, drawn_from(rows, inlet_temperature=30.0), cycle=cycle_of(rows, "dew_point"))
    assert find_faults_of_air(case) == []


def test_a_short_log_says_nothing() -> None:
    assert _codes(_healthy(_minutes(0.02))) == []


@pytest.mark.parametrize(("answers_load", "due"), [(False, ["ambient_ingress"]), (True, [])])
def test_a_wet_reading_that_answers_neither_load_nor_inlet_is_room_air(answers_load: bool, due: list[str]) -> None:
    """Room vapour of 1.5 parts in a thousand against an overloaded bed at the same level, which answers its load."""
    minutes = _minutes(2)
    rng = np.random.default_rng(5)
    hours = np.repeat(rng.normal(0.0, 1.0, minutes.size // 60 + 1), 60)[: minutes.size]
    flow = 10.0 * (1.0 + 0.1 * np.sin(2 * np.pi * (minutes - 80) / 1440) + 0.05 * hours)
    inlet_c = 30.0 + 1.5 * np.sin(2 * np.pi * (minutes - 300) / 1440) + 0.3 * np.roll(hours, 180)
    room = 2.0e-5 * np.exp(0.2 * np.sin(2 * np.pi * (minutes - 800) / 1440))
    moisture = 2.0e-5 * (flow / 10.0) ** 3 if answers_load else room
    dew_point = np.asarray(dew_point_c(moisture, 8.01325)) + rng.normal(0, 0.05, minutes.size)
    flat = np.full(minutes.size // 10, -38.0)
    rows = half_cycles(flat, flat, ripple_k=0.3)
    assert _codes(dew_point, None, rows, flow=flow, inlet_temperature=inlet_c) == due


@pytest.mark.parametrize("slow_h", [12.0, 48.0])
def test_a_bed_that_answers_its_load_over_days_is_no_room_air(slow_h: float) -> None:
    """Shifts of load evened out by a heatless bed: hour by hour the level hardly answers, over the days it does."""
    minutes = _minutes(3)
    rng = np.random.default_rng(9)
    shift = np.where((minutes // 60) % 24 < 15, 1.1, 0.85)
    flow = 10.0 * shift * np.exp(0.06 * np.repeat(rng.normal(0.0, 1.0, minutes.size // 60 + 1), 60)[: minutes.size])
    bed, moisture = 2.3 + np.log(0.95), np.empty(minutes.size)
    for i, load in enumerate(np.log(flow)):
        bed += (load - bed) / (slow_h * 60.0)
        moisture[i] = bed
    moisture = 2.0e-5 * np.exp(3.0 * (moisture - moisture.mean()))
    dew_point = np.asarray(dew_point_c(moisture, 8.01325)) + rng.normal(0, 0.05, minutes.size)
    flat = np.full(minutes.size // 10, -38.0)
    rows = half_cycles(flat, flat, ripple_k=0.3)
    inlet_c = 30.0 + 1.2 * np.sin(2 * np.pi * (minutes - 1100) / 1440)
    assert _codes(dew_point, None, rows, flow=flow, inlet_temperature=inlet_c) == []


def _unsteady_load(minutes: np.ndarray, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Flow with a daily wave, and hourly chance that comes with it."""
    chance = np.repeat(np.random.default_rng(seed).normal(0.0, 1.0, minutes.size // 60 + 1), 60)[: minutes.size]
    return 10.0 * np.exp(0.09 * np.sin(2 * np.pi * (minutes - 300) / 1440) + 0.05 * chance), chance


@pytest.mark.parametrize("seed", range(4))
def test_a_room_whose_day_is_the_loads_too_is_told_by_what_an_unsteady_load_leaves_out(seed: int) -> None:
    """A slow bed explains most of the level as well, but would carry on the load's chance."""
    minutes = _minutes(1.5)
    rng = np.random.default_rng(100 + seed)
    flow, _ = _unsteady_load(minutes, seed)
    room = 3.0e-5 * np.exp(0.08 * np.sin(2 * np.pi * (minutes - 480) / 1440))
    dew_point = np.asarray(dew_point_c(room, PRESSURE_BAR)) + rng.normal(0, 0.05, minutes.size)
    flat = np.full(minutes.size // 10, -35.0)
    screened = screened_log(dew_point, flow=flow)
    rows = half_cycles(flat, flat, ripple_k=0.3)
    [finding] = find_faults_of_air(case_of(rows, screened, None, cycle=cycle_of(rows)))
    assert (finding.code, finding.severity) == ("ambient_ingress", "warning")


def test_without_a_flow_an_unsteady_wet_level_is_not_put_down_to_the_room() -> None:
    minutes = _minutes(2)
    _, chance = _unsteady_load(minutes, 3)
    moisture = 3.0e-5 * np.exp(0.05 * chance)
    inlet_c = 30.0 + 1.5 * np.sin(2 * np.pi * (minutes - 300) / 1440) + 0.3 * np.roll(chance, 180)
    flat = np.full(minutes.size // 10, -35.0)
    rows = half_cycles(flat, flat, ripple_k=0.1)
    assert _codes(np.asarray(dew_point_c(moisture, PRESSURE_BAR)), None, rows, inlet_temperature=inlet_c) == []


def test_a_flat_wet_level_without_channels_names_leak_and_beds_and_what_decides() -> None:
    minutes = _minutes(1)
    rng = np.random.default_rng(4)
    flat = np.full(minutes.size // 10, -45.0)
    rows = half_cycles(flat, flat, ripple_k=0.1)
    screened = screened_log(-45.0 + rng.normal(0, 0.05, minutes.size))
    [finding] = find_faults_of_air(case_of(rows, screened, None, cycle=cycle_of(rows)))
    assert (finding.code, finding.severity) == ("bypass_leak", "info")
    assert finding.confidence < 0.5
    for said in ("Either a bypass", "both beds regenerate too little", "Shutting the bypass decides"):
        assert said in finding.statement
