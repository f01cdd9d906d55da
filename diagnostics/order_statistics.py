"""Median and quantiles of short series, at a fraction of the general functions' cost a call.

The same numbers as ``numpy.median`` and ``numpy.quantile``, which a test holds them to; those spend ten times as long
on what kind of array they were given, and a diagnosis asks for hundreds.
"""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import Floats


def median(values: Floats) -> float:
    """Middle value, or the mean of the two middle ones.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least one, without missing values.
    """
    half = values.size // 2
    if values.size % 2:
        return float(np.partition(values, half)[half])
    ordered = np.partition(values, (half - 1, half))
    return float(0.5 * (ordered[half - 1] + ordered[half]))


def quantile(values: Floats, share: float) -> float:
    """Value below which a share lies, straight between neighbours.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least one, without missing values.
    share : float
        Between 0 and 1.
    """
    place = share * (values.size - 1)
    below = min(int(place), values.size - 1)
    above = min(below + 1, values.size - 1)
    ordered = np.partition(values, (below, above))
    low, high, part = float(ordered[below]), float(ordered[above]), place - below
    return high - (high - low) * (1.0 - part) if part >= 0.5 else low + (high - low) * part
