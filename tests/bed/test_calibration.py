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


def _heatless_plant():
    dryer = {"regeneration": "heatless", "rated_flow_m3_min": 20.0, "half_cycle_s": 300}
    return plant_from({**TABLES, "dryer": dryer, "operation": {**TABLES["operation"], "flow_m3_min": 17.0}})


def _level(moisture: float) -> ObservedHalfCycle:
    since_s = np.arange(5.0, 300.0, 10.0)
    conditions = Conditions(0.3, 307.15, 307.15, BAR * 1e5)
    return ObservedHalfCycle(since_s, np.full(since_s.size, float(dew_point_c(moisture, BAR))), conditions)


def test_a_heatless_tower_has_its_level_and_no_figure_for_capacity_or_pace():
    dryer = dryer_from(_heatless_plant())
    # Levels 1, 2 and 4 ppm by turns: the mean of their logarithms is that of 2 ppm.
    fit = fit_bed([_level(1e-6 * 2.0 ** (i % 3)) for i in range(60)], dryer, BAR)
    assert set(fit.values) == {"residual"}
    assert fit.values["residual"].value == pytest.approx(2e-6, rel=1e-3)
    # Standard error of 60 unrelated means: ln 2 sqrt(2/3 * 60/59) / sqrt(60).
    sigma = np.log(2.0) * np.sqrt(2.0 / 3.0 * 60.0 / 59.0 / 60.0)
    assert np.log(fit.values["residual"].high / 2e-6) == pytest.approx(1.96 * sigma, rel=0.01)
    assert fit.fixed == ("residual",)
    assert fit.free == ("capacity", "kinetics")
    assert "do not show" in fit.word


def test_a_heatless_level_that_wanders_is_said_to_be_open():
    drifting = [_level(1e-6 * np.exp(0.1 * i)) for i in range(60)]
    fit = fit_bed(drifting, dryer_from(_heatless_plant()), BAR)
    assert fit.fixed == ()
    assert "do not even fix the level" in fit.word
    with pytest.raises(ValueError, match="2 half-cycles"):
        fit_bed(drifting[:1], dryer_from(_heatless_plant()), BAR)


def test_a_heatless_log_is_told_tower_by_tower():
    plant = _heatless_plant()
    table, truth = simulate(plant, days=0.25, seed=1)
    screened = screen(read_log([Upload("log.csv", table.to_csv(index=False).encode())], plant), plant)
    fits = calibrate(screened, segment(screened, plant), plant)
    assert set(fits) == {"A", "B"}
    for fit in fits.values():
        assert fit.free[:2] == ("capacity", "kinetics")
        level_c = float(dew_point_c(fit.values["residual"].value, BAR))
        towers = truth["towers"].values()
        lowest = min(tower["floor_dew_point_c"] for tower in towers)
        assert lowest - 1.0 < level_c < max(tower["peak_dew_point_c"] for tower in towers) + 1.0


def test_too_few_readings_are_refused():
    few = _half_cycle(1.0, 1.0, 12.0, 1)
    with pytest.raises(ValueError, match="readings"):
        fit_bed(
            [replace(few, since_s=few.since_s[:3], dew_point_c=few.dew_point_c[:3])],
            dryer_from(plant_from(TABLES)),
            BAR,
        )


def test_a_log_is_fitted_tower_by_tower():
    # 25 m3/min: beyond what regeneration by 12 % purge restores, so that the front shows in every half-cycle.
    plant = plant_from({**TABLES, "operation": {**TABLES["operation"], "flow_m3_min": 25.0}})
    table, truth = simulate(plant, days=1.0, seed=1)
    assert all(tower["peak_dew_point_c"] > tower["floor_dew_point_c"] + 20.0 for tower in truth["towers"].values())
    log = read_log([Upload("log.csv", table.to_csv(index=False).encode())], plant)
    screened = screen(log, plant)
    fits = calibrate(screened, segment(screened, plant), plant)
    assert set(fits) == {"A", "B"}
    for fit in fits.values():
        # Regeneration leaves water at the wet end, so the effective capacity is below that of new, dry beads.
        assert "capacity" in fit.fixed
        assert 0.5 < fit.values["capacity"].value < 1.1
        assert fit.misfit < 0.6
