"""Peaks of a trace and how far each stands above the valleys beside it.

The same as ``scipy.signal.find_peaks(values, prominence=least)``, which a test holds it to; importing that package
takes longer than diagnosing a two-day log.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.record import Floats


def find_peaks(values: Floats, least: float) -> tuple[NDArray[np.intp], Floats]:
    """Local maxima of at least this prominence, and their prominences.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Without missing values.
    least : float
        In the unit of ``values``.

    Returns
    -------
    ndarray, shape (m,)
        Indices; of a flat top its middle, rounded down. The ends are no peaks.
    ndarray, shape (m,)
        Height above the higher of the lowest points on either side, each side reaching to the next higher peak.
    """
    starts = np.flatnonzero(np.concatenate(([True], values[1:] != values[:-1])))
    ends = np.append(starts[1:], values.size) - 1
    level = values[starts]
    inner = np.zeros(starts.size, bool)
    inner[1:-1] = (level[1:-1] > level[:-2]) & (level[1:-1] > level[2:])
    peaks = (starts[inner] + ends[inner]) // 2
    if not peaks.size:
        return peaks, np.empty(0)
    height = values[peaks]
    valleys = np.minimum.reduceat(values, np.append(0, peaks))
    left = _lowest_since_higher(height.tolist(), valleys[:-1].tolist())
    right = _lowest_since_higher(height[::-1].tolist(), valleys[:0:-1].tolist())[::-1]
    prominence = height - np.maximum(left, right)
    kept = prominence >= least
    return peaks[kept], prominence[kept]


def _lowest_since_higher(height: list[float], valley: list[float]) -> Floats:
    """For each peak the lowest valley back to the last strictly higher peak; ``valley[i]`` lies before peak i."""
    lowest: list[float] = []
    higher: list[tuple[float, float]] = []
    for top, low in zip(height, valley, strict=True):
        while higher and higher[-1][0] <= top:
            low = min(low, higher.pop()[1])
        higher.append((top, low))
        lowest.append(low)
    return np.array(lowest)
