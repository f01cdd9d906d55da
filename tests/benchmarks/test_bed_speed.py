"""How fast the bed model is. Run with ``pytest tests/benchmarks/test_bed_speed.py --benchmark-only``."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.bed.column import Packing, Stream, enthalpy_of, uniform_state
from diagnostics.bed.isotherm import DESICCANTS
from diagnostics.bed.march import Row
from diagnostics.bed.steady import steady_state
from diagnostics.bed.twin import Conditions, Outlet, Twin
from diagnostics.bed.vessel import FREE_AIR_KG_M3, dryer_from
from diagnostics.plant import plant_from
from tests.bed.dense_integration import integrate_bed

pytestmark = pytest.mark.benchmark(min_rounds=1, max_time=1.0, warmup=False)


def _conditions(flow_m3_min, inlet_c):
    kelvin = inlet_c + 273.15
    return Conditions(flow_m3_min / 60.0 * FREE_AIR_KG_M3, kelvin, kelvin, 8.01325e5)


def _front():
    packing = Packing(DESICCANTS["activated_alumina"], 0.7, 0.1, cells=100, heat="adiabatic")
    state = uniform_state(packing, 0.0, 308.15)
    state.loading = np.asarray(packing.desiccant.isotherm.loading(0.5 * np.exp(-2.0 * np.linspace(0, 1, 100)), 308.15))
    state.enthalpy = enthalpy_of(packing.desiccant, state.loading, 308.15)
    return packing, Stream(0.22, 0.0044, 308.15, 8.01325e5), state


def test_two_days_of_a_five_minute_heatless_dryer(benchmark):
    dryer = dryer_from(plant_from({"dryer": {"rated_flow_m3_min": 20.0, "half_cycle_s": 300}}), cells=100)
    conditions = _conditions(17.0, 33.0)
    settled = steady_state(dryer, conditions, step_s=10.0)

    def two_days():
        twin = Twin(dryer, [b.copy() for b in settled.beds], step_s=5.0)
        for _ in range(576):
            twin.advance(conditions, 300.0, Outlet(), 0.0)
            twin.switch()
        return twin.last_ratio

    assert benchmark.pedantic(two_days, rounds=1) > 0.0


def test_steady_state_of_a_heatless_dryer(benchmark):
    dryer = dryer_from(plant_from({"dryer": {"rated_flow_m3_min": 20.0, "half_cycle_s": 300}}))
    settled = benchmark.pedantic(lambda: steady_state(dryer, _conditions(18.0, 33.0), step_s=10.0), rounds=2)
    assert settled.residual < 1e-3


HEATED = {"regeneration": "heated_purge", "rated_flow_m3_min": 24.0}
CASES = {
    "heat suffices": (HEATED, (1.0, 1.0), 1.0, (15.0, 30.0)),
    "far from enough": (HEATED, (1.0, 1.0), 1.0, (22.0, 35.0)),
    "one heater dead": (HEATED, (1.0, 0.0), 1.0, (15.0, 30.0)),
    "silica gel": (HEATED | {"desiccant": "silica_gel"}, (1.0, 1.0), 1.0, (15.0, 30.0)),
    "blower short of heat": (
        {"regeneration": "blower_purge", "rated_flow_m3_min": 30.0, "desiccant": "activated_alumina"},
        (1.0, 1.0),
        0.5,
        (27.0, 34.0),
    ),
}


@pytest.mark.parametrize("case", list(CASES))
def test_steady_state_of_a_heated_dryer(benchmark, case):
    nameplate, heaters, blower, load = CASES[case]
    dryer = dryer_from(plant_from({"dryer": nameplate}))
    dryer = replace(dryer, heater_factor=heaters, blower_kg_s=blower * dryer.blower_kg_s)
    settled = benchmark.pedantic(lambda: steady_state(dryer, _conditions(*load), step_s=60.0), rounds=1)
    assert settled.residual <= 1e-4


def test_front_marched(benchmark):
    packing, stream, state = _front()
    passage = benchmark.pedantic(lambda: Row([packing], [stream]).march(state.copy(), 2400.0, 4.0), rounds=3)
    assert np.isfinite(passage.ratio).all()


def test_front_by_a_dense_stiff_integrator(benchmark):
    packing, stream, state = _front()
    times = np.arange(1, 601) * 4.0
    kelvin = np.full(100, 308.15)
    ratio, _, _ = benchmark.pedantic(
        lambda: integrate_bed(packing, stream, state.loading.copy(), kelvin, times), rounds=1
    )
    assert np.isfinite(ratio).all()
