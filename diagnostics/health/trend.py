"""Whether the half-cycle peaks rise over the days at equal load."""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.record import Cycle
from diagnostics.estimate import Estimate
from diagnostics.health.record import Trend
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

_DAY_S = 86400.0


def peak_trend(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> Trend:
    """Trend of half-cycle peaks."""
    complete = cycle.complete
    if len(complete) < 20 or (complete["end_s"].iloc[-1] - complete["start_s"].iloc[0]) < 2 * _DAY_S:
        return Trend(None, False, "too_short", None, notes=("A trend needs 20 half-cycles over two days.",))
    days = ((complete["end_s"] - complete["end_s"].iloc[-1]) / _DAY_S).to_numpy()
    peaks = complete["peak_dew_point_c"].to_numpy()
    design = np.column_stack([np.ones_like(days), days])
    beta, *_ = np.linalg.lstsq(design, peaks, rcond=None)
    residual = peaks - design @ beta
    rho = float(np.clip(np.corrcoef(residual[1:], residual[:-1])[0, 1], 0, 0.99)) if residual.std() > 0 else 0.0
    inflate = np.sqrt((1 + rho) / (1 - rho))
    error = residual.std(ddof=2) / np.sqrt(((days - days.mean()) ** 2).sum()) * inflate
    slope = Estimate.ordered(float(beta[1]), float(beta[1] - 2 * error), float(beta[1] + 2 * error))
    span = days[-1] - days[0]
    rising = slope.low > 0 and slope.value * span >= 1.0
    falling = slope.high < 0 and slope.value * span <= -1.0
    return Trend(slope, False, "rising" if rising else "falling" if falling else "steady", None, raw_c_per_day=slope)
