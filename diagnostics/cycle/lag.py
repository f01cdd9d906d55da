"""How slowly probe and sample line follow, where the trace lets it be seen, and what that takes off the peaks.

After a switchover the outlet's moisture falls at once to the fresh tower's; what the trace still shows then is the lag.
The fall is an upper bound of the probe's own drying time, for the bed's own spike may fade as slowly: it is given only
where it is short against the half-cycle and the same in most of them.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats, ScreenedLog

LEAST_FALLS = 8
MOST_LOOKED_AT = 120
LONGEST_SHARE = 0.15
LEAST_FALL = 0.15
"""Fall in ln moisture below which noise spoils the time constant."""


def drying_time_constant(screened: ScreenedLog, table: pd.DataFrame) -> Estimate | None:
    """Time constant of the falls after switchovers [s], or None where the trace does not show one.

    Parameters
    ----------
    screened : ScreenedLog
    table : DataFrame
        Half-cycles.
    """
    start, end = _some(table)
    time_s = screened.log.time_s
    first, last = np.searchsorted(time_s, start), np.searchsorted(time_s, start + 0.5 * (end - start))
    found = []
    for low, high, length in zip(first, last, end - start, strict=True):
        used = screened.used[low:high]
        constant = _fall(time_s[low:high][used], screened.moisture[low:high][used])
        if constant is not None and constant < LONGEST_SHARE * length:
            found.append(constant)
    if len(found) < max(LEAST_FALLS, start.size // 2):
        return None
    value, low, high = np.quantile(found, (0.5, 0.025, 0.975))
    return Estimate.ordered(float(value), float(low), float(high))


def _some(table: pd.DataFrame) -> tuple[Floats, Floats]:
    """Starts and ends of complete half-cycles, evenly thinned where there are very many [epoch s]."""
    whole = table["complete"].to_numpy(dtype=bool)
    start, end = table["start_s"].to_numpy()[whole], table["end_s"].to_numpy()[whole]
    step = max(1, -(-start.size // MOST_LOOKED_AT))
    return start[::step], end[::step]


def _fall(time_s: Floats, moisture: Floats) -> float | None:
    """Exponential time constant of a fall, by the area under it divided by its height."""
    if moisture.size < 6:
        return None
    top = int(np.argmax(moisture[: max(2, moisture.size // 3)]))
    lowest = np.sort(moisture[top:])[: max(1, (moisture.size - top) // 4)]
    bottom = float(0.5 * (lowest[(lowest.size - 1) // 2] + lowest[lowest.size // 2]))
    height = float(moisture[top]) - bottom
    if bottom <= 0.0 or height < LEAST_FALL * bottom or moisture.size - top < 5:
        return None
    above = np.maximum(moisture[top:] - bottom, 0.0)
    if int((above > 0.37 * height).sum()) < 3:
        return None
    return float((0.5 * (above[1:] + above[:-1]) @ np.diff(time_s[top:])) / height)


def peak_lowered(screened: ScreenedLog, table: pd.DataFrame, constant: Estimate | None) -> Estimate | None:
    """What a first-order lag takes off peaks that end a rise: the rise's last rate times the time constant [K].

    A lagging probe shows a steady rise late by its time constant.
    """
    if constant is None:
        return None
    start, end = _some(table)
    time_s = screened.log.time_s
    first, last = np.searchsorted(time_s, end - 0.25 * (end - start)), np.searchsorted(time_s, end)
    rates = []
    for low, high in zip(first, last, strict=True):
        used = screened.used[low:high]
        if used.sum() >= 3:
            at, dew = time_s[low:high][used], screened.dew_point_c[low:high][used]
            middle = at - at.mean()
            rates.append(float((middle @ dew) / (middle @ middle)))
    if len(rates) < LEAST_FALLS:
        return None
    rate = max(0.0, float(np.median(rates)))
    return Estimate.ordered(rate * constant.value, 0.0, rate * constant.high)
