"""Plan, log, diagnose: an interval that the measurement plan asks for shows the half-cycles of every invented plant.

The logs come from the bed model with its ordinary probe, just long enough to hold the half-cycles; what is found is
held against the model's own switchovers. Where the outlet's ripple is smaller than the logged digit, nothing can be
found, and saying so is the right answer.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from diagnostics import Diagnosis, Upload, diagnose, load_plant, plant_from, read_log, simulate
from diagnostics.bed.instrument import Instrument
from diagnostics.measurement_plan import plan_measurement
from tests.logs import PLANT, saw_tooth

PLANTS = sorted(
    path for path in (Path(__file__).parents[1] / "scenarios").glob("*.toml") if path.name != "recipes.toml"
)
LEAST = 6
"""Complete half-cycles that a log must hold here."""


def days_of(plant: Any) -> float:
    if plant.dryer.control == "dew_point":
        return 4.0 if plant.heated else 0.5
    return max(0.25, (LEAST + 2.5) * plant.half_cycle_s / 86400.0)


def planned(path: Path, *, resolution_k: float | None = None) -> tuple[Diagnosis, dict[str, Any]]:
    plant = load_plant(path)
    plan = plan_measurement(plant)
    probe = None if resolution_k is None else Instrument(resolution_k=resolution_k)
    table, truth = simulate(plant, days=days_of(plant), interval_s=plan.interval_s, seed=3, instrument=probe)
    log = read_log([Upload("log.csv", table.to_csv(index=False).encode())], plant)
    assert log.interval_s == plan.interval_s
    return diagnose(log, plant), truth


def instants(truth: dict[str, Any]) -> np.ndarray:
    return np.array([item[0] if isinstance(item, list | tuple) else item["time_s"] for item in truth["switchovers"]])


@pytest.mark.parametrize("path", PLANTS, ids=lambda path: path.stem)
def test_the_planned_interval_shows_the_half_cycles(path: Path) -> None:
    diagnosis, truth = planned(path)
    cycle, true = diagnosis.cycle, instants(truth)
    assert cycle.resolved
    assert len(cycle.complete) >= LEAST
    assert cycle.readings_per_half_cycle is not None
    assert cycle.readings_per_half_cycle >= 4.0
    lengths = np.diff(true)
    assert cycle.half_cycle_s is not None
    assert cycle.half_cycle_s.value == pytest.approx(float(np.median(lengths)), rel=0.02)
    # A control that waits for its longest half-cycle every time is a timer as far as any log can tell.
    always_capped = np.ptp(lengths) < 0.02 * np.median(lengths)
    assert cycle.control in (*truth["control"], *(["fixed"] if always_capped else []))
    # Each half-cycle found is one of the model's, none twice; how exact the instants are is tested elsewhere.
    away = np.abs(cycle.complete["start_s"].to_numpy()[:, None] - true[None, :])
    assert np.unique(away.argmin(axis=1)).size == len(cycle.complete)
    assert float(away.min(axis=1).max()) < 0.25 * float(np.median(lengths))
    assert len(cycle.complete) >= true.size - 3
    ripple = (cycle.complete["peak_dew_point_c"] - cycle.complete["floor_dew_point_c"]).median()
    assert ripple > diagnosis.screened.resolution_c


def test_a_ripple_below_the_logged_digit_is_not_made_up() -> None:
    path = next(path for path in PLANTS if path.stem == "heatless_underloaded")
    fine, _ = planned(path)
    ripple = float((fine.cycle.complete["peak_dew_point_c"] - fine.cycle.complete["floor_dew_point_c"]).median())
    coarse, truth = planned(path, resolution_k=5.0)
    assert ripple < 2.5, "smaller than half the coarse digit"
    shown = pd.Series(coarse.screened.dew_point_c).nunique()
    assert shown <= 2
    assert truth["half_cycle_s"] is not None
    assert not coarse.cycle.resolved
    assert coarse.cycle.half_cycles.empty


@pytest.mark.parametrize(("half_cycle_s", "interval_s"), [(300, 60), (420, 60), (300, 30), (1800, 60)])
def test_a_timer_of_whole_readings_is_found(half_cycle_s: int, interval_s: int) -> None:
    table = saw_tooth(interval_s=interval_s, half_cycle_s=half_cycle_s)
    plant = plant_from(tomllib.loads(PLANT))
    cycle = diagnose(read_log([Upload("log.csv", table.to_csv(index=False).encode())], plant), plant).cycle
    assert cycle.half_cycle_s is not None
    assert cycle.half_cycle_s.value == pytest.approx(half_cycle_s, rel=0.005)
    assert len(cycle.complete) == pytest.approx(2 * 86400 / half_cycle_s, abs=2)
