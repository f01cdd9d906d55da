"""How hard the dryer works, over the log and over the year.

Question: how much of the time at which load? Input: conditions of the log, the plant file's profile. Output: a
`LoadPattern` of load ratios with their share of the time. Load is actual volume flow for heatless dryers, moisture
load for heated ones, each against its rating.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.air.humidity import mixing_ratio_g_kg, moisture_fraction
from diagnostics.bed.reserve import load_ratio
from diagnostics.energy.compressor import flow_from_power
from diagnostics.energy.running_hours import flow_from_hours
from diagnostics.energy.uncertain import Uncertain, relative
from diagnostics.log.conditions import DRY_AIR_KG_M3, conditions_of
from diagnostics.log.record import Conditions, Floats, Log, ScreenedLog
from diagnostics.plant import Plant

_BINS = 160
WORKING_BAR = 1.5
"""Below this line pressure [bar abs] the dryer is taken as shut down: it does not cycle."""
_FLOW_SHARE = {"flow": 0.05, "power": 0.25, "loaded hours": 0.3, "running hours": 0.5}
_TYPICAL_SHARE = 0.15
"""How well the flow is known, as a 95 % share of itself: by its meter, else told from something, else typical. What
hour meters tell is the mean of a year, which the log's days need not be (common practice, no published source)."""
_LOGGED_INLET_SHARE, _TYPICAL_INLET_SHARE = 0.055, 0.16
"""Moisture by 1 K and by 3 K of inlet temperature at 30 degC (saturation curve)."""


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
    steadier : LoadPattern or None
        The same load averaged over the longest memory that the bed may have; the truth lies between the two.
    """

    ratio: Floats
    weight: Floats
    flow_ratio: Floats
    steadier: LoadPattern | None = None

    def scaled(self, factor: float) -> LoadPattern:
        """The same pattern at loads times a factor; the flow stays."""
        steadier = None if self.steadier is None else self.steadier.scaled(factor)
        return LoadPattern(self.ratio * factor, self.weight, self.flow_ratio, steadier)

    @property
    def mean(self) -> float:
        """Time mean of the load ratio [-]."""
        return float(self.ratio @ self.weight)

    def percentile(self, percent: float) -> float:
        """Load ratio that is not passed for ``percent`` of the time."""
        order = np.argsort(self.ratio)
        reached = np.searchsorted(np.cumsum(self.weight[order]), percent / 100.0)
        return float(self.ratio[order][min(int(reached), order.size - 1)])


def with_known_flow(screened: ScreenedLog, plant: Plant) -> tuple[ScreenedLog, tuple[str, ...]]:
    """The log with its flow taken from the compressors' power or hours where no flow is known.

    Parameters
    ----------
    screened : ScreenedLog
    plant : Plant

    Returns
    -------
    ScreenedLog
        Unchanged where a flow is known or nothing tells it.
    tuple of str
        What was done, as sentences.
    """
    if screened.conditions.flow_m3_min is not None:
        return screened, ()
    flow = flow_from_power(screened, plant)
    if flow is None:
        return _from_hours(screened, plant)
    channels = {**screened.log.channels, "flow": flow}
    conditions, _ = conditions_of(replace(screened.log, channels=channels), plant)
    note = (
        f"The flow ({np.nanmean(flow):.1f} m³/min on average, ± 25 %) was told from the compressor's power by its"
        " part-load line; a flow meter narrows it."
    )
    return replace(screened, conditions=replace(conditions, logged=screened.conditions.logged | {"power"})), (note,)


def _from_hours(screened: ScreenedLog, plant: Plant) -> tuple[ScreenedLog, tuple[str, ...]]:
    flow = flow_from_hours(plant)
    if flow is None:
        return screened, (
            "No flow is logged or given (operation.flow_m3_min), nor a compressor's power or hours"
            " (compressor.loaded_hours_per_year, compressor.running_hours_per_year) to tell it from; what needs the"
            " load is left out.",
        )
    loaded = all(machine.loaded_hours_per_year is not None for machine in plant.compressors)
    channels = {**screened.log.channels, "flow": np.full(screened.log.time_s.size, flow.value)}
    conditions, _ = conditions_of(replace(screened.log, channels=channels), plant)
    kind = "loaded hours" if loaded else "running hours"
    note = (
        f"The flow ({flow.value:.1f} m³/min on average, {flow.low:.1f} to {flow.high:.1f}) was told from the"
        f" compressors' {kind}; it is the mean of a year and knows no day of the log. A flow meter narrows it."
    )
    return replace(screened, conditions=replace(conditions, logged=screened.conditions.logged | {kind})), (note,)


def flow_share_95(conditions: Conditions) -> float:
    """How well the flow is known, as a 95 % share of itself: metered, told from power or hours, or typical."""
    return next((share for name, share in _FLOW_SHARE.items() if name in conditions.logged), _TYPICAL_SHARE)


def load_scale(conditions: Conditions, plant: Plant) -> Uncertain:
    """Factor around 1 by which the load ratio may be off throughout: flow meter, inlet moisture.

    Parameters
    ----------
    conditions : Conditions
        Tell which channels were logged.
    plant : Plant

    Returns
    -------
    Uncertain
        [-]; metered flow ± 5 %, typical ± 15 %, told from power ± 25 %, from hours under load ± 30 %, from running
        hours ± 50 % (common practice, no published source).
    """
    scale = relative("flow", 1.0, flow_share_95(conditions))
    if plant.heated:
        logged = "inlet_temperature" in conditions.logged
        share = _LOGGED_INLET_SHARE if logged else _TYPICAL_INLET_SHARE
        scale = scale * relative("inlet moisture", 1.0, share)
    return scale


def mean_flow_m3_min(screened: ScreenedLog) -> Uncertain | None:
    """Air entering the dryer while it is under pressure, averaged over the log [m3/min]; None if unknown or nought."""
    flow = screened.conditions.flow_m3_min
    if flow is None or flow.size == 0:
        return None
    weight = np.where(screened.conditions.pressure_bar > WORKING_BAR, time_weights(screened.log), 0.0)
    if weight.sum() <= 0.0:
        return None
    mean = float(np.average(flow, weights=weight))
    return relative("flow", mean, flow_share_95(screened.conditions)) if mean > 0.0 else None


def time_weights(log: Log) -> Floats:
    """Time each reading stands for [s], gaps not counted, shape (n,)."""
    if log.samples < 2:
        return np.full(log.samples, max(log.interval_s, 1.0))
    step = np.diff(log.time_s, append=log.time_s[-1] + log.interval_s)
    return np.minimum(step, 3.0 * log.interval_s)


def log_pattern(screened: ScreenedLog, plant: Plant, smooth_s: float = 0.0) -> LoadPattern | None:
    """Load pattern of the log.

    Parameters
    ----------
    screened : ScreenedLog
    plant : Plant
    smooth_s : float
        Time over which the bed averages its load [s].

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
    weight = np.where(conditions.pressure_bar > WORKING_BAR, time_weights(screened.log), 0.0)
    if weight.sum() <= 0.0:
        return None
    if smooth_s > 2.0 * screened.log.interval_s:
        ratio, weight, flow = _averaged(screened.log.time_s, smooth_s, ratio, weight, flow)
    return binned(ratio, weight, flow)


def profile_pattern(plant: Plant, screened: ScreenedLog | None = None) -> LoadPattern | None:
    """Load pattern of the plant file's profile; None without one, without a rating or an inlet where it is needed.

    Parameters
    ----------
    plant : Plant
    screened : ScreenedLog, optional
        Its mean inlet temperature stands in where neither block nor plant file gives one.

    Returns
    -------
    LoadPattern or None
    """
    blocks = plant.profile
    if not blocks or plant.dryer.rated_flow_m3_min is None:
        return None
    typical = plant.operation.inlet_temperature_c
    if typical is None and screened is not None and screened.conditions.inlet_temperature_c is not None:
        typical = float(np.mean(screened.conditions.inlet_temperature_c))
    inlet = [typical if b.inlet_temperature_c is None else b.inlet_temperature_c for b in blocks]
    gauge = [plant.operation.pressure_bar_g if b.pressure_bar_g is None else b.pressure_bar_g for b in blocks]
    pressure = np.array(gauge, dtype=np.float64) + plant.site.barometric_pressure_bar
    flow = np.array([b.flow_m3_min for b in blocks], dtype=np.float64)
    load = None
    if all(t is not None for t in inlet):
        dew_point = np.array(inlet, dtype=np.float64)
        if plant.operation.inlet_dew_point_c is not None:
            dew_point = np.minimum(dew_point, plant.operation.inlet_dew_point_c)
        moisture = moisture_fraction(np.clip(dew_point, -60.0, 80.0), pressure)
        load = flow * DRY_AIR_KG_M3 * mixing_ratio_g_kg(moisture)
    conditions = Conditions(pressure, None, flow, load)
    ratio = load_ratio(conditions, plant)
    if ratio is None:
        return None
    hours: Floats = np.array([b.hours for b in blocks], dtype=np.float64)
    return LoadPattern(ratio, hours / hours.sum(), _flow_ratio(conditions, plant))


def binned(ratio: Floats, weight: Floats, flow_ratio: Floats) -> LoadPattern:
    """Gather readings into at most `_BINS` groups of equal time and similar load.

    Parameters
    ----------
    ratio, weight, flow_ratio : ndarray, shape (n,)
        Load over its rating [-], time or share of it, actual volume flow over its rating [-].

    Returns
    -------
    LoadPattern
    """
    order = np.argsort(ratio, kind="stable")
    ratio, weight, flow_ratio = ratio[order], weight[order] / weight.sum(), flow_ratio[order]
    if ratio.size <= _BINS:
        return LoadPattern(ratio, weight, flow_ratio)
    before = np.concatenate(([0.0], np.cumsum(weight)[:-1]))
    group = np.minimum((before * _BINS).astype(np.intp), _BINS - 1)
    share = _summed(group, weight)
    filled = share > 0
    means = (_summed(group, weight * part)[filled] / share[filled] for part in (ratio, flow_ratio))
    mean, flow = means
    return LoadPattern(mean, share[filled], flow)


def _summed(group: np.ndarray, values: Floats) -> Floats:
    return np.bincount(group, values, _BINS).astype(np.float64)


def _flow_ratio(conditions: Conditions, plant: Plant) -> Floats:
    """Actual volume flow over its rating, whatever the regeneration [-]."""
    assert conditions.flow_m3_min is not None
    assert plant.dryer.rated_flow_m3_min is not None
    rated = plant.dryer.rated_flow_m3_min / plant.rated_pressure_bar
    return conditions.flow_m3_min / np.maximum(conditions.pressure_bar, 1.0) / rated


def _averaged(
    time_s: Floats, window_s: float, ratio: Floats, weight: Floats, flow: Floats
) -> tuple[Floats, Floats, Floats]:
    """Means over windows side by side: ratio, weight and flow of each window that has weight."""
    count = max(1, round((time_s[-1] - time_s[0]) / window_s))
    width = max((time_s[-1] - time_s[0]) / count, 1e-9) * (1.0 + 1e-9)
    group = np.minimum(((time_s - time_s[0]) / width).astype(np.intp), count - 1)
    total: Floats = np.bincount(group, weight, count).astype(np.float64)
    filled = total > 0.0
    means = [np.bincount(group, weight * part, count)[filled] / total[filled] for part in (ratio, flow)]
    return means[0], total[filled], means[1]
