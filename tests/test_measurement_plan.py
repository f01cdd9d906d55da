"""The plan's arithmetic by hand; where to connect and what to beware of is common practice, no published source."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math

import numpy as np
import pytest

from diagnostics.cycle.resolution import logging_interval_s
from diagnostics.errors import InputError
from diagnostics.measurement_plan import plan_measurement
from diagnostics.measurement_shortfall import needed_for
from diagnostics.plant import plant_from
from tests.air.made import no_cycle, screened_log, timer_cycle


def line(lines, topic: str):
    return next(item for item in lines if item.topic == topic)


@pytest.mark.parametrize(
    ("half_cycle_s", "interval_s"),
    [(5.0, 1.0), (20.0, 2.0), (120.0, 10.0), (300.0, 30.0), (599.0, 30.0), (600.0, 60.0), (14400.0, 60.0)],
)
def test_ten_readings_a_half_cycle(half_cycle_s: float, interval_s: float) -> None:
    assert logging_interval_s(half_cycle_s) == interval_s


def test_heatless_week() -> None:
    plan = plan_measurement(plant_from({"dryer": {"half_cycle_s": 300}}))
    assert plan.interval_s == 30.0
    assert plan.duration_h == 168 + 4
    assert plan.shortest_duration_h == 48 + 4
    assert plan.samples == 172 * 120
    assert "lower bound" in line(plan.lines, "interval").caution


def test_long_half_cycles_take_longer() -> None:
    # Both towers ten times: 20 half-cycles of 12 h are 240 h.
    plan = plan_measurement(plant_from({"dryer": {"regeneration": "heated_purge", "half_cycle_s": 43200}}))
    assert plan.duration_h == 244
    assert plan.shortest_duration_h == 244


def test_dew_point_control_goes_by_its_bounds() -> None:
    dryer = {"control": "dew_point", "half_cycle_s": 300, "shortest_half_cycle_s": 120, "longest_half_cycle_s": 36000}
    plan = plan_measurement(plant_from({"dryer": dryer}))
    assert plan.interval_s == 10.0
    assert plan.duration_h == 200 + 4


@pytest.mark.parametrize(
    ("memory", "interval_s", "read_outs"), [(100_000, 10.0, 0), (42_000, 15.0, 0), (30_000, 10.0, 2)]
)
def test_memory(memory: int, interval_s: float, read_outs: int) -> None:
    # 172 h at 10 s are 61 920 readings, at 15 s (eight a half-cycle of 120 s) 41 280.
    plan = plan_measurement(plant_from({"dryer": {"half_cycle_s": 120}}), memory_samples=memory)
    assert plan.interval_s == interval_s
    assert plan.read_outs == read_outs
    assert plan.samples == math.ceil(172 * 3600 / interval_s)


def test_battery() -> None:
    plant = plant_from({})
    assert "100 h" in line(plan_measurement(plant, battery_h=100.0).lines, "battery").instruction
    assert all(item.topic != "battery" for item in plan_measurement(plant, battery_h=500.0).lines)


@pytest.mark.parametrize("arguments", [{"memory_samples": 0}, {"battery_h": 0.0}, {"battery_h": math.nan}])
def test_impossible_loggers(arguments: dict) -> None:
    with pytest.raises(InputError):
        plan_measurement(plant_from({}), **arguments)


def test_every_topic_and_its_caution() -> None:
    lines = plan_measurement(plant_from({})).lines
    topics = {item.topic for item in lines}
    assert topics >= {"where", "sample flow", "basis", "pressure", "settling", "interval", "duration", "memory"}
    assert topics >= {"calibration", "stop and report", "removal", "log beside it"}
    assert all(item.instruction.endswith(".") and item.reason for item in lines)
    assert "cock closed" in line(lines, "where").caution
    assert "let the pressure off" in line(lines, "removal").caution
    assert "silencers" in line(lines, "around the dryer").caution
    assert "people breathe this air" not in topics


def test_pressure_in_the_units_of_instruments() -> None:
    # 7 bar are 101.5 psi: 1 psi is 6894.757 Pa (NIST SP 811, appendix B.8).
    told = line(plan_measurement(plant_from({"operation": {"pressure_bar_g": 7.0}})).lines, "pressure").instruction
    assert "7 bar gauge (8.01 bar absolute, 102 psi gauge)" in told


def test_medical_air_asks_the_responsible_person() -> None:
    lines = plan_measurement(plant_from({"site": {"air_use": "medical"}})).lines
    assert "person responsible" in line(lines, "people breathe this air").instruction


@pytest.mark.parametrize(("on", "says"), [(dt.date(2026, 9, 1), "within"), (dt.date(2027, 9, 1), "calibrated first")])
def test_calibration(on: dt.date, says: str) -> None:
    plant = plant_from({"measurement": {"calibrated_on": dt.date(2026, 3, 1)}})
    assert says in line(plan_measurement(plant, on=on).lines, "calibration").instruction


def test_log_that_had_all_but_companions() -> None:
    screened = screened_log(np.full(7 * 2880, -50.0), interval_s=30.0)
    found = needed_for(screened, timer_cycle(screened, 300.0), plant_from({"dryer": {"half_cycle_s": 300}}))
    assert [item.topic for item in found] == ["log beside it"]


def test_log_that_was_too_coarse_and_too_short() -> None:
    screened = screened_log(np.full(600, -50.0), interval_s=60.0)
    found = needed_for(screened, no_cycle(), plant_from({"dryer": {"half_cycle_s": 120}}))
    assert [item.topic for item in found] == ["interval", "duration", "weekend", "log beside it"]
    assert line(found, "interval").value == 10.0
    assert "tower" in line(found, "log beside it").instruction


def test_log_whose_title_alone_told_the_basis() -> None:
    screened = dataclasses.replace(screened_log(np.full(7 * 2880, -50.0), interval_s=30.0), basis="atmospheric")
    told = {"dryer": {"half_cycle_s": 300}, "measurement": {"basis": "atmospheric"}}
    for plant, due in ((plant_from({"dryer": {"half_cycle_s": 300}}), True), (plant_from(told), False)):
        found = needed_for(screened, timer_cycle(screened, 300.0), plant)
        assert ("basis" in [item.topic for item in found]) == due


def test_log_without_a_used_reading() -> None:
    screened = screened_log(np.full(10, np.nan))
    assert "duration" in {item.topic for item in needed_for(screened, no_cycle(), plant_from({}))}
