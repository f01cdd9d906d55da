"""How often and how long readings pass a limit, and how surely a percentile is known.

Question: how many excursions above the limit, the longest, and the interval of the upper percentiles? Input: times and
dew points of the used readings, instants that cut the log into whole cycles. Method: runs of readings; moving-block
bootstrap over whole cycles (Künsch 1989), since neighbouring readings are nearly copies of each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats

_REPLICATES = 400
_LEVELS = 256
_UNITS = 1000
_FEWEST_BLOCKS = 4


@dataclass(frozen=True, slots=True)
class Exceedances:
    """Excursions above a limit.

    Attributes
    ----------
    count : int
        Runs of readings above the limit; a reading at or below it, or a hole in the log, ends a run.
    longest_s : float
        Length of the longest run, each reading standing for one interval [s].
    share : float
        Readings above the limit over all readings [-].
    """

    count: int
    longest_s: float
    share: float


def exceedances(time_s: Floats, dew_point_c: Floats, limit_c: float, interval_s: float) -> Exceedances:
    """Excursions of the used readings above a limit.

    Parameters
    ----------
    time_s, dew_point_c : ndarray, shape (n,)
        Used readings only, ascending in time [s], [degC]; n >= 1.
    limit_c : float
        Highest permitted dew point [degC].
    interval_s : float
        Usual step of the log [s]; a step above three of it is a hole.

    Returns
    -------
    Exceedances
    """
    above = dew_point_c > limit_c
    if not above.any():
        return Exceedances(0, 0.0, 0.0)
    hole = np.diff(time_s) > 3.0 * interval_s
    starts = above.copy()
    starts[1:] &= ~above[:-1] | hole
    ends = above.copy()
    ends[:-1] &= ~above[1:] | hole
    lengths = time_s[ends] - time_s[starts] + interval_s
    return Exceedances(int(starts.sum()), float(lengths.max()), float(above.mean()))


def percentile_intervals(
    dew_point_c: Floats, unit_of: np.ndarray, levels: tuple[float, ...] = (95.0, 99.0), seed: int = 8573
) -> dict[float, Estimate | None]:
    """Percentiles of autocorrelated readings with their 95 % intervals.

    Parameters
    ----------
    dew_point_c : ndarray, shape (n,)
        Used readings [degC].
    unit_of : ndarray of int, shape (n,)
        Which whole cycle (or other stretch) each reading belongs to, ascending from 0.
    levels : tuple of float
        Percentiles [%].
    seed : int
        Of the resampling; the same readings always give the same interval.

    Returns
    -------
    dict of float to Estimate or None
        [degC]; None where fewer than four blocks can be told apart, so that no interval can be vouched for.

    Notes
    -----
    A block is as many cycles as the cycles' highest readings remember each other (integrated autocorrelation). Each
    replicate's percentile is read from counts above `_LEVELS` thresholds, so that the cost hardly grows with the log.
    """
    exact = {level: float(np.percentile(dew_point_c, level)) for level in levels}
    units = int(unit_of[-1]) + 1
    merged = unit_of // -(-units // _UNITS)
    units = int(merged[-1]) + 1
    block = _memory(_highest(dew_point_c, merged))
    if units < _FEWEST_BLOCKS * block:
        return dict.fromkeys(levels)
    thresholds, counts, sizes = _counts_above(dew_point_c, merged, units)
    rng = np.random.default_rng(seed)
    starts = rng.integers(0, units, size=(_REPLICATES, -(-units // block)))
    drawn = (starts[:, :, None] + np.arange(block)).reshape(_REPLICATES, -1)[:, :units] % units
    weights = np.zeros((_REPLICATES, units))
    np.add.at(weights, (np.repeat(np.arange(_REPLICATES), units), drawn.reshape(-1)), 1.0)
    shares = (weights @ counts) / (weights @ sizes)[:, None]
    found: dict[float, Estimate | None] = {}
    for level in levels:
        replicates = [np.interp(-(1.0 - level / 100.0), -share, thresholds) for share in shares]
        low, high = np.percentile(replicates, [2.5, 97.5])
        found[level] = Estimate.ordered(exact[level], float(low), float(high))
    return found


def _highest(values: Floats, unit_of: np.ndarray) -> Floats:
    first = np.flatnonzero(np.r_[True, np.diff(unit_of) > 0])
    return np.maximum.reduceat(values, first)


def _memory(series: Floats) -> int:
    """Integrated autocorrelation of a series in its own steps, at least 1: 1 + 2 sum of the first positive run."""
    n = series.size
    centred = series - series.mean()
    if n < _FEWEST_BLOCKS or not centred.any():
        return 1
    spectrum = np.abs(np.fft.rfft(centred, 2 * n)) ** 2
    rho = np.fft.irfft(spectrum)[:n]
    rho = rho[1:] / rho[0]
    ending = np.flatnonzero(rho < 2.0 / np.sqrt(n))
    run = rho[: ending[0]] if ending.size else rho
    return max(1, int(np.ceil(1.0 + 2.0 * run.sum())))


def _counts_above(values: Floats, unit_of: np.ndarray, units: int) -> tuple[Floats, Floats, Floats]:
    """Thresholds, and for each unit how many readings lie above each and how many there are at all."""
    thresholds = np.unique(np.quantile(values, np.linspace(0.5, 1.0, _LEVELS)))
    slot = np.searchsorted(thresholds, values, side="left")
    table = np.bincount(unit_of * (thresholds.size + 1) + slot, minlength=units * (thresholds.size + 1))
    table = table.reshape(units, thresholds.size + 1)
    above = table[:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
    return thresholds, above.astype(float), table.sum(axis=1).astype(float)
