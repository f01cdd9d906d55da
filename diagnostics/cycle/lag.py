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
MOST_LOOKED_AT = 400
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
    whole = table[table["complete"].astype(bool)]
    step = max(1, len(whole) // MOST_LOOKED_AT)
    found = []
    for start, end in zip(whole["start_s"].iloc[::step], whole["end_s"].iloc[::step], strict=True):
        first, last = np.searchsorted(screened.log.time_s, (start, start + 0.5 * (end - start)))
        used = screened.used[first:last]
        time_s, moisture = screened.log.time_s[first:last][used], screened.moisture[first:last][used]
        constant = _fall(time_s, moisture)
        if constant is not None and constant < LONGEST_SHARE * (end - start):
            found.append(constant)
    if len(found) < max(LEAST_FALLS, len(whole) // step // 2):
        return None
    value, low, high = np.quantile(found, (0.5, 0.025, 0.975))
    return Estimate.ordered(float(value), float(low), float(high))


def _fall(time_s: Floats, moisture: Floats) -> float | None:
    """Exponential time constant of a fall, by the area under it divided by its height."""
    if moisture.size < 6:
        return None
    top = int(np.argmax(moisture[: max(2, moisture.size // 3)]))
    bottom = float(np.median(np.sort(moisture[top:])[: max(1, (moisture.size - top) // 4)]))
    height = float(moisture[top]) - bottom
    if bottom <= 0.0 or height < LEAST_FALL * bottom or moisture.size - top < 5:
        return None
    above = np.maximum(moisture[top:] - bottom, 0.0)
    if int((above > 0.37 * height).sum()) < 3:
        return None
    return float(np.trapezoid(above, time_s[top:]) / height)


def peak_lowered(screened: ScreenedLog, table: pd.DataFrame, constant: Estimate | None) -> Estimate | None:
    """What a first-order lag takes off peaks that end a rise: the rise's last rate times the time constant [K].

    A lagging probe shows a steady rise late by its time constant.
    """
    if constant is None:
        return None
    whole = table[table["complete"].astype(bool)]
    rates = []
    for start, end in zip(whole["start_s"], whole["end_s"], strict=True):
        first, last = np.searchsorted(screened.log.time_s, (end - 0.25 * (end - start), end))
        used = screened.used[first:last]
        if used.sum() >= 3:
            time_s, dew = screened.log.time_s[first:last][used], screened.dew_point_c[first:last][used]
            middle = time_s - time_s.mean()
            rates.append(float((middle * dew).sum() / (middle**2).sum()))
    if len(rates) < LEAST_FALLS:
        return None
    rate = max(0.0, float(np.median(rates)))
    return Estimate.ordered(rate * constant.value, 0.0, rate * constant.high)
