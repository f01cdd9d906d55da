"""Purge against the nameplate and back-pressure at the silencer."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.energy.record import Purge
from diagnostics.estimate import Estimate
from diagnostics.health.faults_of_purge import find_faults_of_purge, purge_by_tower
from tests.health.cases import case_of, drawn_from, half_cycles

ROWS = half_cycles(np.full(20, -60.0), np.full(20, -60.0))


def _codes(value: float, spread: float, basis: str = "measured", dryer: dict | None = None) -> list[str]:
    purge = Purge(
        basis=basis,
        average_m3_min=Estimate(value, value - spread, value + spread),
        share_of_rated=None,
        share_of_inlet=None,
        energy_kwh_per_year=None,
        cost_per_year=None,
        nameplate_m3_min=Estimate(1.5, 1.4, 1.6),
    )
    plant = {"dryer": {"rated_flow_m3_min": 10.0, "purge_share": 0.15} | (dryer or {})}
    return [f.code for f in find_faults_of_purge(case_of(ROWS, drawn_from(ROWS), plant, purge=purge))]


@pytest.mark.parametrize(
    ("value", "codes"), [(1.0, ["purge_short"]), (1.4, []), (1.5, []), (1.7, []), (2.2, ["purge_excess"])]
)
def test_measured_purge_is_held_against_the_nameplate(value: float, codes: list[str]) -> None:
    assert _codes(value, 0.1) == codes


def test_a_purge_known_too_roughly_says_nothing() -> None:
    assert _codes(2.0, 0.6) == []
    assert _codes(2.2, 0.1, basis="nameplate") == []


@pytest.mark.parametrize(("held", "codes"), [(0.1, []), (0.3, []), (0.5, ["purge_short"])])
def test_back_pressure_in_the_purged_vessel_points_to_the_silencer(held: float, codes: list[str]) -> None:
    assert _codes(1.5, 0.1, "nameplate", {"regenerating_pressure_bar_g": held}) == codes


def test_the_loss_of_purge_volume_follows_boyle() -> None:
    """At 0.5 bar gauge the purge expands to 1.513 bar: 1.013/1.513 = 67 % of the volume, 33 % less."""
    plant = {"dryer": {"regenerating_pressure_bar_g": 0.5}}
    [finding] = find_faults_of_purge(case_of(ROWS, drawn_from(ROWS), plant))
    assert "33 %" in finding.statement
    assert "silencer" in finding.caution


def test_logged_purge_is_told_by_the_tower_that_regenerates() -> None:
    flow = np.where(np.arange(200) // 5 % 2 == 0, 1.0, 2.0)
    found = purge_by_tower(case_of(ROWS, drawn_from(ROWS, purge_flow=flow)))
    assert found == {"A": 2.0, "B": 1.0}
