"""Thinning a line to what a screen shows: each bucket keeps its lowest and highest reading, gaps stay gaps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def thin_line(
    time_s: NDArray[np.float64], values: NDArray[np.float64], *, points: int = 4000, gap_s: float | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Thin a time series to about ``points`` points for drawing.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending.
    values : ndarray, shape (n,)
        NaN where missing.
    points : int
        Most points returned, breaks not counted.
    gap_s : float, optional
        Steps longer than this break the line [s].

    Returns
    -------
    time_s, values : ndarray, shape (m,)
        A NaN stands where the line is to break. Minimum and maximum per bucket are kept, never a mean, so that peaks
        survive.
    """
    valid = np.isfinite(values)
    t, v = time_s[valid], values[valid]
    if t.size > points:
        buckets = max(1, points // 2)
        edges = np.linspace(t[0], t[-1], buckets + 1)
        starts = np.unique(np.searchsorted(t, edges[:-1]))
        starts = starts[starts < t.size]
        lows, highs = np.minimum.reduceat(v, starts), np.maximum.reduceat(v, starts)
        bucket = np.searchsorted(starts, np.arange(t.size), side="right") - 1
        first_low = _first_where(v == lows[bucket], bucket, starts.size)
        first_high = _first_where(v == highs[bucket], bucket, starts.size)
        kept = np.unique(np.concatenate([first_low, first_high, [0, t.size - 1]]))
        t, v = t[kept], v[kept]
    if gap_s is None or t.size < 2:
        return t, v
    return _broken_at_gaps(time_s[valid], t, v, gap_s)


def _first_where(flags: NDArray[np.bool_], bucket: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    places = np.flatnonzero(flags)
    _, first = np.unique(bucket[places], return_index=True)
    chosen: NDArray[np.int64] = places[first]
    assert chosen.size == count
    return chosen


def _broken_at_gaps(
    every_t: NDArray[np.float64], t: NDArray[np.float64], v: NDArray[np.float64], gap_s: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    gap_starts = every_t[:-1][np.diff(every_t) > gap_s]
    places = np.searchsorted(t, gap_starts, side="right")
    inside = places < t.size
    at = gap_starts[inside] + gap_s / 2
    return np.insert(t, places[inside], at), np.insert(v, places[inside], np.nan)
