"""The instrument's budget, each part by hand."""

from __future__ import annotations

import datetime as dt
import math

import pytest

from diagnostics.air.uncertainty import (
    ASSUMED_BAR,
    DRIFT_K_PER_YEAR,
    GAUGE_BAR,
    probe_standard_uncertainty_k,
    slope_per_k,
    uncertainty_budget,
)
from diagnostics.plant import Plant, plant_from


def plant(**measurement: object) -> Plant:
    return plant_from({"measurement": measurement})


def at(year: int, month: int, day: int) -> float:
    return dt.datetime(year, month, day, tzinfo=dt.UTC).timestamp()


def test_two_kelvin_if_nothing_is_given() -> None:
    assert uncertainty_budget(-40.0, plant_from({}), at_s=at(2026, 1, 1)).expanded_k == 2.0


def test_limits_are_rectangular() -> None:
    # JCGM 100:2008, 4.3.7: a / sqrt(3), so that "± 2 K" gives U = 2.31 K.
    found = uncertainty_budget(-40.0, plant(uncertainty_c=2.0, uncertainty_kind="limits"))
    assert found.expanded_k == pytest.approx(2 * 2.0 / math.sqrt(3.0))


@pytest.mark.parametrize(
    ("dew_point", "expanded"), [(-90.0, 3.0), (-70.0, 3.0), (-55.0, 2.5), (-40.0, 2.0), (0.0, 2.0)]
)
def test_table_is_interpolated_and_held(dew_point: float, expanded: float) -> None:
    table = plant(uncertainty_c=[[-40.0, 2.0], [-70.0, 3.0]])
    assert 2.0 * probe_standard_uncertainty_k(dew_point, table) == pytest.approx(expanded)


def test_drift_grows_with_the_calibrations_age() -> None:
    calibrated = plant(calibrated_on=dt.date(2025, 1, 1))
    fresh, year, two = (uncertainty_budget(-40.0, calibrated, at_s=at(y, 1, 1)).drift_k for y in (2025, 2026, 2027))
    assert fresh == 0.0
    assert year == pytest.approx(DRIFT_K_PER_YEAR / math.sqrt(3.0), rel=1e-3)
    assert two == pytest.approx(2 * year, rel=1e-3)
    assert uncertainty_budget(-40.0, plant_from({}), at_s=at(2026, 1, 1)).drift_k == 0.0


def test_resolution() -> None:
    # q / sqrt(12), JCGM 100:2008, F.2.2.1.
    assert uncertainty_budget(-40.0, plant_from({}), resolution_c=1.0).resolution_k == pytest.approx(0.288675, rel=1e-5)


def test_pressure_counts_where_the_reading_had_to_be_brought_to_it() -> None:
    # 10 % in absolute pressure is 0.84 K at -40 degC (row of the reference table); 0.25 bar rectangular of 8.01 bar is
    # 1.8 %, 0.16 K.
    direct = uncertainty_budget(-40.0, plant(basis="pressure", pressure_bar_g=7.0))
    atmospheric = uncertainty_budget(-40.0, plant(basis="atmospheric", pressure_bar_g=7.0))
    share = uncertainty_budget(-40.0, plant(pressure_bar_g=7.0), moisture_unit="ppmv")
    assumed = uncertainty_budget(-40.0, plant(basis="atmospheric"))
    assert direct.pressure_k == 0.0
    assert atmospheric.pressure_k == pytest.approx(GAUGE_BAR / math.sqrt(3) / 8.01325 / 0.11315, rel=1e-3)
    assert share.pressure_k == pytest.approx(atmospheric.pressure_k)
    assert assumed.pressure_k == pytest.approx(atmospheric.pressure_k * ASSUMED_BAR / GAUGE_BAR)


def test_probe_that_sees_atmospheric_air() -> None:
    # The probe sees -56.7 degC; a kelvin there is 0.131/0.113 = 1.16 K at the line's -40 degC.
    found = uncertainty_budget(-40.0, plant(basis="atmospheric", pressure_bar_g=7.0))
    assert found.probe_k == pytest.approx(slope_per_k(-56.67) / slope_per_k(-40.0), rel=1e-3)
    assert found.probe_k == pytest.approx(1.155, abs=0.02)


def test_parts_add_in_squares() -> None:
    found = uncertainty_budget(
        -40.0, plant(basis="atmospheric", calibrated_on=dt.date(2025, 1, 1)), at_s=at(2026, 6, 1), resolution_c=0.1
    )
    parts = (found.probe_k, found.drift_k, found.pressure_k, found.resolution_k)
    assert all(part > 0.0 for part in parts)
    assert found.expanded_k == pytest.approx(2.0 * math.sqrt(sum(part**2 for part in parts)))


def test_slope_over_ice_and_water() -> None:
    # Clausius and Clapeyron by hand at 0 degC: heat of sublimation 51059 J/mol, of vaporisation 45054 J/mol.
    assert slope_per_k(0.0) == pytest.approx(51059 / (8.31446 * 273.15**2), rel=2e-3)
    assert slope_per_k(0.02) == pytest.approx(45054 / (8.31446 * 273.17**2), rel=2e-3)
