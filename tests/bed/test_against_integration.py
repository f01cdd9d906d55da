"""The marching scheme against a general stiff integrator: the leaving air within 0.1 K of frost point."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.air.humidity import dew_point_c
from diagnostics.bed.column import MASS_RATIO, Packing, Stream, enthalpy_of, uniform_state
from diagnostics.bed.isotherm import DESICCANTS
from diagnostics.bed.march import Row
from tests.bed.dense_integration import integrate_bed


def _dew_c(ratio):
    return np.asarray(dew_point_c(ratio / (ratio + MASS_RATIO), 8.01325))


@pytest.mark.parametrize("kind", sorted(DESICCANTS))
def test_adsorption_front_with_heat(kind):
    packing = Packing(DESICCANTS[kind], 0.35, 0.1, cells=25, heat="adiabatic")
    stream = Stream(0.22, 0.0044, 308.15, 8.01325e5)
    state = uniform_state(packing, 0.0, 308.15)
    depth = np.linspace(0.0, 1.0, 25)
    state.loading = np.asarray(packing.desiccant.isotherm.loading(0.5 * np.exp(-2.0 * depth), 308.15))
    state.enthalpy = enthalpy_of(packing.desiccant, state.loading, 308.15)
    loading, kelvin = state.loading.copy(), np.full(25, 308.15)
    run = Row([packing], [stream]).march(state, 2400.0, 4.0)
    times = np.arange(1, 601) * 4.0
    # March reports means over steps; their middles are compared, the first minutes' jump of temperature apart.
    ratio, warm, end = integrate_bed(packing, stream, loading, kelvin, np.append(times - 2.0, 2400.0))
    ratio, warm = ratio[:-1], warm[:-1]
    late = times > 60.0
    assert np.abs(_dew_c(run.ratio[late, 0]) - _dew_c(ratio[late])).max() < 0.1
    assert np.abs(run.temperature_k[late, 0] - warm[late]).max() < 0.3
    assert state.loading == pytest.approx(end, abs=1e-3 * float(end.max()))


def test_hot_purge_of_a_loaded_bed():
    packing = replace(Packing(DESICCANTS["activated_alumina"], 0.35, 0.1, cells=25, heat="adiabatic"), kinetics=1.0)
    stream = Stream(0.03, 1e-5, 440.0, 1.04e5, 370.0)
    state = uniform_state(packing, 0.06, 308.15)
    loading, kelvin = state.loading.copy(), np.full(25, 308.15)
    run = Row([packing], [stream]).march(state, 3600.0, 5.0)
    times = np.arange(1, 721) * 5.0
    ratio, _, end = integrate_bed(packing, stream, loading, kelvin, np.append(times - 2.5, 3600.0))
    ratio = ratio[:-1]
    late = times > 60.0
    assert run.ratio[late, 0] == pytest.approx(ratio[late], rel=0.01, abs=0.0025 * float(ratio.max()))
    assert state.loading == pytest.approx(end, abs=3e-4)
