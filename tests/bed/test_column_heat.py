"""Heat in a bed: thermal wave, adiabatic plateau, and water and energy that close to a millionth of the throughput."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.bed.column import (
    AIR_HEAT_J_KG_K,
    BedState,
    Packing,
    Stream,
    enthalpy_of,
    temperature_of,
    uniform_state,
)
from diagnostics.bed.isotherm import DESICCANTS, Desiccant, Langmuir, Linear
from diagnostics.bed.march import Row
from tests.bed.closed_form import BULK_KG_M3, DENSITY, KELVIN, LENGTH_M, PRESSURE_PA, SPEED_M_S, concentration
from tests.bed.rows import rows

FLOW = SPEED_M_S * DENSITY


def test_thermal_wave_speed():
    # Enthalpy balance of a dry bed; gas storage is left out and comes back as the void's passing time.
    row = rows("thermal_wave_velocity")[0]
    dry = Desiccant("dry", Linear(1e-12), BULK_KG_M3, 0.38, 0.5, 3.0, 2.8e6, 1000.0, 0.0)
    packing = Packing(dry, LENGTH_M, 1.0, heat="adiabatic")
    state = uniform_state(packing, 0.0, KELVIN)
    run = Row([packing], [Stream(FLOW, 0.0, KELVIN + 20.0, PRESSURE_PA)]).march(state, 1000.0, 1.0)
    warm = (run.temperature_k[:, 0] - KELVIN) / 20.0
    arrival = float(np.interp(0.5, warm, np.arange(1000) + 0.5)) + row["inputs"]["eps_total"] * LENGTH_M / SPEED_M_S
    assert LENGTH_M / arrival == pytest.approx(row["expected"], rel=0.01)


def test_adiabatic_plateau():
    # Rise behind the thermal wave, (Y0 dH / c_g) / (1 - u_shock/u_thermal); rectangular isotherm, no gas storage.
    row = rows("adiabatic_plateau_rise_rectangular_case")[0]["inputs"]
    feed_pa = row["Y0"] * row["rho_gas"] / concentration(1.0)
    beads = Desiccant(
        "rect", Langmuir(row["q0"] * 1.01, 100.0 / feed_pa), BULK_KG_M3, 0.38, 0.5, 3.0, row["dH"], 1000.0, 0.0
    )
    packing = Packing(beads, LENGTH_M, 1.0, heat="adiabatic", conductance_1_s=20.0)
    state = uniform_state(packing, 0.0, KELVIN)
    flow = row["u"] * row["rho_gas"]
    run = Row([packing], [Stream(flow, row["Y0"], KELVIN, PRESSURE_PA)]).march(state, 1200.0, 1.0)
    plateau = float(np.max(run.temperature_k[:, 0]) - KELVIN)
    shock = flow * row["Y0"] / (BULK_KG_M3 * row["q0"])
    thermal = flow * AIR_HEAT_J_KG_K / (BULK_KG_M3 * 1000.0)
    heat = row["dH"] - 1860.0 * 35.0  # the heat at 0 degC less the vapour's own warmth, as beads hold no water's heat
    exact = row["Y0"] * (heat + 1860.0 * 35.0) / AIR_HEAT_J_KG_K / (1.0 - shock / thermal)
    assert plateau == pytest.approx(exact, rel=0.01)


@settings(max_examples=15, deadline=None)
@given(
    kind=st.sampled_from(sorted(DESICCANTS)),
    feed_c=st.floats(15.0, 45.0),
    start=st.floats(0.0, 0.12),
    warm_c=st.floats(10.0, 180.0),
    flow=st.floats(0.02, 2.5),
    bar=st.floats(1.0, 11.0),
    step_s=st.floats(1.0, 30.0),
)
def test_water_and_energy_close_to_a_millionth(kind, feed_c, start, warm_c, flow, bar, step_s):
    packing = Packing(DESICCANTS[kind], 1.2, 1.0, cells=40, wall_j_k=1e5, wall_w_k=300.0, loss_w_k=50.0)
    state = uniform_state(packing, start, feed_c + 273.15)
    water0 = state.loading.sum() * packing.cell_kg
    heat0 = state.enthalpy.sum() * packing.cell_kg
    row = Row([packing], [Stream(flow, 0.002, warm_c + 273.15, bar * 1e5)])
    run = row.march(state, 1800.0, step_s)
    water = float(run.water_in_kg[0] - run.water_out_kg[0] - (state.loading.sum() * packing.cell_kg - water0))
    heat = float(
        run.heat_in_j[0] - run.heat_out_j[0] - run.wall_j[0] - (state.enthalpy.sum() * packing.cell_kg - heat0)
    )
    assert abs(water) <= 1e-6 * float(run.water_in_kg[0])
    assert abs(heat) <= 1e-6 * float(abs(run.heat_in_j[0]) + abs(run.heat_out_j[0]) + 1.0)


def test_enthalpy_and_temperature_are_inverse():
    desiccant = DESICCANTS["silica_gel"]
    q = np.linspace(0.0, 0.3, 7)
    kelvin = np.linspace(280.0, 430.0, 7)
    assert temperature_of(desiccant, q, enthalpy_of(desiccant, q, kelvin)) == pytest.approx(kelvin, abs=1e-9)


def test_adsorption_at_one_temperature_releases_the_heat_of_adsorption():
    desiccant = DESICCANTS["activated_alumina"]
    vapour = 1860.0 * 35.0
    bed = enthalpy_of(desiccant, np.array(0.1), 308.15) - enthalpy_of(desiccant, np.array(0.0), 308.15)
    assert vapour - float(bed) / 0.1 == pytest.approx(desiccant.heat_of_adsorption_j_kg, rel=1e-9)


def test_heat_balance_modes_agree_where_they_must():
    packing = Packing(DESICCANTS["activated_alumina"], 1.2, 1.0, cells=40, heat="adiabatic")
    walled = replace(packing, heat="wall", wall_j_k=0.0, wall_w_k=0.0)
    outlets = []
    for bed in (packing, walled):
        state = uniform_state(bed, 0.01, 305.0)
        outlets.append(Row([bed], [Stream(2.0, 0.004, 305.0, 8e5)]).march(state, 600.0, 5.0).ratio)
    assert outlets[0] == pytest.approx(outlets[1], rel=1e-9)


def test_the_first_bed_needs_an_inlet():
    packing = Packing(DESICCANTS["activated_alumina"], 1.2, 1.0, cells=10)
    with pytest.raises(ValueError, match="needs an inlet"):
        Row([packing], [Stream(1.0, None, None, 8e5)])


def test_beds_in_a_row_must_be_alike():
    beds = [Packing(DESICCANTS[k], 1.2, 1.0, cells=10) for k in ("activated_alumina", "silica_gel")]
    with pytest.raises(ValueError, match="same desiccant"):
        Row(beds, [Stream(1.0, 0.004, 300.0, 8e5), Stream(0.1, None, None, 1e5)])


@settings(max_examples=8, deadline=None)
@given(share=st.floats(0.02, 0.6), inlet=st.floats(5e-4, 6e-3), hot_k=st.one_of(st.none(), st.floats(330.0, 470.0)))
def test_two_chained_beds_share_their_water(share, inlet, hot_k):
    # The second bed is purged by what leaves the first; water over both closes to a millionth of what enters.
    packing = Packing(DESICCANTS["activated_alumina"], 1.2, 0.2, cells=30)
    first, second = uniform_state(packing, 0.02, 305.0), uniform_state(packing, 0.05, 305.0)
    state = BedState(*(np.concatenate(pair) for pair in zip(vars(first).values(), vars(second).values(), strict=True)))
    before = state.loading.reshape(2, -1).sum(axis=1) * packing.cell_kg
    streams = (Stream(0.4, inlet, 305.0, 8e5), Stream(0.4 * share, None, hot_k, 1.05e5))
    run = Row([packing, packing], streams).march(state, 600.0, 10.0)
    gained = state.loading.reshape(2, -1).sum(axis=1) * packing.cell_kg - before
    assert run.water_in_kg[1] == pytest.approx(share * run.water_out_kg[0], rel=1e-9, abs=1e-12)
    lost = run.water_in_kg - run.water_out_kg - gained
    assert np.abs(lost).max() <= 1e-6 * run.water_in_kg[0]
