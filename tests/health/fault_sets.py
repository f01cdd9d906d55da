"""Balanced sets of made logs with one fault each, half from the second plant and half from the bed model.

Three sets, ``tuning``, ``validation`` and ``final``, whose seeds were fixed before any threshold was looked at; the
last is for the end. A log is a recipe (seed, plant, fault, kind, length, interval, channels, load) and is kept in a
folder, for the bed model is slow. Whether a fault is due is asked of the truth, not of the detector: a fault of the
hardware counts only where it changes what the probe shows by a kelvin against the same log without it, a stopped
switching only where the air gets wetter before the log ends, overload only where a channel or the plant's file tells of
it.
"""

from __future__ import annotations

import json
import pickle
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pandas as pd

from diagnostics.air.humidity import dew_point_c, moisture_fraction
from diagnostics.plant import plant_from
from tests.second_plant import second_plant

SETS = {"tuning": 4200, "validation": 71000, "final": 137000}
PLANTS = ("second", "bed")
DUE = {
    "tower_imbalance": "tower_imbalance",
    "dead_heater": "regeneration_failure",
    "stopped_switching": "switching_stopped",
    "control_fallback": "control_inactive",
    "liquid_carryover": "carryover",
    "bypass_leak": "bypass_leak",
    "overload": "overload",
    "hot_inlet": "overload",
    "lost_capacity": "desiccant_decay",
    "settling": "unsettled",
    "ambient_ingress": "ambient_ingress",
    "stagnant_sample": "sample_stagnant",
    "frozen_sensor": "sensor_frozen",
    "clock_jump": "clock_jump",
    "range_end": "sensor_range_end",
    "wrong_pressure": "pressure_mismatch",
    "old_calibration": "calibration_overdue",
    "coarse_interval": "interval_too_long",
    "short_log": "log_too_short",
    "leaking_purge": "purge_excess",
    "starved_purge": "purge_short",
    "wrong_inlet": "inlet_wetter_than_saturated",
    "light_load": "excess_regeneration",
    "undersized": "breakthrough",
}
"""Fault of the made log, and the finding that is due."""
OF_THE_LOG = {
    "range_end",
    "wrong_pressure",
    "old_calibration",
    "coarse_interval",
    "short_log",
    "leaking_purge",
    "starved_purge",
    "wrong_inlet",
    "light_load",
    "undersized",
}
"""Faults laid on a healthy dryer's log or settings."""
OF_THE_DRYER = {"tower_imbalance", "dead_heater", "liquid_carryover", "bypass_leak", "lost_capacity"}
"""Faults that may stay below what can be seen."""
STEPS = {"dead_heater", "stopped_switching", "liquid_carryover", "bypass_leak"}
_CHANNELS = {
    "none": (),
    "flow": ("Flow [m3/min]",),
    "flow, inlet": ("Flow [m3/min]", "Inlet temperature [°C]"),
    "all": ("Flow [m3/min]", "Inlet temperature [°C]", "Pressure [bar(g)]"),
}
_DEW = "Dew point [°C]"
_LEAST_K = 1.0
_LEAST_CLIMB_K = 4.0
_COLDEST_INLET_C = -80.0
"""A channel below it is refused by the reader as no inlet temperature at all."""
_END_OF_RANGE_C = 20.0
"""Of the second plant's probe."""


@dataclass(frozen=True)
class Recipe:
    """How one log is made."""

    name: str
    plant: str
    fault: str | None
    heated: bool
    seed: int
    run_seed: int
    """Of dryer, load and length; logs of the bed model with the same one share a run."""

    @property
    def simulated(self) -> tuple[str, ...]:
        """Fault the simulation itself is given."""
        return (self.fault,) if self.fault and self.fault not in OF_THE_LOG else ()


@dataclass(frozen=True)
class Made:
    """A log on disk, its plant's tables, its truth and the codes that are due or open."""

    recipe: Recipe
    tables: dict[str, Any]
    path: Path
    truth: dict[str, Any]
    due: str | None
    open_codes: frozenset[str] = field(default_factory=frozenset)


def recipes(name: str, plant: str, each: int, healthy: int) -> list[Recipe]:
    """Recipes of one set from one plant: ``each`` of every fault, heatless and heated in turn, and healthy ones."""
    first = SETS[name] + (0 if plant == "second" else 10_000)
    listed = []
    for k in range(each):
        for place, fault in enumerate(DUE):
            seed = first + 40 * place + k
            listed.append(Recipe(name, plant, fault, k % 2 == 1, seed, seed if plant == "second" else first + k))
    for k in range(healthy):
        seed = first + 2000 + k
        run = seed if plant == "second" else first + (k % 2) + 2 * (k // 4)
        listed.append(Recipe(name, plant, None, k % 2 == 1, seed, run))
    return listed


def made(recipe: Recipe, keep: Path) -> Made:
    """Make one log, or take it from the folder."""
    stem = keep / f"{recipe.plant}_{recipe.seed}_{recipe.fault or 'healthy'}"
    kept = stem.with_suffix(".pickle")
    if not kept.exists():
        table, truth, tables = _with_log_fault(recipe, *_simulated(recipe, keep))
        table.to_csv(stem.with_suffix(".csv"), index=False)
        kept.write_bytes(pickle.dumps((tables, truth)))
    tables, truth = pickle.loads(kept.read_bytes())
    path = stem.with_suffix(".csv")
    if recipe.fault == "stopped_switching" and "climb_k" not in truth:
        truth["climb_k"] = _climb_k(pd.read_csv(path), recipe)
    if recipe.fault == "wrong_inlet":
        truth["inlet_c"] = float(pd.read_csv(path)["Inlet temperature [°C]"].median())
    return Made(recipe, tables, path, truth, _due(recipe, truth), _open(recipe, truth))


def _due(recipe: Recipe, truth: dict[str, Any]) -> str | None:
    code = DUE.get(recipe.fault or "")
    if recipe.fault in OF_THE_DRYER and truth["shown_k"] < _LEAST_K:
        return None
    if recipe.fault == "undersized" and not truth["reached"]:
        return None
    if recipe.fault == "stopped_switching" and truth["climb_k"] < _LEAST_CLIMB_K:
        return None
    channels = truth["drawn"]["channels"]
    told = {"hot_inlet": ("flow, inlet", "all"), "overload": ("flow", "flow, inlet", "all")}
    if recipe.plant == "bed" and channels not in told.get(recipe.fault or "", (channels,)):
        return None
    if recipe.fault == "wrong_inlet" and truth["inlet_c"] < _COLDEST_INLET_C:
        return None
    return code


def _climb_k(table: pd.DataFrame, recipe: Recipe) -> float:
    """By how much the end of a log lies above its part before the stop."""
    shown, before = table[_DEW].to_numpy(float), int(_drawn(recipe)["onset"] * len(table))
    return float(np.median(shown[-len(table) // 20 :]) - np.median(shown[:before]))


def _open(recipe: Recipe, truth: dict[str, Any]) -> frozenset[str]:
    """Facts that are true beside the fault, or too near their threshold to be called."""
    codes = set()
    saved = truth["uncapped_saved_share"]
    if saved is None or saved > 0.3:
        codes.add("excess_regeneration")
    if truth["reached_share"] is None or truth["reached_share"] > 0.01:
        codes.add("breakthrough")
    if (
        recipe.fault in OF_THE_DRYER | {"stopped_switching", "hot_inlet", "overload", "wrong_inlet"}
        and _due(recipe, truth) is None
    ):
        codes.add(DUE[recipe.fault])
    if truth["flow_ratio"] >= 1.045:  # the undersized dryers' 1.05, rounded
        codes.add("overload")
    if recipe.fault == "range_end":
        codes.add("log_too_short")
    if truth["at_end_of_range"] > 2:
        codes.add("sensor_range_end")
    return frozenset(codes)


def _drawn(recipe: Recipe) -> dict[str, Any]:
    rng = np.random.default_rng([recipe.run_seed, 11])
    heated, fault = recipe.heated, recipe.fault
    drawn: dict[str, Any] = {
        "half_cycle_s": 14400.0 if heated else float(rng.choice([240.0, 300.0, 360.0])),
        "load": float(rng.uniform(0.45, 0.75)),
        "days": float(rng.uniform(2.5, 4.0) if heated else rng.uniform(0.8, 2.0 if recipe.plant == "second" else 1.1)),
        "swing": float(rng.uniform(0.05, 0.25)),
        "reserve": float(rng.uniform(1.1, 1.6)),
    }
    rng = np.random.default_rng([recipe.seed, 14])
    most = 300.0 if heated else drawn["half_cycle_s"] / 5.0
    steps = [s for s in (10.0, 15.0, 20.0, 30.0, 60.0, 120.0, 180.0, 300.0) if (60.0 if heated else 10.0) <= s <= most]
    drawn |= {
        "interval_s": float(rng.choice(steps)),
        "channels": str(rng.choice(list(_CHANNELS))),
        "onset": float(rng.uniform(0.3, 0.6)),
    }
    if fault == "lost_capacity":
        drawn["days"] = 3.0 * drawn["days"] if recipe.plant == "second" else (8.0 if heated else 2.5)
    if fault in ("wrong_pressure", "wrong_inlet"):
        drawn["channels"] = "all"
    if fault == "light_load":
        drawn |= {"load": float(rng.uniform(0.2, 0.35)), "reserve": float(rng.uniform(1.1, 1.4))}
    if fault == "undersized":
        drawn |= {"load": float(rng.uniform(0.8, 0.95)), "reserve": float(rng.uniform(0.6, 0.75))}
    if fault == "coarse_interval":
        drawn["interval_s"] = float(np.round(drawn["half_cycle_s"] / rng.uniform(1.4, 3.2), -1))
    return drawn


def _simulated(recipe: Recipe, keep: Path) -> tuple[pd.DataFrame, dict[str, Any], dict[str, Any]]:
    """Log with the fault, truth with ``shown_k``, plant tables."""
    drawn = _drawn(recipe)
    run = _from_second_plant if recipe.plant == "second" else _from_bed
    table, truth, tables = run(recipe, drawn, recipe.simulated, keep)
    if recipe.fault in OF_THE_DRYER:
        plain, _, _ = run(recipe, drawn, (), keep)
        truth["shown_k"] = _shown_k(table, plain, recipe.fault == "lost_capacity")
        if recipe.fault == "dead_heater":
            truth["onsets"]["dead_heater"] = _first_that_shows_s(table, plain, truth, drawn["interval_s"])
    columns = ["Time", _DEW, *(c for c in _CHANNELS[drawn["channels"]] if c in table.columns)]
    if recipe.fault in ("ambient_ingress", "stagnant_sample") and recipe.seed % 4 < 2:
        columns += [c for c in table.columns if c.startswith("Ambient")]
    truth["flow_ratio"] = tables["operation"]["flow_m3_min"] / tables["dryer"]["rated_flow_m3_min"]
    truth["at_end_of_range"] = int((table[_DEW] >= _END_OF_RANGE_C).sum())
    flow = table["Flow [m3/min]"].mean() / tables["dryer"]["rated_flow_m3_min"]
    wettest = table[_DEW] >= table[_DEW].max() - 1e-9
    truth |= {"drawn": drawn, "flow_share": float(flow), "clipped": int(wettest.sum()) > 20}
    return table[columns], truth, tables


def _shown_k(table: pd.DataFrame, plain: pd.DataFrame, late_only: bool) -> float:
    """By how much the fault changes what is shown: the upper tenth of the difference, late in the log if it grows."""
    apart = _apart_k(table, plain)
    return float(np.quantile(apart[-apart.size // 5 :] if late_only else apart, 0.9))


def _apart_k(table: pd.DataFrame, plain: pd.DataFrame) -> np.ndarray:
    """Size of the difference; of five readings in a row the middle one speaks, for their noise is not the same."""
    apart = table[_DEW].to_numpy(float) - plain[_DEW].to_numpy(float)
    return np.abs(np.median(np.lib.stride_tricks.sliding_window_view(apart, 5), axis=1))


def _first_that_shows_s(table: pd.DataFrame, plain: pd.DataFrame, truth: dict[str, Any], interval_s: float) -> float:
    """Start of the first failed regeneration that the air shows: the half-cycle after it differs by a kelvin.

    A bed that went in dry may serve several half-cycles before any probe can tell.
    """
    onset_s = float(truth["onsets"]["dead_heater"])
    apart = _apart_k(table, plain)
    time_s = truth["start"] + interval_s * (2.0 + np.arange(apart.size))
    starts = [float(s) for s, _ in truth["switchovers"]]
    for before_s, start_s, end_s in zip(starts, starts[1:], [*starts[2:], np.inf], strict=False):
        inside = (time_s >= start_s) & (time_s < end_s)
        if start_s > onset_s and inside.any() and np.quantile(apart[inside], 0.9) >= _LEAST_K:
            return max(onset_s, before_s)
    return onset_s


def _from_second_plant(
    recipe: Recipe, drawn: dict[str, Any], faults: tuple[str, ...], keep: Path
) -> tuple[pd.DataFrame, dict[str, Any], dict[str, Any]]:
    table, truth = second_plant(
        recipe.seed,
        kind="heated" if recipe.heated else "heatless",
        control="stopped" if recipe.fault == "stopped_switching" else "fixed",
        faults=faults,
        reserve=drawn["reserve"],
        load=drawn["load"],
        days=drawn["days"],
        interval_s=drawn["interval_s"],
        half_cycle_s=drawn["half_cycle_s"],
        swing=drawn["swing"],
        onset_share=drawn["onset"],
    )
    since_s = drawn["interval_s"] * np.arange(len(table))
    room_c = 21.0 + 3.0 * np.sin(2.0 * np.pi * since_s / 86400.0)
    table["Ambient temperature [°C]"] = np.round(room_c, 1)
    if "dead_heater" in faults:
        truth["onsets"]["dead_heater"] = _first_failed_regeneration_s(truth)
    extended = truth["sustained_margin_s"] + (truth["half_cycle_s"] or drawn["half_cycle_s"])
    truth |= {
        "uncapped_saved_share": max(0.0, 1.0 - (truth["half_cycle_s"] or drawn["half_cycle_s"]) / extended),
        "reached_share": truth["above_share"] if truth["reached"] is None else float(truth["reached"]),
        "shown_k": np.inf,
    }
    return table, truth, truth["plant"]


def _first_failed_regeneration_s(truth: dict[str, Any]) -> float:
    """The second plant fails B's regeneration after the first half-cycle of B that begins past the onset."""
    onset = truth["onsets"]["dead_heater"] - 5.0  # the plant looks at the step of its grid in which a half-cycle begins
    first_b = next((s for s, tower in truth["switchovers"] if tower == "B" and s >= onset), 0)
    return float(next((s for s, tower in truth["switchovers"] if tower == "A" and s > first_b), first_b))


def _from_bed(
    recipe: Recipe, drawn: dict[str, Any], faults: tuple[str, ...], keep: Path
) -> tuple[pd.DataFrame, dict[str, Any], dict[str, Any]]:
    from diagnostics.bed import simulation

    tables = _bed_tables(recipe, drawn)
    chosen = [*faults, *(["slow_kinetics"] if recipe.fault == "undersized" else [])]
    physical = [name for name in chosen if name in OF_THE_DRYER | STEPS | {"slow_kinetics", "overload", "hot_inlet"}]
    stem = f"run_{recipe.run_seed}_{drawn['load']:.3f}_{drawn['days']:.2f}_{'_'.join(physical)}.pickle"

    def kept_run(
        plant: Any, start_s: float, duration_s: float, named: Any, _seed: int, *given: Any, **more: Any
    ) -> Any:
        """The run of the dryer, which only physical faults change; its seed is the one that logs of a run share."""
        if not (keep / stem).exists():
            run = run_dryer(plant, start_s, duration_s, named, recipe.run_seed, *given, **more)
            (keep / stem).write_bytes(pickle.dumps(run))
        return pickle.loads((keep / stem).read_bytes())

    run_dryer = simulation.run_dryer
    with mock.patch.object(simulation, "run_dryer", kept_run):
        table, truth = simulation.simulate(
            plant_from(tables), days=drawn["days"], faults=chosen, seed=recipe.seed, interval_s=drawn["interval_s"]
        )
    truth |= {"uncapped_saved_share": None, "shown_k": np.inf, "reached": (truth["reached_share"] or 0.0) > 0.05}
    return table, truth, tables


def _bed_tables(recipe: Recipe, drawn: dict[str, Any]) -> dict[str, Any]:
    rng = np.random.default_rng([recipe.run_seed, 12])
    rated = float(np.round(rng.uniform(4, 60), 1))
    load = 1.05 if recipe.fault == "undersized" else drawn["load"]
    inlet_c = 34.5 if recipe.fault == "undersized" else float(np.round(rng.uniform(26, 33), 1))
    dryer: dict[str, Any] = {
        "regeneration": "heated_purge" if recipe.heated else "heatless",
        "rated_flow_m3_min": rated,
        "half_cycle_s": int(drawn["half_cycle_s"]),
        "purge_share": 0.075 if recipe.heated else 0.16,
        "desiccant": str(rng.choice(["activated_alumina", "silica_gel"])),
        "control": "dew_point" if recipe.fault == "control_fallback" else "fixed",
    }
    if recipe.heated:
        # as the invented heated plants: less heat leaves water in the beds from cycle to cycle, which is decay to see
        dryer |= {"purge_share": 0.12, "purge_share_means": "while_purging", "purge_s": 13900, "heater_s": 8640}
        dryer["desiccant"] = "activated_alumina"  # silica gel under heat takes minutes of processor time a log
    operation = {
        "flow_m3_min": float(np.round(load * rated, 2)),
        "inlet_temperature_c": inlet_c,
        "ambient_temperature_c": 22.0,
        "pressure_bar_g": 7.0,
    }
    return {"site": {"name": "invented", "timezone": "Europe/Lisbon"}, "dryer": dryer, "operation": operation}


def _with_log_fault(
    recipe: Recipe, table: pd.DataFrame, truth: dict[str, Any], tables: dict[str, Any]
) -> tuple[pd.DataFrame, dict[str, Any], dict[str, Any]]:
    """Lay a fault of the log or of the settings on a healthy dryer's log."""
    rng = np.random.default_rng([recipe.seed, 13])
    tables = json.loads(json.dumps(tables))
    table = table.copy()
    measurement = tables.setdefault("measurement", {})
    match recipe.fault:
        case "range_end":
            end = float(np.round(table[_DEW].quantile(rng.uniform(0.2, 0.5)), 1))
            table[_DEW] = np.maximum(table[_DEW], end)
        case "wrong_pressure":
            wrong = float(rng.choice([4.0, 5.0, 6.0]))
            measurement["pressure_bar_g"] = wrong
            tables.get("operation", {}).pop("pressure_bar_g", None)
            true_bar, wrong_bar = 7.0 + 1.01325, wrong + 1.01325
            moisture = np.asarray(moisture_fraction(table[_DEW].to_numpy(float), true_bar))
            table[_DEW] = np.round(np.asarray(dew_point_c(moisture, wrong_bar)), 2)
        case "old_calibration":
            measurement |= {"calibrated_on": "2024-05-01", "calibration_interval_months": int(rng.choice([6, 12]))}
        case "short_log":
            length_s = truth["half_cycle_s"] or tables["dryer"]["half_cycle_s"]
            rows = int(rng.uniform(2.3, 3.7) * length_s / truth["drawn"]["interval_s"])
            first = int(rng.integers(0, len(table) - rows))
            table = table.iloc[first : first + rows]
        case "leaking_purge" | "starved_purge":
            dryer = tables["dryer"]
            dryer.setdefault("purge_share", 0.075 if recipe.heated else 0.16)
            factor = rng.uniform(1.5, 2.2) if recipe.fault == "leaking_purge" else rng.uniform(0.4, 0.65)
            mean = float(dryer["purge_share"]) * float(dryer["rated_flow_m3_min"]) * factor
            table["Purge flow [m3/min]"] = np.round(mean * (1 + 0.03 * rng.standard_normal(len(table))), 3)
        case "wrong_inlet":
            table["Inlet temperature [°C]"] = np.round(table[_DEW] - rng.uniform(6.0, 20.0), 1)
    return table, truth, tables
