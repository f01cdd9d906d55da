"""Isotherms against the published fits' check values, the saturation line against IAPWS, inverses against forwards."""

from __future__ import annotations

import iapws
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.bed.isotherm import (
    DESICCANTS,
    GENERIC_ALUMINA,
    SILICA_GEL_BEADS,
    TOTH_5A,
    TOTH_13X,
    TOTH_SILICA_GEL,
    TOTH_SILICA_GEL_RD,
    Langmuir,
    Linear,
    isosteric_heat_j_kg,
    saturation_over_water_pa,
)
from tests.bed.rows import rows

BY_NAME = {
    "toth_13X": TOTH_13X,
    "toth_5A": TOTH_5A,
    "toth_silica_gel_granules": TOTH_SILICA_GEL,
    "toth_type_RD_silica_gel": TOTH_SILICA_GEL_RD,
}
EVERY = [*BY_NAME.values(), SILICA_GEL_BEADS, GENERIC_ALUMINA, Langmuir(0.2, 1e-3), Linear(1e-4)]


@pytest.mark.parametrize("name", BY_NAME)
def test_toth_fits_give_the_published_parameters_loading(name):
    # Wang & LeVan 2009 and Chua et al. 2004, formula evaluated outside this project.
    for row in rows(name):
        q = BY_NAME[name].loading(row["inputs"]["p_Pa"], row["inputs"]["T_K"])
        # Type RD's parameters are tabled to five digits, so its rows hold to 2e-5.
        assert q == pytest.approx(row["expected"], rel=2e-5 if "RD" in name else 1e-6)


def test_dubinin_astakhov_beads():
    # Sapienza et al.; the row's saturation pressure comes from another formulation, hence 2e-4.
    for row in rows("DA_silica_gel_beads"):
        q = float(SILICA_GEL_BEADS.loading(np.array(row["inputs"]["p_Pa"]), np.array(row["inputs"]["T_K"])))
        assert q == pytest.approx(row["expected"], rel=2e-4)


def test_generic_alumina_is_the_remembered_shape():
    # From memory, +-20 %; only the evaluation of the formula is exact.
    for row in rows("gab_alumina_illustrative"):
        kelvin = np.array(308.15)
        pressure = row["inputs"]["rh"] * saturation_over_water_pa(kelvin)
        assert float(GENERIC_ALUMINA.loading(pressure, kelvin)) == pytest.approx(row["expected"], rel=1e-6)


@pytest.mark.parametrize(
    ("name", "isotherm"),
    [
        ("isosteric_heat_13X", TOTH_13X),
        ("isosteric_heat_5A", TOTH_5A),
        ("isosteric_heat_silica_gel_granules", TOTH_SILICA_GEL),
    ],
)
def test_isosteric_heat_by_clausius_clapeyron(name, isotherm):
    for row in rows(name):
        heat = isosteric_heat_j_kg(isotherm, row["inputs"]["q_kgkg"], row["inputs"]["T_K"])
        assert heat * 0.018015268 / 1000.0 == pytest.approx(row["expected"], rel=1e-3)


def test_saturation_line_against_iapws():
    # IAPWS-IF97 saturation line, independent implementation; 0.02 % covers the two formulations' difference.
    kelvin = np.linspace(274.0, 580.0, 60)
    theirs = np.array([iapws.iapws97._PSat_T(t) for t in kelvin]) * 1e6
    assert saturation_over_water_pa(kelvin) == pytest.approx(theirs, rel=3e-4)


@pytest.mark.parametrize("isotherm", EVERY, ids=lambda i: type(i).__name__)
@given(log_pressure=st.floats(-1.0, 3.3), celsius=st.floats(5.0, 90.0))
def test_pressure_is_the_inverse_of_loading(isotherm, log_pressure, celsius):
    pressure, kelvin = np.array(10.0**log_pressure), np.array(celsius + 273.15)
    if pressure > 0.95 * saturation_over_water_pa(kelvin):
        return
    q = isotherm.loading(pressure, kelvin)
    if q > 0.97 * getattr(isotherm, "qs", np.inf):
        return
    assert float(isotherm.pressure(q, kelvin)) == pytest.approx(float(pressure), rel=1e-6)


@pytest.mark.parametrize("isotherm", EVERY, ids=lambda i: type(i).__name__)
def test_slope_is_the_derivative(isotherm):
    kelvin = np.full(5, 308.15)
    q = np.array([1e-4, 3e-3, 0.02, 0.06, 0.12]) if not isinstance(isotherm, Linear) else np.full(5, 0.01)
    pressure, slope = isotherm.pressure_and_slope(q, kelvin)
    step = 1e-5 * q
    apart = (isotherm.pressure(q + step, kelvin) - isotherm.pressure(q - step, kelvin)) / (2.0 * step)
    assert slope == pytest.approx(apart, rel=1e-4)
    assert np.all(pressure > 0.0)


def test_alumina_against_humidity_does_not_depend_on_temperature():
    # Serbezov 2003 (abstract): against relative humidity nearly one curve between 5 and 35 degC.
    for humidity in (0.05, 0.5):
        cold, warm = (GENERIC_ALUMINA.loading(humidity * saturation_over_water_pa(t), t) for t in (278.15, 308.15))
        assert float(cold) == pytest.approx(float(warm), rel=1e-9)


def test_desiccants_are_within_the_trade_s_ranges():
    # Bulk densities 640-830 kg/m3, heats 2550-4200 kJ/kg: common practice, no published source.
    for desiccant in DESICCANTS.values():
        assert 640.0 <= desiccant.bulk_density_kg_m3 <= 830.0
        assert 2.55e6 <= desiccant.heat_of_adsorption_j_kg <= 4.2e6
        assert 0.55 <= desiccant.total_void <= 0.80
