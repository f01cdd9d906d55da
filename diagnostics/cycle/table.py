"""One row per half-cycle: when, which tower, and its spike, floor, peak, end and mean.

Readings are as shown. The spike is the rise just after the switchover and ends where the trace has come down from it;
the peak is the highest reading after that, and includes a rise that still climbs just after the next switchover.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from diagnostics.cycle.record import HALF_CYCLE_COLUMNS, no_half_cycles
from diagnostics.log.record import Floats, ScreenedLog


def half_cycle_table(screened: ScreenedLog, edges_s: Floats, towers: list[str | None], cut: np.ndarray) -> pd.DataFrame:
    """Describe every half-cycle between neighbouring edges.

    Parameters
    ----------
    screened : ScreenedLog
    edges_s : ndarray, shape (m + 1,)
        Switchovers, with the ends of the log around them [epoch s].
    towers : list, length m
    cut : ndarray of bool, shape (m,)
        True where a half-cycle is not seen from switchover to switchover.

    Returns
    -------
    DataFrame
    """
    time_s, dew, used = screened.log.time_s, screened.dew_point_c, screened.used
    rows = []
    bounds = np.searchsorted(time_s, edges_s)
    for i in range(len(edges_s) - 1):
        first, last = int(bounds[i]), int(bounds[i + 1])
        inside = used[first:last]
        readings = dew[first:last][inside]
        if readings.size == 0:
            continue
        numbers = _describe(readings, screened.moisture[first:last][inside])
        complete = bool(not cut[i] and inside.mean() >= 0.8)
        rows.append((edges_s[i], edges_s[i + 1], towers[i], complete, *numbers))
    if not rows:
        return no_half_cycles()
    return pd.DataFrame(rows, columns=list(HALF_CYCLE_COLUMNS))


def _describe(dew: Floats, moisture: Floats) -> tuple[float, float, float, float, float]:
    lowest = int(np.argmin(dew))
    peak = float(dew[lowest:].max())
    mean = float(np.interp(moisture.mean(), np.sort(moisture), np.sort(dew)))
    return peak, float(dew[lowest]), float(dew[-1]), mean, float(dew[: lowest + 1].max())
