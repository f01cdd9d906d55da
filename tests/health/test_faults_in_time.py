"""Stopped switching and decay."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.cycle.record import Cycle
from diagnostics.estimate import Estimate
from diagnostics.health.faults_in_time import find_faults_in_time
from diagnostics.health.record import Trend
from tests.health.cases import START_S, case_of, cycle_of, drawn_from, half_cycles, screened_log

ROWS = half_cycles(np.full(30, -60.0), np.full(30, -60.0))


def _trend(verdict: str, days: Estimate | None, adjusted: bool = True) -> Trend:
    return Trend(Estimate(0.3, 0.2, 0.4), adjusted, verdict, days)


def test_stopped_switching_starts_where_the_rhythm_ceased() -> None:
    n = int(60 * 300 / 60)
    climb = np.r_[np.full(n, -60.0), np.linspace(-60, 10, 600)]
    stopped_s = START_S + 60 * 300
    cycle = Cycle("stopped", (), True, ROWS, Estimate.exact(300.0), stopped_s=stopped_s)
    [finding] = find_faults_in_time(case_of(ROWS, screened_log(climb), cycle=cycle))
    assert finding.code == "switching_stopped"
    assert finding.severity == "critical"
    assert finding.start_s == stopped_s
    assert "5 min" in finding.statement
    assert "10.0 °C" in finding.statement


@pytest.mark.parametrize(
    ("left", "severity"), [(30.0, "warning"), (89.0, "warning"), (400.0, "info"), (None, "warning")]
)
def test_decay_is_a_warning_where_the_limit_is_ninety_days_away(left: float | None, severity: str) -> None:
    days = None if left is None else Estimate(left, 0.9 * left, 1.2 * left)
    screened = drawn_from(ROWS, inlet_temperature=30.0)
    [finding] = find_faults_in_time(case_of(ROWS, screened, trend=_trend("rising", days)))
    assert finding.code == "desiccant_decay"
    assert finding.severity == severity
    assert "0.3" in finding.statement


@pytest.mark.parametrize(
    ("slope", "channels", "sure"),
    [
        (0.3, {}, False),
        (0.3, {"inlet_temperature": 30.0}, True),
        (0.3, {"ambient_temperature": 20.0}, True),
        (60.0, {}, True),
    ],
)
def test_a_slow_rise_without_any_temperature_may_be_the_season(slope, channels, sure) -> None:
    trend = Trend(Estimate(slope, 0.9 * slope, 1.1 * slope), True, "rising", None)
    [finding] = find_faults_in_time(case_of(ROWS, drawn_from(ROWS, **channels), trend=trend))
    assert finding.code == "desiccant_decay"
    assert (finding.confidence >= 0.5) == sure
    assert ("season" in finding.statement) != sure
    if not sure:
        assert finding.severity == "info"


@pytest.mark.parametrize("verdict", ["steady", "falling", "too_short"])
def test_no_rise_is_no_decay(verdict: str) -> None:
    assert find_faults_in_time(case_of(ROWS, drawn_from(ROWS), trend=_trend(verdict, None))) == []


def test_a_running_rhythm_has_not_stopped() -> None:
    assert find_faults_in_time(case_of(ROWS, drawn_from(ROWS), cycle=cycle_of(ROWS))) == []


@pytest.mark.parametrize(("dips", "codes"), [(False, ["switching_stopped"]), (True, [])])
def test_a_stop_that_nobody_told_apart_shows_in_a_wet_end_without_dips(dips: bool, codes: list[str]) -> None:
    """One tower that fails alone leaves every other half-cycle dry; a stop leaves none."""
    n = int(60 * 300 / 60)
    after = np.linspace(-60, 10, 60)
    if dips:
        after = np.where(np.arange(60) // 5 % 2 == 0, -60.0, after)
    screened = screened_log(np.r_[np.full(n, -60.0), after])
    assert [f.code for f in find_faults_in_time(case_of(ROWS, screened, cycle=cycle_of(ROWS)))] == codes
