"""How often and how long readings pass a limit, and how surely a percentile is known.

Question: how many excursions above the limit, the longest, and the interval of the upper percentiles? Input: times and
dew points of the used readings, instants that cut the log into whole cycles. Method: runs of readings; moving-block
bootstrap over whole cycles (Künsch 1989), as neighbouring readings are nearly copies of each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats

_FEWEST_BLOCKS = 4
_LONGEST_SERIES = 50_000


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
    dew_point_c: Floats, unit_of: np.ndarray, levels: tuple[float, ...] = (95.0, 99.0)
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

    Returns
    -------
    dict of float to Estimate or None
        [degC]; None where fewer than four blocks can be told apart, so that no interval can be vouched for. The upper
        end cannot lie above the highest reading.

    Notes
    -----
    The share of readings above the percentile has the variance that a moving-block bootstrap over whole cycles gives it
    (in its closed form, nothing is drawn); a block is as many cycles as their highest readings remember each other. The
    readings it is worth are at most n over the integrated autocorrelation, as few exceedances show their own clustering
    badly. Wilson's score interval of the share, carried back through the sorted readings, is the interval
    (Woodruff 1952).
    """
    units = int(unit_of[-1]) + 1
    block = _memory(_highest(dew_point_c, unit_of))
    if units < _FEWEST_BLOCKS * block:
        return dict.fromkeys(levels)
    sizes = np.bincount(unit_of)
    thinned = dew_point_c[:: -(-dew_point_c.size // _LONGEST_SERIES)]
    most = thinned.size / _memory(thinned)
    found: dict[float, Estimate | None] = {}
    for level in levels:
        value, share = float(np.percentile(dew_point_c, level)), 1.0 - level / 100.0
        counts = np.bincount(unit_of, weights=dew_point_c > value)
        residual = counts - counts.sum() / sizes.sum() * sizes
        running = np.cumsum(np.r_[0.0, residual, residual[: block - 1]])
        sums = running[block:] - running[:-block]
        variance = units / block * float(np.mean(sums**2)) / float(sizes.sum()) ** 2
        worth = share * (1.0 - share) / variance if variance > 0.0 else most
        above_low, above_high = _wilson(share, max(1.0, min(worth, most)))
        low, high = np.quantile(dew_point_c, [1.0 - above_high, 1.0 - above_low])
        found[level] = Estimate.ordered(value, float(low), float(high))
    return found


def _wilson(share: float, n: float) -> tuple[float, float]:
    """95 % score interval of a share seen in n independent readings (Wilson 1927)."""
    z = 1.959964
    centre = share + z * z / (2.0 * n)
    half = z * float(np.sqrt(share * (1.0 - share) / n + (z / (2.0 * n)) ** 2))
    scale = 1.0 + z * z / n
    return max(0.0, (centre - half) / scale), min(1.0, (centre + half) / scale)


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
