"""What is true of a simulated log: switchovers, rhythm, peaks, onsets, purge."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from diagnostics.air.humidity import dew_point_c
from diagnostics.bed.column import Array
from diagnostics.bed.faults import Fault
from diagnostics.bed.logger import Excluded
from diagnostics.moment import zone_of
from diagnostics.plant import Plant

if TYPE_CHECKING:
    from diagnostics.bed.simulation import Run

_SPIKE_SHARE = 0.25
_FEWEST_READINGS = 4.0
_REACHED_SHARE = 0.05
_SITS_S = 1800.0


def truth_of(
    plant: Plant,
    run: Run,
    sensed: Array,
    table: pd.DataFrame,
    faults: tuple[Fault, ...],
    excluded: Excluded,
    interval_s: float,
    pressure_bar: float,
    range_end_c: float,
    channels: Sequence[str] = (),
) -> dict[str, Any]:
    """Truth beside a log, JSON-ready.

    Parameters
    ----------
    plant : Plant
    run : Run
    sensed : array
        Moisture the sensor felt, without noise, at ``run.time_s``.
    table : DataFrame
    faults : tuple of Fault
    excluded : list of (start, end, reason)
    interval_s, pressure_bar, range_end_c : float
    channels : sequence of str
        Further channels in the log; a finding that needs one that is not there is not due.

    Returns
    -------
    dict
        Epoch seconds; a switchover names the tower that starts to dry.
    """
    names = [f.name for f in faults]
    times = np.array([t for t, _ in run.switchovers])
    lengths = np.diff(times)
    shown = np.asarray(dew_point_c(np.maximum(sensed, 1e-9), pressure_bar))
    resolved = bool(len(lengths) and np.median(lengths) >= _FEWEST_READINGS * interval_s)
    control = "stopped" if "stopped_switching" in names else ("dew_point" if run.rule == "dew_point" else "fixed")
    logged = table["Dew point [°C]"]
    ends = _at_range_end(plant, table, range_end_c, interval_s)
    excluded = sorted([*excluded, *ends])
    return {
        "site": plant.site.name,
        "timezone": plant.site.timezone,
        "start": run.start_s,
        "end": float(run.end_s),
        "samples": len(table),
        "interval_s": interval_s,
        "faults": names,
        "resolved": resolved,
        "control": [control if resolved else "unresolved"],
        "counted_in": "running_time" if run.rule == "running_time" else "clock_time",
        "switchovers": [[float(t), tower] for t, tower in run.switchovers],
        "first_tower": run.first_tower,
        "half_cycle_s": float(np.median(lengths)) if len(lengths) else None,
        "towers": _towers(run, shown),
        "reached_share": (share := _reached_share(run, shown, plant.dryer.dew_point_limit_c)),
        "reached": None if share is None else share > _REACHED_SHARE,
        "class": _classes(plant, table, excluded),
        "excluded": [[float(a), float(b), reason] for a, b, reason in excluded],
        "onsets": {name: float(at) for name, at in run.onsets_s.items()},
        "purge_m3_min": run.purged_m3_min,
        "statistics": {
            "min": float(logged.min()),
            "max": float(logged.max()),
            "mean": float(logged.mean()),
            "median": float(logged.median()),
            "p05": float(logged.quantile(0.05)),
            "p95": float(logged.quantile(0.95)),
        },
        "finding_codes_due": sorted(_due(faults, channels) | ({"sensor_range_end"} if ends else set())),
    }


def _due(faults: tuple[Fault, ...], channels: Sequence[str]) -> set[str]:
    return {f.finding for f in faults if f.finding and (f.shows_in is None or f.shows_in in channels)}


def _at_range_end(plant: Plant, table: pd.DataFrame, range_end_c: float, interval_s: float) -> Excluded:
    """Stretches in which the reading sits at the wet end of its range."""
    stamps = _stamps_s(plant, table)
    at_end = table["Dew point [°C]"].to_numpy() >= range_end_c - 1e-6
    edges = np.flatnonzero(np.diff(np.concatenate(([False], at_end, [False])).astype(int)))
    spans = [(float(stamps[a]), float(stamps[b - 1]) + interval_s) for a, b in edges.reshape(-1, 2)]
    return [(begin, end, "range_end") for begin, end in spans if end - begin >= _SITS_S]


def _stamps_s(plant: Plant, table: pd.DataFrame) -> Array:
    zone = zone_of(plant.site.timezone) or dt.UTC
    local = pd.to_datetime(table["Time"]).dt.tz_localize(zone, ambiguous=True, nonexistent="shift_forward")
    return np.asarray(local.dt.as_unit("s").astype("int64"), float)


def _towers(run: Run, shown: Array) -> dict[str, dict[str, float]]:
    peaks: dict[str, list[tuple[float, float]]] = {"A": [], "B": []}
    for (begin, tower), (end, _) in zip(run.switchovers, run.switchovers[1:], strict=False):
        inside = (run.time_s > begin + _SPIKE_SHARE * (end - begin)) & (run.time_s <= end)
        if inside.any():
            peaks[tower].append((float(shown[inside].max()), float(shown[inside].min())))
    return {
        tower: {
            "peak_dew_point_c": float(np.median([p for p, _ in seen])),
            "floor_dew_point_c": float(np.median([f for _, f in seen])),
        }
        for tower, seen in peaks.items()
        if seen
    }


def _reached_share(run: Run, shown: Array, limit_c: float) -> float | None:
    reached = []
    for (begin, _), (end, _) in zip(run.switchovers, run.switchovers[1:], strict=False):
        inside = (run.time_s > begin + _SPIKE_SHARE * (end - begin)) & (run.time_s <= end)
        if inside.any():
            reached.append(bool(shown[inside].max() >= limit_c))
    return float(np.mean(reached)) if reached else None


def _classes(plant: Plant, table: pd.DataFrame, excluded: Excluded) -> list[int]:
    """Purity class of the 95th percentile of the rows outside the spoilt stretches; 7 stands for none."""
    from diagnostics.air.conformity import purity_class

    stamps = _stamps_s(plant, table)
    kept = np.ones(len(table), bool)
    for begin, end, _ in excluded:
        kept &= (stamps < begin) | (stamps >= end)
    if not kept.any():
        return []
    found = purity_class(float(table["Dew point [°C]"][kept].quantile(0.95)))
    return [7 if found is None else found]
