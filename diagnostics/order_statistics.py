"""Median and quantiles of short series, at a fraction of the general functions' cost a call.

The same numbers as ``numpy.median`` and ``numpy.quantile``, which a test holds them to; those spend ten times as long
on what kind of array they were given, and a diagnosis asks for hundreds.
"""

from __future__ import annotations

from collections.abc import Sequence

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
    (found,) = quantiles(values, (share,))
    return found


def quantiles(values: Floats, shares: Sequence[float]) -> list[float]:
    """Values below which each of some shares lies; parameters as for `quantile`."""
    last = values.size - 1
    places = [share * last for share in shares]
    below = [min(int(place), last) for place in places]
    ordered = np.partition(values, [*below, *(min(at + 1, last) for at in below)])
    return [
        _between(float(ordered[at]), float(ordered[min(at + 1, last)]), place - at)
        for at, place in zip(below, places, strict=True)
    ]


def _between(low: float, high: float, part: float) -> float:
    return high - (high - low) * (1.0 - part) if part >= 0.5 else low + (high - low) * part
