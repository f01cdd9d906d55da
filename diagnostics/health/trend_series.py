"""Peaks of the half-cycles as a series in time, with what else may explain them.

Question: how high was each peak, and under which load? Input: screened log, half-cycles, plant. Output: a `PeakSeries`.
Half-cycles of minutes are gathered into hours, because neighbours hardly differ; half-cycles of hours stand alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.bed.duty import Duty, duty_of
from diagnostics.cycle.record import Cycle
from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.plant import Plant

DAY_S = 86400.0
_HOUR_S = 3600.0
_MOST_BLOCKS = 1500
_VISIT_GAP_S = 5.0 * DAY_S
_LEAST_CHANGE = {"load": 0.02, "inlet temperature": 0.3, "pressure": 0.02, "temperature of the air": 0.3}
"""Standard deviation below which a covariate is taken as constant: ln load, K, ln pressure."""


@dataclass(frozen=True, eq=False)
class PeakSeries:
    """Peaks in blocks of time, ascending.

    Attributes
    ----------
    time_d : ndarray, shape (n,)
        Days from the end of the log, all <= 0.
    peak_c : ndarray, shape (n,)
        Median peak of the block, the towers' constant difference taken out [degC].
    covariates : dict of str to ndarray, shape (n,)
        Centred: ln load, inlet temperature [K], ln pressure; only what was logged and varies. Where no inlet
        temperature was, the air's or the room's, which follow the same season.
    step_d : float
        Usual distance of blocks [d].
    visit : ndarray of int, shape (n,)
        Number of the visit; logs more than five days apart are different visits.
    half_cycles : int
        Half-cycles behind the series.
    """

    time_d: Floats
    peak_c: Floats
    covariates: dict[str, Floats]
    step_d: float
    visit: np.ndarray
    half_cycles: int

    @property
    def span_d(self) -> float:
        """From the first to the last block, each counted whole [d]."""
        return float(self.time_d[-1] - self.time_d[0]) + self.step_d

    def only(self, keep: np.ndarray) -> PeakSeries:
        """The same series with some blocks only."""
        covariates = {name: values[keep] for name, values in self.covariates.items()}
        return PeakSeries(
            self.time_d[keep], self.peak_c[keep], covariates, self.step_d, self.visit[keep], self.half_cycles
        )


def peak_series(screened: ScreenedLog, cycle: Cycle, plant: Plant, tower: str | None = None) -> PeakSeries | None:
    """Series of the peaks; None where no half-cycle was seen whole.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    plant : Plant
    tower : str, optional
        Only this tower's peaks.
    """
    table = cycle.complete
    peak = table["peak_dew_point_c"].to_numpy(float)
    starts, ends = table["start_s"].to_numpy(float), table["end_s"].to_numpy(float)
    good = np.isfinite(peak)
    if cycle.stopped_s is not None:
        good &= ends <= cycle.stopped_s + 1.0
    towers = table["tower"].to_numpy()
    if tower is not None:
        good &= towers == tower
    if good.sum() < 2:
        return None
    peak, starts, ends, towers = peak[good], starts[good], ends[good], towers[good]
    peak = _without_tower_difference(peak, towers)
    usual_s = float(np.median(ends - starts))
    span_s = float(ends[-1] - starts[0])
    step_s = max(usual_s if usual_s >= 0.5 * _HOUR_S else _HOUR_S, span_s / _MOST_BLOCKS)
    block = _blocks(starts, step_s, usual_s)
    last_s = float(screened.log.time_s[-1])
    time_d = (_means(0.5 * (starts + ends), block) - last_s) / DAY_S
    medians = np.array([float(np.median(part)) for part in np.split(peak, np.flatnonzero(np.diff(block)) + 1)])
    covariates = _covariates(screened, duty_of(screened, plant), starts, ends, block)
    visit = np.concatenate([[0], np.cumsum(np.diff(time_d) * DAY_S > _VISIT_GAP_S)])
    step_d = float(np.median(np.diff(time_d))) if time_d.size > 1 else step_s / DAY_S
    return PeakSeries(time_d, medians, covariates, step_d, visit, int(good.sum()))


def _without_tower_difference(peak: Floats, towers: np.ndarray) -> Floats:
    centred = peak.copy()
    medians = [float(np.median(peak[towers == name])) for name in ("A", "B") if (towers == name).any()]
    for name in ("A", "B"):
        mine = towers == name
        if mine.any():
            centred[mine] += float(np.mean(medians)) - float(np.median(peak[mine]))
    return centred


def _blocks(starts: Floats, step_s: float, usual_s: float) -> np.ndarray:
    """Number of each half-cycle's block, ascending without holes."""
    if step_s <= 1.01 * usual_s:
        return np.arange(starts.size)
    raw = ((starts - starts[0]) / step_s).astype(np.int64)
    return np.concatenate([[0], np.cumsum(np.diff(raw) > 0)])


def _means(values: Floats, block: np.ndarray) -> Floats:
    return np.bincount(block, values) / np.bincount(block)


def _covariates(
    screened: ScreenedLog, duty: Duty, starts: Floats, ends: Floats, block: np.ndarray
) -> dict[str, Floats]:
    conditions = screened.conditions
    found: dict[str, Floats] = {}
    time_s = screened.log.time_s
    if duty.known and conditions.logged & {"flow", "inlet_temperature", "pressure"}:
        loaded = (duty.loaded_at(ends) - duty.loaded_at(starts)) / (ends - starts)
        found["load"] = np.log(np.maximum(_means(loaded, block), 1e-12))
    if "inlet_temperature" in conditions.logged and conditions.inlet_temperature_c is not None:
        found["inlet temperature"] = _means(_average(time_s, conditions.inlet_temperature_c, starts, ends), block)
    else:
        stand_in = _stand_in(screened)
        if stand_in is not None:
            found["temperature of the air"] = _means(_average(time_s, stand_in, starts, ends), block)
    if "pressure" in conditions.logged:
        found["pressure"] = np.log(_means(_average(time_s, conditions.pressure_bar, starts, ends), block))
    return {name: x - x.mean() for name, x in found.items() if np.std(x) >= _LEAST_CHANGE[name]}


def _stand_in(screened: ScreenedLog) -> Floats | None:
    """Temperature of the sampled air or else of the room, holes filled; None where too little of it was read."""
    for quantity in ("temperature", "ambient_temperature"):
        values = screened.log.channels.get(quantity)
        if values is None:
            continue
        known = np.isfinite(values)
        if known.mean() > 0.9:
            return np.interp(screened.log.time_s, screened.log.time_s[known], values[known])
    return None


def _average(time_s: Floats, values: Floats, starts: Floats, ends: Floats) -> Floats:
    total = np.concatenate([[0.0], np.cumsum(values)])
    first, last = np.searchsorted(time_s, starts), np.searchsorted(time_s, ends)
    last = np.maximum(last, np.minimum(first + 1, values.size))
    first = np.minimum(first, last - 1)
    return (total[last] - total[first]) / (last - first)


_LAGS_D = tuple(hours / 24.0 for hours in (1.0, 2.0, 4.0, 8.0))
_LAG_GAIN = 0.9


def lagged_load(series: PeakSeries) -> Floats | None:
    """The load of the hours before, where it tells the peaks better than the load of the hour.

    A heatless dryer follows its load over tens of cycles. The lag is the one of 1, 2, 4 or 8 hours that leaves least
    squares beside a line; None where none leaves a tenth less than no lag.
    """
    load = series.covariates.get("load")
    if load is None or series.step_d > _LAGS_D[0] * 1.5 or series.time_d.size < 24:
        return None
    fresh = np.concatenate([[True], np.diff(series.time_d) > 3.0 * series.step_d])
    columns = [np.ones_like(load), series.time_d, load]
    best, squares = None, _LAG_GAIN * _squares(columns, series.peak_c)
    for lag_d in _LAGS_D:
        slow = np.empty_like(load)
        state = load[0]
        keep = float(np.exp(-series.step_d / lag_d))
        for i, value in enumerate(load):
            state = value if fresh[i] else keep * state + (1.0 - keep) * value
            slow[i] = state
        left = _squares([*columns, slow], series.peak_c)
        if left < squares:
            best, squares = slow - slow.mean(), left
    return best


def _squares(columns: list[Floats], target: Floats) -> float:
    design = np.column_stack(columns)
    miss = target - design @ np.linalg.lstsq(design, target, rcond=None)[0]
    return float(miss @ miss)
