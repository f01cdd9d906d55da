"""Orifice flow against ISO 9300 (ideal-gas form) and ISO 6358 rows; see each row's source and provenance."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.air.orifice import (
    conductance_kg_s,
    critical_flow_function,
    critical_pressure_ratio,
    orifice_kg_s,
    orifice_m3_min,
)
from tests.reference.energy_rows import agrees, row, rows


def test_critical_flow_function() -> None:
    # ISO 9300, ideal-gas form, gamma 1.4
    assert agrees(critical_flow_function(), row("critical_flow_function_ideal"))
    assert agrees(critical_pressure_ratio(), row("critical_pressure_ratio"))


@pytest.mark.parametrize("case", rows("choked_mass_flow", "subsonic_mass_flow"))
def test_mass_flow(case: dict) -> None:
    # isentropic nozzle flow, computed with scipy
    given = case["inputs"]
    flow = orifice_kg_s(
        given["d_m"] * 1000.0,
        given["p1_Pa"] / 1e5,
        given.get("p2_Pa", 101325.0) / 1e5,
        given["T1_K"] - 273.15,
        discharge_coefficient=given["Cd"],
    )
    assert agrees(flow, case)


@pytest.mark.parametrize("case", rows("iso6358_mass_flow"))
def test_conductance(case: dict) -> None:
    # ISO 6358 formula and reference state, from memory
    given = case["inputs"]
    flow = conductance_kg_s(
        given["C_m3_per_s_Pa"], given["b"], given["p1_Pa"] / 1e5, given["p2_Pa"] / 1e5, given["T1_K"] - 273.15
    )
    assert agrees(flow, case)


def test_free_air_of_a_6_mm_bore() -> None:
    # 0.041730 kg/s at 8.013 bar absolute are 2.107 m3/min of free air (1.1885 kg/m3), computed
    assert orifice_m3_min(6.0, 8.01325, 1.01325, 35.0) == pytest.approx(2.107, rel=3e-4)


def test_choked_flow_follows_absolute_pressure() -> None:
    low, high = (orifice_kg_s(6.0, bar, 1.0, 35.0) for bar in (6.0, 9.0))
    assert high / low == pytest.approx(1.5)


@given(st.floats(1.0, 16.0), st.floats(0.0, 1.0), st.floats(-40.0, 80.0))
def test_flow_rises_with_the_pressure_drop(upstream: float, share: float, temperature: float) -> None:
    less, more = (orifice_kg_s(5.0, upstream, upstream * r, temperature) for r in (1 - share / 2, 1 - share))
    assert 0.0 <= less <= more + 1e-15
    assert math.isfinite(more)


@given(st.floats(1.0, 16.0), st.floats(-40.0, 80.0))
def test_choked_and_subsonic_meet(upstream: float, temperature: float) -> None:
    ratio = critical_pressure_ratio()
    below, above = (orifice_kg_s(5.0, upstream, upstream * r, temperature) for r in (ratio - 1e-9, ratio + 1e-9))
    assert above == pytest.approx(below, rel=1e-6)


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ((0.0, 8.0, 1.0, 35.0), "bore_mm"),
        ((6.0, 0.0, 0.0, 35.0), "upstream_bar"),
        ((6.0, 8.0, 9.0, 35.0), "downstream_bar"),
        ((6.0, 8.0, 1.0, -300.0), "temperature_c"),
    ],
)
def test_impossible_inputs_are_named(arguments: tuple, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        orifice_kg_s(*arguments)


def test_impossible_coefficients_are_named() -> None:
    with pytest.raises(ValueError, match="discharge_coefficient"):
        orifice_kg_s(6.0, 8.0, 1.0, 35.0, discharge_coefficient=1.2)
    with pytest.raises(ValueError, match="critical ratio"):
        conductance_kg_s(5e-9, 1.0, 8.0, 1.0, 35.0)
