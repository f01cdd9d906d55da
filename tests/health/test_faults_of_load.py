"""Breakthrough and overload on half-cycles made by hand; the thresholds are the contract's."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.health.faults_of_load import find_faults_of_load
from tests.health.cases import START_S, case_of, cycle_of, drawn_from, half_cycles, screened_log

DRYER = {"rated_flow_m3_min": 10.0, "rated_pressure_bar_g": 7.0, "rated_inlet_temperature_c": 35.0}


def _found(peaks: np.ndarray, plant: dict | None = None, *, control: str = "fixed", **channels):
    rows = half_cycles(peaks[0::2], peaks[1::2])
    screened = drawn_from(rows, **channels)
    return find_faults_of_load(case_of(rows, screened, {"dryer": DRYER | (plant or {})}, cycle=cycle_of(rows, control)))


def _codes(*args, **more) -> list[str]:
    return [f.code for f in _found(*args, **more)]


def test_the_limit_reached_in_more_than_one_half_cycle_in_twenty_is_breakthrough() -> None:
    peaks = np.full(100, -45.0)
    peaks[50:56] = -38.0
    [finding] = _found(peaks)
    assert finding.code == "breakthrough"
    assert finding.severity == "critical"
    assert finding.start_s == START_S + 50 * 300
    assert "6.0 %" in finding.statement
    assert finding.caution
    peaks[54:56] = -45.0
    assert _codes(peaks) == []


def test_reaching_the_set_point_under_working_control_is_no_finding() -> None:
    assert _codes(np.full(60, -39.9), control="dew_point") == []


def test_breakthrough_long_past_is_no_longer_critical() -> None:
    peaks = np.full(1000, -50.0)
    peaks[:100] = -38.0
    assert [f.severity for f in _found(peaks)] == ["warning"]


def test_the_confidence_is_the_probability_given_the_instrument() -> None:
    """One standard uncertainty above the limit: 84.1 % of a normal distribution."""
    [finding] = _found(np.full(60, -39.0))
    assert finding.confidence == pytest.approx(0.841, abs=0.01)


def test_without_half_cycles_the_readings_above_the_limit_speak() -> None:
    dew_point = np.where(np.arange(2000) > 1500, -35.0, -50.0)
    [finding] = find_faults_of_load(case_of(None, screened_log(dew_point), {"dryer": DRYER}))
    assert finding.code == "breakthrough"
    assert "cannot be told apart" in finding.statement


@pytest.mark.parametrize(("flow", "codes"), [(10.9, []), (11.2, ["overload"])])
def test_a_mean_flow_above_eleven_tenths_of_the_rating_is_overload(flow: float, codes: list[str]) -> None:
    assert _codes(np.full(60, -50.0), flow=flow) == codes


@pytest.mark.parametrize(
    ("channels", "word"),
    [({"flow": 9.0, "inlet_temperature": 42.0}, "42.0 °C"), ({"flow": 9.0, "pressure_bar": 6.5}, "5.5 bar gauge")],
)
def test_inlet_and_pressure_beyond_the_rating_are_overload(channels: dict, word: str) -> None:
    [finding] = _found(np.full(60, -50.0), **channels)
    assert finding.code == "overload"
    assert word in finding.statement


def test_a_healthy_inlet_within_the_thermometers_error_is_none() -> None:
    assert _codes(np.full(60, -50.0), flow=9.0, inlet_temperature=35.3, pressure_bar=7.95) == []


def test_an_inlet_slightly_beyond_at_light_flow_is_only_information() -> None:
    [finding] = _found(np.full(60, -60.0), flow=4.0, inlet_temperature=36.0)
    assert finding.severity == "info"


def test_busy_hours_that_climb_to_the_limit_are_overload() -> None:
    """A heatless bed fills over many cycles: the peaks climb while the load is beyond the rating, then fall."""
    load = np.r_[np.full(60, 0.7), np.full(60, 1.2), np.full(60, 0.7)]
    peaks = -60 + np.r_[np.zeros(60), 0.4 * np.arange(60), 0.4 * np.arange(60)[::-1]]
    flow = np.repeat(10 * load, 5)
    found = _found(peaks, flow=flow)
    assert [f.code for f in found] == ["breakthrough", "overload"]
    assert found[1].start_s == pytest.approx(START_S + 60 * 300, abs=600)
    assert "12" in found[1].statement


def test_a_worn_dryer_that_passes_at_light_load_is_not_overloaded() -> None:
    peaks = np.linspace(-50, -35, 120)
    assert _codes(peaks, flow=6.0) == ["breakthrough"]
