"""Cases made by hand for the detectors: half-cycles as a table, readings drawn from it, the rest given or silent."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from diagnostics.air.humidity import moisture_fraction
from diagnostics.air.record import Purity
from diagnostics.bed.record import Breakthrough
from diagnostics.cycle.record import ControlSpan, Cycle
from diagnostics.energy.record import Purge, Switching, SwitchingFigures
from diagnostics.estimate import Estimate
from diagnostics.health.case import Case
from diagnostics.health.record import Trend
from diagnostics.log.record import Conditions, Log, ScreenedLog
from diagnostics.plant import Plant, plant_from

START_S = 1_770_000_000.0
NO_FIGURES = SwitchingFigures(None, None, None, None, None, None)


def half_cycles(
    peaks_a: np.ndarray,
    peaks_b: np.ndarray,
    *,
    length_s: float = 300.0,
    ripple_k: float = 1.0,
    start_s: float = START_S,
) -> pd.DataFrame:
    """Alternating half-cycles with the given peaks; floors lie one ripple below."""
    peaks = np.empty(len(peaks_a) + len(peaks_b))
    peaks[0::2], peaks[1::2] = peaks_a, peaks_b
    starts = start_s + length_s * np.arange(len(peaks))
    return pd.DataFrame(
        {
            "start_s": starts,
            "end_s": starts + length_s,
            "tower": np.where(np.arange(len(peaks)) % 2 == 0, "A", "B"),
            "complete": True,
            "peak_dew_point_c": peaks,
            "floor_dew_point_c": peaks - ripple_k,
            "end_dew_point_c": peaks,
            "mean_dew_point_c": peaks - ripple_k / 2,
            "spike_dew_point_c": np.nan,
        }
    )


def screened_log(
    dew_point_c: np.ndarray, *, interval_s: float = 60.0, pressure_bar: float = 8.01325, **channels: Any
) -> ScreenedLog:
    """Readings at line pressure, all used; ``flow_m3_min``, ``inlet_temperature_c``, ``moisture_load_g_min`` as"
    " given."""
    n = len(dew_point_c)
    time_s = START_S + interval_s * np.arange(n)
    logged = {"dew_point": np.asarray(dew_point_c, float)}
    for quantity in ("flow", "inlet_temperature", "ambient_temperature", "temperature", "purge_flow"):
        if quantity in channels:
            logged[quantity] = np.broadcast_to(np.asarray(channels[quantity], float), n).copy()
    log = Log("hand-made", time_s, logged, {}, "UTC", interval_s)
    load = channels.get("moisture_load_g_min")
    conditions = Conditions(
        pressure_bar=np.full(n, pressure_bar),
        inlet_temperature_c=logged.get("inlet_temperature"),
        flow_m3_min=logged.get("flow"),
        moisture_load_g_min=None if load is None else np.broadcast_to(np.asarray(load, float), n).copy(),
        logged=frozenset(k for k in ("flow", "inlet_temperature") if k in logged),
    )
    dew_point = logged["dew_point"]
    known = np.isfinite(dew_point)
    moisture = np.full(n, np.nan)
    moisture[known] = moisture_fraction(dew_point[known], pressure_bar)
    return ScreenedLog(log, dew_point, moisture, known, (), conditions)


def drawn_from(rows: pd.DataFrame, *, interval_s: float = 60.0, **channels: Any) -> ScreenedLog:
    """Readings that climb from floor to peak within each half-cycle."""
    n = int((rows["end_s"].iloc[-1] - rows["start_s"].iloc[0]) / interval_s)
    time_s = START_S + interval_s * np.arange(n)
    which = np.clip(np.searchsorted(rows["start_s"].to_numpy(), time_s, side="right") - 1, 0, len(rows) - 1)
    row = rows.iloc[which]
    along = (time_s - row["start_s"].to_numpy()) / (row["end_s"] - row["start_s"]).to_numpy()
    floor, peak = row["floor_dew_point_c"].to_numpy(), row["peak_dew_point_c"].to_numpy()
    return screened_log(floor + (peak - floor) * along, interval_s=interval_s, **channels)


def cycle_of(rows: pd.DataFrame, control: str = "fixed", **more: Any) -> Cycle:
    """Cycle with these half-cycles under one control."""
    length = float((rows["end_s"] - rows["start_s"]).median())
    start, end = float(rows["start_s"].iloc[0]), float(rows["end_s"].iloc[-1])
    return Cycle(
        control=control,
        control_spans=more.pop("control_spans", (ControlSpan(start, end, control),)),
        resolved=True,
        half_cycles=rows,
        half_cycle_s=Estimate.exact(length),
        half_cycle_spread_s=(length, length),
        **more,
    )


UNRESOLVED = Cycle(control="unresolved", control_spans=(), resolved=False)


def purity_of(screened: ScreenedLog, limit_c: float = -40.0, uncertainty_c: float = 2.0) -> Purity:
    """Purity reckoned from the readings, as simply as can be."""
    values = screened.dew_point_c[screened.used]
    p95, p99 = np.quantile(values, [0.95, 0.99])
    above = float((values > limit_c).mean())
    return Purity(
        standard="ISO 8573-1:2010",
        purity_class=None,
        class_low=None,
        class_high=None,
        limit_dew_point_c=limit_c,
        conformity="pass" if p95 + uncertainty_c <= limit_c else "undecided",
        conformity_by="p95",
        p95_dew_point_c=float(p95),
        p99_dew_point_c=float(p99),
        max_dew_point_c=float(values.max()),
        time_above_limit_share=above,
        exceedances=int(above > 0),
        longest_exceedance_s=0.0,
        dew_point_at_use_c=None,
        frost_reserve_k=None,
        uncertainty_c=uncertainty_c,
    )


def breakthrough_of(rows: pd.DataFrame | None, limit_c: float = -40.0, **more: Any) -> Breakthrough:
    """Whether peaks pass the limit, counted; reserve and load as given."""
    reached = None if rows is None else bool((rows["peak_dew_point_c"] > limit_c).mean() > 0.05)
    blank = Breakthrough(limit_c, reached, True, None, None, None, None, None, "by hand")
    return replace(blank, **more)


def case_of(
    rows: pd.DataFrame | None,
    screened: ScreenedLog,
    plant: Plant | dict[str, Any] | None = None,
    *,
    cycle: Cycle | None = None,
    trend: Trend | None = None,
    switching: Switching | None = None,
    purge: Purge | None = None,
    **breakthrough: Any,
) -> Case:
    """Case whose parts nobody gave are healthy or silent."""
    whole = plant if isinstance(plant, Plant) else plant_from(plant or {})
    limit_c = whole.dryer.dew_point_limit_c
    return Case(
        screened=screened,
        cycle=cycle or (UNRESOLVED if rows is None else cycle_of(rows)),
        purity=purity_of(screened, limit_c),
        trend=trend or Trend(None, False, "too_short", None),
        breakthrough=breakthrough_of(rows, limit_c, **breakthrough),
        purge=purge or Purge("type_default", None, None, None, None, None),
        switching=switching or Switching(NO_FIGURES, NO_FIGURES, "none_possible"),
        plant=whole,
    )
