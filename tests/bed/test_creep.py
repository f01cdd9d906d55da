"""Water that the heat does not reach: the steady cycle is found however slowly it creeps, and balances close."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from diagnostics.bed.column import Stream, enthalpy_of, temperature_of, uniform_state
from diagnostics.bed.creep import FalsePosition, Gain, further
from diagnostics.bed.march import Row
from diagnostics.bed.steady import steady_state
from diagnostics.bed.twin import Conditions, Outlet, Twin, _drained
from diagnostics.bed.vessel import FREE_AIR_KG_M3, Dryer, dryer_from
from diagnostics.plant import plant_from
from tests.bed import nameplates


@lru_cache(maxsize=1)
def _dryer() -> Dryer:
    nameplate = nameplates.heated(400.0)
    return dryer_from(plant_from({"dryer": nameplate}), cells=40)


def _conditions(flow_m3_min: float) -> Conditions:
    kelvin = 34.0 + 273.15
    return Conditions(flow_m3_min / 60.0 * FREE_AIR_KG_M3, kelvin, kelvin, 8.01325e5)


@pytest.mark.parametrize("flow_m3_min", [15.0, 20.0])
def test_a_heated_dryer_settles_whether_its_heat_suffices_or_not(flow_m3_min):
    # Plain cycles creep by up to 1 % of the swing a cycle, for a hundred of them.
    conditions = _conditions(flow_m3_min)
    settled = steady_state(_dryer(), conditions, step_s=60.0)
    assert settled.residual <= 1e-4
    assert settled.cycles <= 80
    twin = Twin(_dryer(), [bed.copy() for bed in settled.beds], step_s=60.0)
    swing = abs(settled.beds[0].loading.mean() - settled.beds[1].loading.mean())
    for _ in range(2):
        twin.advance(conditions, 14400.0, Outlet(), 0.0)
        twin.switch()
    for now, before in zip(twin.beds, settled.beds, strict=True):
        assert abs(now.loading.mean() - before.loading.mean()) < 5e-4 * swing


def test_towers_that_differ_settle_each_on_its_own():
    weak = replace(_dryer(), heater_factor=(1.0, 0.8))
    settled = steady_state(weak, _conditions(19.0), step_s=60.0)
    assert settled.residual <= 1e-4
    twin = Twin(weak, [bed.copy() for bed in settled.beds], step_s=60.0)
    twin.advance(_conditions(19.0), 14400.0, Outlet(), 0.0)
    # Tower B, regenerated with less heat, keeps more of its water than A kept when its turn came.
    assert twin.beds[1].loading.mean() > settled.beds[0].loading.mean() + 0.01


def test_beads_hold_what_fills_their_pores_and_the_rest_runs_off():
    dryer, conditions = _dryer(), replace(_conditions(15.0), liquid_share=8.0)
    twin = Twin(dryer, [uniform_state(p, 0.45, 300.0) for p in dryer.packings], step_s=60.0)
    held = sum(float(b.loading.mean()) * p.mass_kg for b, p in zip(twin.beds, dryer.packings, strict=True))
    twin.advance(conditions, 150.0, Outlet(), 0.0)
    assert twin.drained_kg > 0.0
    desiccant = dryer.packings[0].desiccant
    for bed in twin.beds:
        kelvin = temperature_of(desiccant, bed.loading, bed.enthalpy)
        # Generic alumina fills at 0.49 kg/kg; published pore volume 0.5 cm3/g (Serbezov 2003, abstract).
        assert bed.loading.max() <= 0.4947
        assert np.all(kelvin > 250.0)
    now = sum(float(b.loading.mean()) * p.mass_kg for b, p in zip(twin.beds, dryer.packings, strict=True))
    entered = conditions.feed_kg_s * conditions.inlet_ratio * 150.0
    # What entered is held, ran off, or left as vapour with the air of both vessels.
    assert 0.0 < now - held + twin.drained_kg <= entered


def test_what_runs_off_is_counted_to_the_gram():
    packing = _dryer().packings[0]
    row = Row([packing], [Stream(0.2, 0.004, 307.0, 8e5)])
    state = uniform_state(packing, 0.0, 300.0)
    state.loading = np.linspace(0.0, 0.7, packing.cells)
    state.enthalpy = enthalpy_of(packing.desiccant, state.loading, 300.0)
    before = float(state.loading.sum()) * packing.cell_kg
    run_off = _drained(state, row)
    assert run_off > 1.0
    assert float(state.loading.sum()) * packing.cell_kg + run_off == pytest.approx(before, rel=1e-12)
    assert temperature_of(packing.desiccant, state.loading, state.enthalpy) == pytest.approx(300.0)
    assert _drained(state, row) == pytest.approx(0.0, abs=1e-9)


def test_a_wet_zone_is_moved_to_hold_what_is_asked():
    dryer = _dryer()
    desiccant = dryer.packings[0].desiccant
    beds = []
    for packing in dryer.packings:
        bed = uniform_state(packing, 0.0, 320.0)
        bed.loading = np.where(np.arange(packing.cells) < 10, 0.4, 0.001)
        bed.enthalpy = enthalpy_of(desiccant, bed.loading, 320.0)
        beds.append(bed)
    moved = further(beds, [0.2, 0.05], dryer)
    assert moved[0].loading.mean() == pytest.approx(0.2, abs=1e-6)
    assert moved[1].loading.mean() == pytest.approx(0.05, abs=1e-6)
    assert moved[0].loading[:18] == pytest.approx(0.4)
    assert temperature_of(desiccant, moved[0].loading, moved[0].enthalpy) == pytest.approx(320.0)


def test_false_position_finds_where_the_gain_is_nought():
    hunt, held = FalsePosition(), 0.01
    for _ in range(12):
        held = hunt.after(Gain(held, 0.02 * (0.23 - held) * (1.0 + held)))
    assert held == pytest.approx(0.23, abs=1e-4)
