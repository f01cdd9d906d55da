"""Findings about probe, clock and way of logging."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from diagnostics.health.faults_of_measurement import find_faults_of_measurement
from diagnostics.log.record import ClockJump, Exclusion, Sign
from tests.health.cases import START_S, case_of, drawn_from, half_cycles, screened_log

SIGNS = (
    "unsettled",
    "sample_stagnant",
    "ambient_ingress",
    "sensor_frozen",
    "sensor_range_end",
    "pressure_mismatch",
    "clock_jump",
    "inlet_wetter_than_saturated",
)


def _codes(case) -> list[str]:
    return [f.code for f in find_faults_of_measurement(case)]


def _healthy_rows(n: int = 20, length_s: float = 300.0):
    return half_cycles(np.full(n, -60.0), np.full(n, -60.0), length_s=length_s)


@pytest.mark.parametrize("code", SIGNS)
def test_a_sign_of_screening_becomes_a_finding_with_its_words_and_span(code: str) -> None:
    rows = _healthy_rows()
    sign = Sign(code, START_S + 600, START_S + 1200, 0.8, "Seen from 08:00 to 08:10.", {})
    screened = replace(drawn_from(rows, interval_s=30.0), signs=(sign,))
    seen = case_of(None if code == "sample_stagnant" else rows, screened)
    [finding] = find_faults_of_measurement(seen)
    assert finding.code == code
    assert finding.statement.startswith(sign.sentence)
    assert len(finding.statement) > len(sign.sentence) + 20
    assert (finding.start_s, finding.end_s, finding.confidence) == (START_S + 600, START_S + 1200, 0.8)
    assert finding.action
    assert finding.other_causes


def test_several_signs_of_one_kind_are_one_finding() -> None:
    rows = _healthy_rows()
    signs = tuple(Sign("sensor_frozen", START_S + t, START_S + t + 60, 0.6, f"Held at {t}.") for t in (0, 600, 1200))
    [finding] = find_faults_of_measurement(case_of(rows, replace(drawn_from(rows, interval_s=30.0), signs=signs)))
    assert len(finding.evidence) == 3
    assert (finding.start_s, finding.end_s) == (START_S, START_S + 1260)


@pytest.mark.parametrize(("explained", "severity"), [(True, "info"), (False, "warning")])
def test_a_doubled_hour_weighs_less_where_the_zone_explains_it(explained: bool, severity: str) -> None:
    rows = _healthy_rows()
    screened = drawn_from(rows, interval_s=30.0)
    log = replace(screened.log, clock_jumps=(ClockJump(START_S + 60, -3600.0, explained),))
    sign = Sign("clock_jump", START_S + 60, START_S + 60, 0.99, "Stamps go back by one hour at 02:00.")
    [finding] = find_faults_of_measurement(case_of(rows, replace(screened, log=log, signs=(sign,))))
    assert finding.severity == severity


def _calibrated(days_before: int, months: float = 12):
    rows = _healthy_rows()
    day = dt.datetime.fromtimestamp(START_S, dt.UTC).date() - dt.timedelta(days=days_before)
    plant = {"measurement": {"calibrated_on": day, "calibration_interval_months": months}}
    return _codes(case_of(rows, drawn_from(rows, interval_s=30.0), plant))


@pytest.mark.parametrize(
    ("days", "months", "due"), [(360, 12, False), (370, 12, True), (190, 6, True), (20, 0.5, True)]
)
def test_a_calibration_older_than_its_interval_is_overdue(days: int, months: float, due: bool) -> None:
    assert _calibrated(days, months) == (["calibration_overdue"] if due else [])


def test_no_calibration_date_says_nothing() -> None:
    rows = _healthy_rows()
    assert _codes(case_of(rows, drawn_from(rows, interval_s=30.0))) == []


def test_fewer_than_four_readings_a_half_cycle_is_too_coarse_by_nameplate() -> None:
    screened = screened_log(np.full(3000, -60.0))
    assert _codes(case_of(None, screened, {"dryer": {"half_cycle_s": 180}})) == ["interval_too_long"]
    assert _codes(case_of(None, screened, {"dryer": {"half_cycle_s": 240}})) == []


def test_the_logs_own_half_cycle_decides_over_the_nameplate() -> None:
    rows = _healthy_rows(length_s=600.0)
    assert _codes(case_of(rows, drawn_from(rows), {"dryer": {"half_cycle_s": 120}})) == []


def test_fewer_than_four_complete_half_cycles_is_too_short() -> None:
    rows = half_cycles(np.full(2, -60.0), np.full(1, -60.0), length_s=14400.0)
    assert _codes(case_of(rows, drawn_from(rows))) == ["log_too_short"]
    rows = half_cycles(np.full(2, -60.0), np.full(2, -60.0), length_s=14400.0)
    assert _codes(case_of(rows, drawn_from(rows))) == []


def test_an_unresolved_log_is_too_short_only_where_the_nameplate_says_so() -> None:
    heated = {"dryer": {"regeneration": "heated_purge"}}
    assert _codes(case_of(None, screened_log(np.full(600, -60.0)), heated)) == ["log_too_short"]
    assert _codes(case_of(None, screened_log(np.full(2880, -60.0)), heated)) == []


@pytest.mark.parametrize(
    ("reason", "code"),
    [
        ("settling", "unsettled"),
        ("removal", "unsettled"),
        ("frozen", "sensor_frozen"),
        ("range_end", "sensor_range_end"),
        ("stagnant", "sample_stagnant"),
    ],
)
def test_a_stretch_set_aside_without_a_sign_speaks_for_itself(reason: str, code: str) -> None:
    rows = _healthy_rows()
    screened = replace(drawn_from(rows, interval_s=30.0), exclusions=(Exclusion(START_S, START_S + 900, reason),))
    [finding] = find_faults_of_measurement(case_of(rows, screened))
    assert finding.code == code
    assert "15 min" in finding.statement


def test_a_rhythm_of_the_towers_refutes_a_stagnant_sample() -> None:
    rows = _healthy_rows()
    sign = Sign("sample_stagnant", START_S, START_S + 40 * 300, 0.95, "Follows the temperature by 2 K.")
    assert _codes(case_of(rows, replace(drawn_from(rows, interval_s=30.0), signs=(sign,)))) == []
    unresolved = screened_log(np.linspace(-60.0, -55.0, 3000))
    assert _codes(case_of(None, replace(unresolved, signs=(sign,)))) == ["sample_stagnant"]


@pytest.mark.parametrize(("confidence", "severity"), [(0.8, "info"), (0.95, "warning")])
def test_an_unsure_sign_of_the_sampling_warns_nobody(confidence: float, severity: str) -> None:
    sign = Sign("ambient_ingress", START_S, START_S + 86400, confidence, "Follows the room by 2 K.")
    screened = replace(screened_log(np.full(3000, -60.0)), signs=(sign,))
    assert [f.severity for f in find_faults_of_measurement(case_of(None, screened))] == [severity]


def test_gaps_and_implausible_readings_are_no_finding() -> None:
    rows = _healthy_rows()
    aside = tuple(Exclusion(START_S, START_S + 900, reason) for reason in ("gap", "implausible"))
    assert _codes(case_of(rows, replace(drawn_from(rows, interval_s=30.0), exclusions=aside))) == []


def test_a_clock_set_by_hand_is_told_without_a_sign_too() -> None:
    rows = _healthy_rows()
    screened = drawn_from(rows, interval_s=30.0)
    log = replace(screened.log, clock_jumps=(ClockJump(START_S + 60, -2220.0, False),))
    [finding] = find_faults_of_measurement(case_of(rows, replace(screened, log=log)))
    assert finding.code == "clock_jump"
    assert "37 min" in finding.statement


@pytest.mark.parametrize(("inlet", "codes"), [(-62.0, []), (-64.0, ["inlet_wetter_than_saturated"]), (30.0, [])])
def test_an_outlet_wetter_than_the_inlet_can_be_contradicts_physics(inlet: float, codes: list[str]) -> None:
    """Beyond 3 K, as the contract says, and only against a logged inlet temperature."""
    rows = half_cycles(np.full(20, -60.0), np.full(20, -60.0), ripple_k=0.1)
    assert _codes(case_of(rows, drawn_from(rows, interval_s=30.0, inlet_temperature=inlet))) == codes


def test_a_pile_in_the_noise_is_an_end_of_the_range() -> None:
    rng = np.random.default_rng(5)
    shown = np.round(-65.0 + 0.04 * rng.standard_normal(3000), 2)
    clipped = np.maximum(shown, -65.02)
    logs = [replace(screened_log(values), resolution_c=0.01) for values in (shown, clipped)]
    codes = [_codes(case_of(None, log, {"dryer": {"half_cycle_s": 300}})) for log in logs]
    assert codes == [[], ["sensor_range_end"]]
