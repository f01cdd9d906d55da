"""Hand-made logs, cycles and margins with known answers: the energy side judged apart from the other rooms."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from diagnostics.bed.record import Breakthrough
from diagnostics.cycle.record import HALF_CYCLE_COLUMNS, Control, Cycle
from diagnostics.estimate import Estimate
from diagnostics.log.conditions import conditions_of
from diagnostics.log.record import Column, Log, ScreenedLog
from diagnostics.plant import Plant, plant_from

START_S = 1_767_600_000.0
"""2026-01-05 08:00 UTC, a Monday."""

HEATLESS: dict[str, Any] = {
    "dryer": {
        "regeneration": "heatless",
        "rated_flow_m3_min": 10.0,
        "rated_pressure_bar_g": 7.0,
        "rated_inlet_temperature_c": 35.0,
        "half_cycle_s": 300,
        "purge_share": 0.15,
        "vessel_volume_m3": 0.3,
        "desiccant_mass_kg": 231.0,
        "longest_half_cycle_s": 1800,
        "dew_point_limit_c": -40.0,
    },
    "operation": {"flow_m3_min": 7.0, "inlet_temperature_c": 30.0, "pressure_bar_g": 7.0, "hours_per_year": 8000},
    "measurement": {"pressure_bar_g": 7.0, "basis": "pressure"},
    "compressor": {"specific_power_kw_per_m3_min": 6.8, "control": "load_unload", "unloaded_power_share": 0.25},
    "economics": {"currency": "EUR", "electricity_price_per_kwh": 0.15, "retrofit_cost": 6000.0},
}
HEATED: dict[str, Any] = {
    "dryer": {
        "regeneration": "heated_purge",
        "rated_flow_m3_min": 24.0,
        "half_cycle_s": 14400,
        "purge_share": 0.075,
        "vessel_volume_m3": 0.56,
        "desiccant_mass_kg": 360.0,
        "heater_kw": 18.0,
        "heater_s": 8640,
        "longest_half_cycle_s": 86400,
        "dew_point_limit_c": -40.0,
    },
    "operation": {"flow_m3_min": 16.5, "inlet_temperature_c": 28.0, "pressure_bar_g": 7.0, "hours_per_year": 8400},
    "measurement": {"pressure_bar_g": 7.0, "basis": "pressure"},
    "compressor": {"specific_power_kw_per_m3_min": 6.3, "control": "load_unload", "unloaded_power_share": 0.3},
    "economics": {"currency": "EUR", "electricity_price_per_kwh": 0.15, "retrofit_cost": 5200.0},
}


def plant(base: dict[str, Any], **changes: Any) -> Plant:
    """Plant from tables with changes as ``table__key=value``; a value of None takes the key away."""
    tables = {name: dict(table) if isinstance(table, dict) else table for name, table in base.items()}
    for key, value in changes.items():
        table, _, name = key.partition("__")
        if not name:
            tables[table] = value
        elif value is None:
            tables.get(table, {}).pop(name, None)
        else:
            tables.setdefault(table, {})[name] = value
    return plant_from({name: table for name, table in tables.items() if table is not None})


def screened(
    plant: Plant,
    *,
    hours: float = 48.0,
    interval_s: float = 60.0,
    dew_point_c: float = -60.0,
    start_s: float = START_S,
    **channels: Any,
) -> ScreenedLog:
    """A log of a steady dew point with the given channels (a number or an array each)."""
    n = round(hours * 3600 / interval_s)
    time_s = start_s + interval_s * np.arange(n)
    values = {name: np.broadcast_to(np.asarray(v, dtype=float), n).copy() for name, v in channels.items()}
    values["dew_point"] = np.full(n, dew_point_c)
    log = Log("made.csv", time_s, values, {name: Column(name, "") for name in values}, "Europe/Lisbon", interval_s)
    conditions, notes = conditions_of(log, plant)
    return ScreenedLog(log, values["dew_point"], np.full(n, 1e-5), np.ones(n, dtype=bool), (), conditions, notes=notes)


def cycle(
    log: ScreenedLog,
    half_cycle_s: float,
    *,
    control: Control = "fixed",
    peak_c: float = -60.0,
    resolved: bool = True,
    **fields: Any,
) -> Cycle:
    """A regular cycle over a log."""
    if not resolved:
        return Cycle("unresolved", (), False)
    starts = np.arange(log.log.time_s[0], log.log.time_s[-1], half_cycle_s)
    table = pd.DataFrame(
        {
            "start_s": starts,
            "end_s": starts + half_cycle_s,
            "tower": np.where(np.arange(starts.size) % 2, "B", "A"),
            "complete": True,
            "peak_dew_point_c": peak_c,
            "floor_dew_point_c": peak_c - 1.0,
            "end_dew_point_c": peak_c,
            "mean_dew_point_c": peak_c - 0.5,
            "spike_dew_point_c": peak_c,
        }
    )[list(HALF_CYCLE_COLUMNS)]
    return Cycle(control, (), True, table, Estimate.exact(half_cycle_s), **fields)


def margin(
    reserve: Estimate | None = None,
    *,
    reserve_from: str = "prior",
    sustained_s: Estimate | None = None,
    limit_c: float = -40.0,
    **fields: Any,
) -> Breakthrough:
    """A margin with a given reserve; the prior of 1 to 1.5 if none is given."""
    return Breakthrough(
        limit_dew_point_c=limit_c,
        reached=False,
        censored=reserve_from == "prior",
        margin_s=sustained_s,
        margin_share=None,
        sustained_margin_s=sustained_s,
        margin_at_peak_load_s=None,
        recommended_half_cycle_s=None,
        method=reserve_from,
        reserve=reserve or Estimate(1.25, 1.0, 1.5),
        reserve_from=reserve_from,
        **fields,
    )
