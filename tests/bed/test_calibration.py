"""A bed that was marched is found again from its outlet, and what the outlet cannot tell is said to be open."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from diagnostics.air.humidity import dew_point_c
from diagnostics.bed import simulation
from diagnostics.bed.bed_fit import ObservedHalfCycle, past_the_spike
from diagnostics.bed.calibration import calibrate, fit_bed
from diagnostics.bed.heated_fit import Regenerated, leaving, leaving_each, regenerated
from diagnostics.bed.heatless_fit import PaceCurve, fit_heatless
from diagnostics.bed.simulation import simulate
from diagnostics.bed.twin import Conditions
from diagnostics.bed.vessel import FREE_AIR_KG_M3, dryer_from
from diagnostics.cycle.half_cycles import segment
from diagnostics.log.reading import read_log
from diagnostics.log.record import Upload
from diagnostics.log.screening import screen
from diagnostics.plant import Plant, plant_from
from tests.bed import nameplates

BAR = 8.01325
TABLES = {
    "site": {"name": "Test (invented)", "timezone": "Europe/Berlin"},
    "dryer": nameplates.heated(260.0),
    "operation": {"flow_m3_min": 16.0, "inlet_temperature_c": 34.0, "pressure_bar_g": 7.0},
}


def _plant(flow_m3_min: float = 16.0) -> Plant:
    return plant_from({**TABLES, "operation": {**TABLES["operation"], "flow_m3_min": flow_m3_min}})


def _conditions(flow_m3_min: float) -> Conditions:
    kelvin = 34.0 + 273.15
    return Conditions(flow_m3_min / 60.0 * FREE_AIR_KG_M3, kelvin, kelvin, BAR * 1e5)


@lru_cache
def _start(flow_m3_min: float) -> Regenerated:
    return regenerated(dryer_from(_plant()), _conditions(flow_m3_min))


def _half_cycle(
    capacity: float, kinetics: float, residual: float, floor: float, flow_m3_min: float, seed: int
) -> ObservedHalfCycle:
    """Marched on a finer grid than the fit's, with reading noise."""
    packing = replace(dryer_from(_plant()).packings[0], cells=80)
    load = _conditions(flow_m3_min)
    start = _start(flow_m3_min)
    bare = ObservedHalfCycle(np.empty(0), np.empty(0), ((14400.0, load),))
    x = (np.log(capacity), np.log(kinetics), residual, np.log(floor))
    times, logs = leaving(packing, bare, start, x, step_s=60.0)
    noise = 0.1 * np.random.default_rng(seed).standard_normal(times.size)
    return replace(bare, since_s=times, dew_point_c=np.asarray(dew_point_c(np.exp(logs), BAR)) + noise)


@pytest.mark.parametrize(("capacity", "kinetics"), [(0.8, 1.0), (0.7, 2.0)])
def test_a_marched_bed_with_a_front_is_found_again(capacity, kinetics):
    seen = [_half_cycle(capacity, kinetics, 0.02, 5e-7, flow, i) for i, flow in enumerate((15.0, 17.0))]
    fit = fit_bed(seen, dryer_from(_plant()), BAR)
    for name, true in (("capacity", capacity), ("kinetics", kinetics), ("residual", 0.02)):
        assert fit.values[name].low <= true <= fit.values[name].high
    assert "capacity" in fit.fixed
    # A front that is sharper than the fit's cells tells the pace less well.
    assert fit.values["kinetics"].high / fit.values["kinetics"].low < 2.6
    assert fit.values["kinetics"].value == pytest.approx(kinetics, rel=0.15)
    assert fit.values["capacity"].value == pytest.approx(capacity, rel=0.1)
    assert np.allclose(np.diag(fit.correlation), 1.0)
    assert "fix" in fit.word
    assert "capacity" in fit.word


def test_beds_marched_side_by_side_leave_the_air_each_leaves_alone():
    bare = ObservedHalfCycle(np.empty(0), np.empty(0), ((7200.0, _conditions(17.0)), (7200.0, _conditions(15.0))))
    xs = np.log(np.array([[0.8, 1.0, 1.0, 5e-7], [0.6, 2.0, 1.0, 1e-7], [1.0, 0.5, 1.0, 1e-6]]))
    xs[:, 2] = 0.02, 0.1, 0.0
    packing = replace(dryer_from(_plant()).packings[0], cells=40)
    times, together = leaving_each(packing, bare, _start(17.0), xs, step_s=60.0)
    for x, curve in zip(xs, together.T, strict=True):
        alone_times, alone = leaving(packing, bare, _start(17.0), x, step_s=60.0)
        assert times == pytest.approx(alone_times)
        assert curve[times > 600.0] == pytest.approx(alone[times > 600.0], abs=0.02)


def test_without_a_front_capacity_and_pace_are_said_to_be_open():
    fit = fit_bed([_half_cycle(1.0, 1.0, 0.0, 5e-7, 7.0, 1)], dryer_from(_plant()), BAR)
    assert {"capacity", "kinetics"} <= set(fit.free)
    assert fit.values["capacity"].low < 1.0 < fit.values["capacity"].high
    assert fit.values["kinetics"].low < 1.0 < fit.values["kinetics"].high
    assert "no front shows" in fit.word
    assert "floor" in fit.fixed
    assert fit.values["floor"].value == pytest.approx(5e-7, rel=0.1)


def test_a_changeover_placed_late_leaves_the_next_spike_out():
    since_s = np.arange(60.0, 14460.0, 60.0)
    dew_c = np.where(since_s > 13800.0, -45.0, -65.0) + 0.0 * since_s
    times, logs = past_the_spike(ObservedHalfCycle(since_s, dew_c, ()), BAR)
    assert times[0] > 3600.0
    assert times[-1] == 13800.0
    assert np.ptp(logs) == 0.0


def _scaled(monkeypatch, *, capacity: float = 1.0, kinetics: float = 1.0, cells: int | None = None) -> None:
    """Let simulated dryers have such beds, while the plant file and the fit know nothing of it."""

    def other(plant, **given):
        dryer = dryer_from(plant, **{"cells": cells, **given})
        packing = dryer.packings[0].with_faults(capacity=capacity, kinetics=kinetics)
        return replace(dryer, packings=(packing, packing))

    monkeypatch.setattr(simulation, "dryer_from", other)


def _fits(plant: Plant, days: float):
    table, truth = simulate(plant, days=days, seed=1)
    screened = screen(read_log([Upload("log.csv", table.to_csv(index=False).encode())], plant), plant)
    return calibrate(screened, segment(screened, plant), plant), truth


@pytest.mark.parametrize(("capacity", "kinetics", "front"), [(1.0, 0.5, True), (0.8, 2.0, False)])
def test_a_log_s_intervals_hold_the_beds_it_came_from(capacity, kinetics, front, monkeypatch):
    _scaled(monkeypatch, capacity=capacity, kinetics=kinetics)
    fits, truth = _fits(_plant(), 1.0)
    assert set(fits) == {"A", "B"}
    for tower, fit in fits.items():
        dew_c = truth["towers"][tower]
        assert (dew_c["peak_dew_point_c"] > dew_c["floor_dew_point_c"] + 3.0) is front
        assert fit.values["capacity"].low <= capacity <= fit.values["capacity"].high
        assert fit.values["kinetics"].low <= kinetics <= fit.values["kinetics"].high
        assert fit.misfit < 0.4
        if front:
            assert fit.values["kinetics"].high / fit.values["kinetics"].low < 4.0
        else:
            assert "capacity" in fit.free


def _heatless_plant(flow_m3_min: float = 17.0) -> Plant:
    dryer = {"regeneration": "heatless", "rated_flow_m3_min": 20.0, "half_cycle_s": 300}
    return plant_from({**TABLES, "dryer": dryer, "operation": {**TABLES["operation"], "flow_m3_min": flow_m3_min}})


def _level(moisture: float) -> ObservedHalfCycle:
    since_s = np.arange(5.0, 300.0, 10.0)
    dew_c = np.full(since_s.size, float(dew_point_c(moisture, BAR)))
    return ObservedHalfCycle(since_s, dew_c, ((300.0, _conditions(17.0)),))


class _Ladder(PaceCurve):
    """Levels by rule instead of by the twin: 1e-6 at pace 1, a hundredth of it at twice the pace."""

    def _settled_level(self, pace: float, purge: float) -> float:
        return float(np.log(1e-6) - 2.0 * np.log(10.0) * np.log2(pace) - 30.0 * (purge - 1.0))


def _ladder() -> PaceCurve:
    return _Ladder(dryer_from(_heatless_plant()), _conditions(17.0))


def test_a_heatless_tower_has_its_level_and_a_least_pace():
    dryer = dryer_from(_heatless_plant())
    # Levels 1.9, 2 and 2.1 ppm by turns: the mean of their logarithms is near that of 2 ppm.
    levels = [_level(1e-6 * level) for level in (1.9, 2.0, 2.1) * 20]
    fit = fit_heatless(levels, dryer, BAR, 0.001, _ladder())
    assert set(fit.values) == {"floor"}
    assert fit.values["floor"].value == pytest.approx(2e-6, rel=2e-3)
    # Standard error of 60 unrelated means.
    sigma = np.std(np.log([1.9, 2.0, 2.1] * 20), ddof=1) / np.sqrt(60.0)
    half = 0.5 * np.log(fit.values["floor"].high / fit.values["floor"].low)
    assert half == pytest.approx(1.96 * sigma, rel=0.01)
    assert fit.fixed == ("floor",)
    assert fit.free == ("capacity", "kinetics", "residual")
    # ln level at 1.1 of the purge: -13.8 - 6.64 log2(pace) - 3 = ln 2e-6, by the ladder's rule.
    assert fit.at_least["kinetics"] == pytest.approx(2.0 ** (-(np.log(2.0) + 3.0) / (2.0 * np.log(10.0))), rel=0.01)
    assert "no upper bound" in fit.word
    assert "do not show" in fit.word


def test_a_heatless_level_that_comes_and_goes_bounds_the_pace_on_both_sides():
    levels = [_level(1e-6 * np.exp(np.sin(0.3 * i))) for i in range(60)]
    fit = fit_heatless(levels, dryer_from(_heatless_plant()), BAR, 0.03, _ladder())
    assert fit.values["kinetics"].low < 1.0 < fit.values["kinetics"].high
    assert not fit.at_least
    assert "of new ones'" in fit.word


def test_a_heatless_level_that_wanders_is_said_to_be_open():
    drifting = [_level(1e-6 * np.exp(0.1 * i)) for i in range(60)]
    fit = fit_heatless(drifting, dryer_from(_heatless_plant()), BAR, 0.03, _ladder())
    assert "floor" in fit.free
    assert "do not fix the level" in fit.word
    with pytest.raises(ValueError, match="2 half-cycles"):
        fit_bed(drifting[:1], dryer_from(_heatless_plant()), BAR)


def test_a_heatless_log_rules_out_no_pace_that_is_true(monkeypatch):
    kinetics = 0.5
    _scaled(monkeypatch, kinetics=kinetics, cells=30)
    fits, truth = _fits(_heatless_plant(18.0), 0.25)
    assert set(fits) == {"A", "B"}
    for fit in fits.values():
        assert {"capacity", "residual"} <= set(fit.free)
        least = fit.values["kinetics"].low if "kinetics" in fit.values else fit.at_least["kinetics"]
        assert 0.2 < least <= kinetics
        level_c = float(dew_point_c(fit.values["floor"].value, BAR))
        towers = truth["towers"].values()
        lowest = min(tower["floor_dew_point_c"] for tower in towers)
        assert lowest - 1.0 < level_c < max(tower["peak_dew_point_c"] for tower in towers) + 1.0


def test_too_few_readings_are_refused():
    few = ObservedHalfCycle(np.arange(1.0, 4.0), np.full(3, -60.0), ((14400.0, _conditions(10.0)),))
    with pytest.raises(ValueError, match="readings"):
        fit_bed([few], dryer_from(_plant()), BAR)
