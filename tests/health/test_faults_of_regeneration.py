"""Excess regeneration and inactive control; thresholds are the contract's."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.cycle.record import ControlSpan
from diagnostics.energy.record import Switching, SwitchingFigures
from diagnostics.estimate import Estimate
from diagnostics.health.faults_of_regeneration import find_faults_of_regeneration
from tests.health.cases import NO_FIGURES, START_S, case_of, cycle_of, drawn_from, half_cycles

ROWS = half_cycles(np.full(30, -62.0), np.full(30, -62.0))
SCREENED = drawn_from(ROWS)
RESERVE = Estimate(1.25, 1.0, 1.5)


def _found(plant: dict | None = None, *, control: str = "fixed", load: float = 0.5, rows=ROWS, **more):
    case = case_of(
        rows,
        drawn_from(rows),
        plant,
        cycle=cycle_of(rows, control, **({"control_spans": more.pop("spans")} if "spans" in more else {})),
        load_ratio=load,
        reserve=more.pop("reserve", RESERVE),
        **more,
    )
    return find_faults_of_regeneration(case)


@pytest.mark.parametrize(
    ("load", "severity"),
    # 1 - load / 1.25: 0.39, 0.41, 0.64, 0.66
    [(0.7625, None), (0.7375, "info"), (0.45, "info"), (0.425, "warning")],
)
def test_the_share_that_dew_point_control_would_save_decides(load: float, severity: str | None) -> None:
    assert [f.severity for f in _found(load=load)] == ([] if severity is None else [severity])


def test_the_cap_on_the_half_cycle_does_not_lessen_it() -> None:
    [finding] = _found({"dryer": {"half_cycle_s": 300, "longest_half_cycle_s": 330}}, load=0.375)
    assert "70 %" in finding.statement


def test_the_confidence_is_the_probability_that_four_tenths_are_saved() -> None:
    """Reserve 1.25 (1.0 to 1.5) at load 0.75: saving 0.40 (0.25 to 0.50), so about even."""
    assert _found(load=0.7499)[0].confidence == pytest.approx(0.5, abs=0.05)
    assert _found(load=0.3)[0].confidence > 0.95


@pytest.mark.parametrize("control", ["dew_point", "stopped", "unresolved"])
def test_only_a_timer_regenerates_in_excess(control: str) -> None:
    assert _found(control=control) == []


@pytest.mark.parametrize("use", ["medical", "breathing"])
def test_no_longer_half_cycle_is_offered_for_air_that_people_breathe(use: str) -> None:
    assert _found({"site": {"air_use": use}}, load=0.2) == []


def test_unknown_load_says_nothing() -> None:
    assert _found(load=None) == []


CONTROLLED = {"dryer": {"control": "dew_point", "half_cycle_s": 300, "longest_half_cycle_s": 1800}}


def test_a_timer_where_control_was_meant_is_inactive_control_with_its_price() -> None:
    saved = SwitchingFigures(None, Estimate(0.6, 0.5, 0.7), None, Estimate(9000, 8000, 10000), None, None)
    [finding] = _found(CONTROLLED, switching=Switching(saved, NO_FIGURES, "dew_point"))
    assert finding.code == "control_inactive"
    assert finding.severity == "warning"
    assert "9,000 kWh" in finding.statement
    assert "over the whole log" in finding.statement
    assert finding.action


def test_control_that_fell_back_is_dated() -> None:
    fell_back = START_S + 20 * 300
    spans = (
        ControlSpan(START_S, fell_back, "dew_point"),
        ControlSpan(fell_back, START_S + 60 * 300, "fixed"),
    )
    [finding] = _found(CONTROLLED, control="dew_point", spans=spans)
    assert finding.code == "control_inactive"
    assert finding.start_s == fell_back


def test_working_control_is_no_finding() -> None:
    assert _found(CONTROLLED, control="dew_point") == []


def test_equal_half_cycles_at_the_longest_allowed_are_working_control() -> None:
    rows = half_cycles(np.full(30, -62.0), np.full(30, -62.0), length_s=1790.0)
    assert "control_inactive" not in [f.code for f in _found(CONTROLLED, rows=rows)]


def test_equal_half_cycles_at_the_shortest_with_the_limit_reached_are_working_control() -> None:
    rows = half_cycles(np.full(30, -39.8), np.full(30, -39.9))
    assert "control_inactive" not in [f.code for f in _found(CONTROLLED, rows=rows, load=1.2)]
