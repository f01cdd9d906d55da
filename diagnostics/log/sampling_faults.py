"""Whether the reading follows the room instead of the dryer: a dead sample, a leaking sample line.

Question: does temperature move the reading? Input: a log at line pressure. Output: signs, and spans of a plainly
stagnant sample. Method: hourly levels against the logged temperature and against flow and moisture load; a stagnant
sample has no ripple and swings with the temperature of its wall, one that leaks is never dry and its moisture goes with
the room's, by as many per cent a kelvin as saturation does. A quiet outlet behind a receiver has no ripple either:
without coupling to temperature nothing is said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import saturation_pressure_pa
from diagnostics.log.record import Conditions, Flags, Floats, Log, Sign

_FEWEST_BLOCKS = 16
_BLOCK_S = 3600.0
_DRIEST_LEAK_C = -50.0
"""Drier than this a leak of the sample line adds less than the dryer's own moisture, and nothing can be told."""
_LEAST_SHARE = 0.85


@dataclass(frozen=True)
class _Hourly:
    """Levels by hour: median and floor of the dew point [degC], spread within the hour [K], other channels' means."""

    dew_point_c: Floats
    floor_c: Floats
    within_k: Floats
    others: dict[str, Floats]


def follow_the_room(log: Log, dew_point_c: Floats, used: Flags, conditions: Conditions) -> tuple[list[Sign], bool]:
    """Signs ``sample_stagnant`` and ``ambient_ingress``.

    Parameters
    ----------
    log : Log
    dew_point_c : ndarray, shape (n,)
        At line pressure [degC].
    used : ndarray of bool, shape (n,)
    conditions : Conditions

    Returns
    -------
    list of Sign
    bool
        Whether the sample is so plainly stagnant that its readings say nothing of the dryer.
    """
    hourly = _hourly(log, dew_point_c, used, conditions)
    if hourly is None:
        return [], False
    ingress = _ingress(log, hourly)
    if ingress is not None:
        return [ingress], False
    stagnant = _stagnant(log, hourly)
    return ([] if stagnant is None else [stagnant]), stagnant is not None and stagnant.confidence >= 0.95


def _hourly(log: Log, dew_point_c: Floats, used: Flags, conditions: Conditions) -> _Hourly | None:
    t, y = log.time_s[used], dew_point_c[used]
    if t.size < 200:
        return None
    which = ((t - t[0]) / _BLOCK_S).astype(int)
    edges = np.concatenate(([0], np.flatnonzero(np.diff(which)) + 1, [t.size]))
    full = np.diff(edges) >= max(4, 0.5 * _BLOCK_S / max(log.interval_s, 1.0))
    firsts, lasts = edges[:-1][full], edges[1:][full]
    if firsts.size < _FEWEST_BLOCKS:
        return None
    channels = {q: log.channels[q] for q in ("temperature", "ambient_temperature") if q in log.channels}
    if "flow" in conditions.logged and conditions.flow_m3_min is not None:
        channels["flow"] = conditions.flow_m3_min
    if "inlet_temperature" in conditions.logged and conditions.inlet_temperature_c is not None:
        channels["inlet_temperature"] = conditions.inlet_temperature_c
    blocks = [slice(int(a), int(b)) for a, b in zip(firsts, lasts, strict=True)]
    others = {}
    for quantity, values in channels.items():
        series = values[used]
        if np.isfinite(series).mean() > 0.9:
            filled = np.interp(t, t[np.isfinite(series)], series[np.isfinite(series)])
            others[quantity] = np.array([filled[b].mean() for b in blocks])
    shape = [np.quantile(y[b], (0.05, 0.1, 0.5, 0.95)).tolist() for b in blocks]
    slope = np.gradient(np.array([s[2] for s in shape]))
    within = np.array([s[3] - s[0] for s in shape]) - np.abs(slope)
    return _Hourly(np.array([s[2] for s in shape]), np.array([s[1] for s in shape]), within, others)


def _stagnant(log: Log, hourly: _Hourly) -> Sign | None:
    level = hourly.dew_point_c
    swing = float(np.percentile(level, 95) - np.percentile(level, 5))
    ripple = float(np.median(hourly.within_k))
    if swing < 1.5 or ripple > 0.2 * swing + 0.15:
        return None
    for quantity in ("temperature", "ambient_temperature"):
        if quantity not in hourly.others:
            continue
        temperature = hourly.others[quantity]
        if float(np.ptp(temperature)) < 2.0:
            continue
        share, slope = _best_lagged(level, temperature)
        rival = max((_best_lagged(level, hourly.others[q])[0] for q in ("flow",) if q in hourly.others), default=0.0)
        if share < 0.8 or slope < 0.15 or rival > share - 0.05:
            continue
        confidence = float(np.clip(0.6 + 2.0 * (share - 0.8), 0.6, 0.95))
        if "flow" not in hourly.others and share < 0.97:
            confidence = min(confidence, 0.8)
        name = quantity.replace("_", " ")
        sentence = (
            f"The reading swings by {swing:.1f} K with the {name} ({share:.0%} of its hourly changes,"
            f" {slope:.2f} K per K) and shows no ripple of the towers ({ripple:.2f} K within an hour)."
        )
        numbers = {"swing_k": swing, "share_explained": share, "slope_k_per_k": slope, "ripple_k": ripple}
        return Sign("sample_stagnant", *_span(log), confidence, sentence, numbers)
    return None


def _ingress(log: Log, hourly: _Hourly) -> Sign | None:
    """Moisture that goes with the room's as a share of it does: kelvin for kelvin of the room's dew point.

    A room that keeps its relative humidity has a moisture that goes with its temperature as saturation does.
    """
    floor = hourly.floor_c
    if float(np.median(floor)) < _DRIEST_LEAK_C or float(np.ptp(floor)) < 1.0:
        return None
    moisture = np.log(np.asarray(saturation_pressure_pa(floor)))
    for quantity in ("ambient_temperature", "temperature"):
        if quantity not in hourly.others:
            continue
        room_c = hourly.others[quantity]
        if float(np.ptp(room_c)) < 2.0:
            continue
        room = np.log(np.asarray(saturation_pressure_pa(room_c)))
        share, slope = _best_lagged(moisture, room, lags=1)
        rivals = [hourly.others[q] for q in ("flow", "inlet_temperature") if q in hourly.others]
        rival = max((_best_lagged(floor, r)[0] for r in rivals), default=0.0)
        if share < _LEAST_SHARE or not 0.5 <= slope <= 1.3 or rival > share + 0.02:
            continue
        sentence = (
            f"The driest readings stay above {float(floor.min()):.1f} °C, and their moisture goes with the"
            f" {quantity.replace('_', ' ')} ({share:.0%} of its hourly changes, {slope:.2f} times as fast as the"
            f" moisture of a room that keeps its relative humidity), more than with the load ({rival:.0%})."
        )
        numbers = {"share_explained": share, "slope": slope, "driest_c": float(floor.min())}
        confidence = float(np.clip(share - 0.5 * max(0.0, rival - 0.5), 0.6, 0.9))
        return Sign("ambient_ingress", *_span(log), confidence, sentence, numbers)
    return None


def _span(log: Log) -> tuple[float, float]:
    return float(log.time_s[0]), float(log.time_s[-1])


def _best_lagged(level: Floats, driver: Floats, lags: int = 3) -> tuple[float, float]:
    """Largest share of variance [-] that a driver explains with up to some hours' delay, and its slope."""
    best = (0.0, 0.0)
    for lag in range(lags + 1):
        y, x = level[lag:], driver[: driver.size - lag]
        if y.size < _FEWEST_BLOCKS - lags or np.ptp(x) == 0 or np.ptp(y) == 0:
            continue
        slope = float(np.cov(x, y)[0, 1] / np.var(x, ddof=1))
        share = float(np.corrcoef(x, y)[0, 1] ** 2)
        if share > best[0]:
            best = (share, slope)
    return best
