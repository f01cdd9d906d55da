"""A bed that was marched is found again from its outlet, and what the outlet cannot tell is said to be open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.air.humidity import dew_point_c
from diagnostics.bed.calibration import ObservedHalfCycle, calibrate, fit_bed
from diagnostics.bed.column import MASS_RATIO, Stream, enthalpy_of, uniform_state
from diagnostics.bed.march import Row
from diagnostics.bed.simulation import simulate
from diagnostics.bed.twin import Conditions
from diagnostics.bed.vessel import FREE_AIR_KG_M3, dryer_from
from diagnostics.cycle.half_cycles import segment
from diagnostics.log.reading import read_log
from diagnostics.log.record import Upload
from diagnostics.log.screening import screen
from diagnostics.plant import plant_from

BAR = 8.01325
TABLES = {
    "site": {"name": "Test (invented)", "timezone": "Europe/Berlin"},
    "dryer": {
        "regeneration": "heated_purge",
        "rated_flow_m3_min": 24.0,
        "half_cycle_s": 14400,
        "purge_share": 0.12,
        "purge_share_means": "while_purging",
        "purge_s": 13500,
        "heater_s": 8640,
        "desiccant_mass_kg": 400.0,
    },
    "operation": {"flow_m3_min": 20.5, "inlet_temperature_c": 34.0, "pressure_bar_g": 7.0},
}


def _half_cycle(capacity: float, kinetics: float, flow_m3_min: float, seed: int) -> ObservedHalfCycle:
    """Marched on a finer grid than the fit's, with reading noise."""
    dryer = dryer_from(plant_from(TABLES))
    bed = replace(dryer.packings[0], cells=120, capacity=capacity, kinetics=dryer.packings[0].kinetics * kinetics)
    kelvin = 34.0 + 273.15
    conditions = Conditions(flow_m3_min / 60.0 * FREE_AIR_KG_M3, kelvin, kelvin, BAR * 1e5)
    state = uniform_state(bed, 0.0, kelvin + 5.0)
    state.loading[:] = capacity * bed.desiccant.isotherm.loading(np.array(2e-7 * BAR * 1e5), np.array(kelvin + 5.0))
    state.enthalpy = enthalpy_of(bed.desiccant, state.loading, kelvin + 5.0)
    stream = Stream(conditions.feed_kg_s, conditions.inlet_ratio, kelvin, BAR * 1e5, kelvin + 5.0)
    ratio = Row([bed], [stream]).march(state, 14400.0, 60.0).ratio[:, 0]
    noise = 0.1 * np.random.default_rng(seed).standard_normal(ratio.size)
    dew = np.asarray(dew_point_c(ratio / (ratio + MASS_RATIO), BAR)) + noise
    return ObservedHalfCycle(60.0 * (np.arange(ratio.size) + 0.5), dew, conditions)


def test_a_marched_bed_with_a_tail_is_found_again():
    dryer = dryer_from(plant_from(TABLES))
    seen = [_half_cycle(0.5, 0.7, flow, i) for i, flow in enumerate((18.0, 20.0, 22.0))]
    fit = fit_bed(seen, dryer, BAR)
    assert fit.free == ()
    assert fit.values["capacity"].value == pytest.approx(0.5, rel=0.03)
    assert fit.values["kinetics"].value == pytest.approx(0.7, rel=0.06)
    assert fit.values["residual"].value == pytest.approx(2e-7, rel=0.1)
    assert np.allclose(np.diag(fit.correlation), 1.0)
    assert "fix capacity, pace and residual" in fit.word


def test_without_a_tail_capacity_is_said_to_be_open():
    fit = fit_bed([_half_cycle(1.0, 1.0, 12.0, 1)], dryer_from(plant_from(TABLES)), BAR)
    assert "capacity" in fit.free
    assert fit.values["capacity"].low < 1.0 < fit.values["capacity"].high
    assert "no tail shows" in fit.word
    assert fit.fixed == ("residual",)


def test_heatless_beds_and_too_few_readings_are_refused():
    heatless = dryer_from(plant_from({"dryer": {"rated_flow_m3_min": 20.0}}))
    with pytest.raises(ValueError, match="heatless"):
        fit_bed([_half_cycle(1.0, 1.0, 12.0, 1)], heatless, BAR)
    few = _half_cycle(1.0, 1.0, 12.0, 1)
    with pytest.raises(ValueError, match="readings"):
        fit_bed(
            [replace(few, since_s=few.since_s[:3], dew_point_c=few.dew_point_c[:3])],
            dryer_from(plant_from(TABLES)),
            BAR,
        )


def test_a_log_is_fitted_tower_by_tower():
    # 23 m3/min: beyond what regeneration by 12 % purge restores, so that the front shows in every half-cycle.
    plant = plant_from({**TABLES, "operation": {**TABLES["operation"], "flow_m3_min": 23.0}})
    table, _ = simulate(plant, days=2.0, seed=1)
    log = read_log([Upload("log.csv", table.to_csv(index=False).encode())], plant)
    screened = screen(log, plant)
    fits = calibrate(screened, segment(screened, plant), plant)
    assert set(fits) == {"A", "B"}
    for fit in fits.values():
        # Regeneration leaves water at the wet end, so the effective capacity is below that of new, dry beads.
        assert "capacity" in fit.fixed
        assert 0.5 < fit.values["capacity"].value < 1.1
        assert fit.misfit < 0.6
