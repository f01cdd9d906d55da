"""How hard the dryer works, over the log and over the year.

Question: how much of the time at which load? Input: conditions of the log, the plant file's profile. Output: a
`LoadPattern` of load ratios with their share of the time. Load is actual volume flow for heatless dryers, moisture
load for heated ones, each against its rating.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import mixing_ratio_g_kg, moisture_fraction
from diagnostics.bed.reserve import load_ratio
from diagnostics.log.conditions import DRY_AIR_KG_M3
from diagnostics.log.record import Conditions, Floats, Log, ScreenedLog
from diagnostics.plant import Plant

_BINS = 160
_WORKING_BAR = 1.5
"""Below this line pressure [bar abs] the dryer is taken as shut down: it does not cycle."""


@dataclass(frozen=True, eq=False)
class LoadPattern:
    """Load ratios and the share of the time spent at each.

    Attributes
    ----------
    ratio : ndarray, shape (m,)
        Load over its rating [-].
    weight : ndarray, shape (m,)
        Share of the time, adds up to 1.
    flow_ratio : ndarray, shape (m,)
        Actual volume flow over its rating [-]; equals ``ratio`` for heatless dryers.
    """

    ratio: Floats
    weight: Floats
    flow_ratio: Floats

    @property
    def mean(self) -> float:
        """Time mean of the load ratio [-]."""
        return float(self.ratio @ self.weight)

    def percentile(self, percent: float) -> float:
        """Load ratio that is not passed for ``percent`` of the time."""
        order = np.argsort(self.ratio)
        reached = np.searchsorted(np.cumsum(self.weight[order]), percent / 100.0)
        return float(self.ratio[order][min(int(reached), order.size - 1)])


def time_weights(log: Log) -> Floats:
    """Time each reading stands for [s], gaps not counted, shape (n,)."""
    if log.samples < 2:
        return np.full(log.samples, log.interval_s)
    step = np.diff(log.time_s, append=log.time_s[-1] + log.interval_s)
    return np.minimum(step, 3.0 * log.interval_s)


def log_pattern(screened: ScreenedLog, plant: Plant, smooth_s: float) -> LoadPattern | None:
    """Load pattern of the log.

    Parameters
    ----------
    screened : ScreenedLog
    plant : Plant
    smooth_s : float
        Window over which a bed averages its load [s]; one half-cycle.

    Returns
    -------
    LoadPattern or None
        None where the load or the rating is unknown.
    """
    conditions = screened.conditions
    ratio = load_ratio(conditions, plant)
    if ratio is None or ratio.size == 0:
        return None
    flow = _flow_ratio(conditions, plant)
    weight = time_weights(screened.log)
    weight = np.where(conditions.pressure_bar > _WORKING_BAR, weight, 0.0)
    if weight.sum() <= 0.0:
        return None
    width = max(1, round(smooth_s / max(screened.log.interval_s, 1e-3)))
    return binned(_smoothed(ratio, width), weight, _smoothed(flow, width))


def profile_pattern(plant: Plant, screened: ScreenedLog | None = None) -> LoadPattern | None:
    """Load pattern of the plant file's profile; None without one or without a rating."""
    blocks, dryer = plant.profile, plant.dryer
    if not blocks or dryer.rated_flow_m3_min is None:
        return None
    conditions = screened.conditions if screened is not None else None
    typical_inlet = plant.operation.inlet_temperature_c
    if typical_inlet is None and conditions is not None and conditions.inlet_temperature_c is not None:
        typical_inlet = float(np.mean(conditions.inlet_temperature_c))
    inlet = [typical_inlet if b.inlet_temperature_c is None else b.inlet_temperature_c for b in blocks]
    gauge = np.array([plant.operation.pressure_bar_g if b.pressure_bar_g is None else b.pressure_bar_g for b in blocks])
    pressure = gauge.astype(float) + plant.site.barometric_pressure_bar
    flow = np.array([b.flow_m3_min for b in blocks], dtype=float)
    load = None
    if all(t is not None for t in inlet):
        dew_point = np.array(inlet, dtype=float)
        if plant.operation.inlet_dew_point_c is not None:
            dew_point = np.minimum(dew_point, plant.operation.inlet_dew_point_c)
        moisture = moisture_fraction(np.clip(dew_point, -60.0, 80.0), pressure)
        load = flow * DRY_AIR_KG_M3 * mixing_ratio_g_kg(moisture)
    block_conditions = Conditions(pressure, None, flow, load)
    ratio = load_ratio(block_conditions, plant)
    if ratio is None:
        return None
    hours: Floats = np.array([b.hours for b in blocks], dtype=np.float64)
    return LoadPattern(ratio, hours / hours.sum(), _flow_ratio(block_conditions, plant))


def binned(ratio: Floats, weight: Floats, flow_ratio: Floats) -> LoadPattern:
    """Gather readings into at most `_BINS` groups of equal time and similar load."""
    order = np.argsort(ratio, kind="stable")
    ratio, weight, flow_ratio = ratio[order], weight[order] / weight.sum(), flow_ratio[order]
    if ratio.size <= _BINS:
        return LoadPattern(ratio, weight, flow_ratio)
    before = np.concatenate(([0.0], np.cumsum(weight)[:-1]))
    group = np.minimum((before * _BINS).astype(int), _BINS - 1)
    share: Floats = np.bincount(group, weight, _BINS)
    filled = share > 0
    mean: Floats = np.bincount(group, weight * ratio, _BINS)[filled] / share[filled]
    flow: Floats = np.bincount(group, weight * flow_ratio, _BINS)[filled] / share[filled]
    return LoadPattern(mean, share[filled], flow)


def _flow_ratio(conditions: Conditions, plant: Plant) -> Floats:
    """Actual volume flow over its rating, whatever the regeneration [-]."""
    assert conditions.flow_m3_min is not None
    assert plant.dryer.rated_flow_m3_min is not None
    rated = plant.dryer.rated_flow_m3_min / plant.rated_pressure_bar
    return conditions.flow_m3_min / np.maximum(conditions.pressure_bar, 1.0) / rated


def _smoothed(values: Floats, width: int) -> Floats:
    """Mean over the next ``width`` readings (fewer at the end): the load that follows a switchover."""
    if width <= 1:
        return values
    width = min(width, values.size)
    total = np.concatenate(([0.0], np.cumsum(values)))
    last = np.minimum(np.arange(values.size) + width, values.size)
    first = np.minimum(np.arange(values.size), values.size - width)
    return (total[last] - total[first]) / (last - first)
