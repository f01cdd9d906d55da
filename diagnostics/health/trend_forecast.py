"""When a rising trend would bring the peaks to the limit.

Question: how many days are left? Input: a `Line`, the limit, the instrument's uncertainty. Output: days from the end of
the log. Method: the band of a future peak about the line (scatter, level, slope, instrument) against the limit.
"""

from __future__ import annotations

import math

from diagnostics.estimate import Estimate
from diagnostics.health.trend_regression import Line

_FARTHEST_D = 36_500.0


def days_to_limit(line: Line, limit_c: float, instrument_k: float) -> Estimate:
    """Days from the end of the log until the peaks reach the limit; 0 where they are there.

    Parameters
    ----------
    line : Line
        Rising, with a slope above nought at the low end of its interval.
    limit_c : float
        [degC]
    instrument_k : float
        Standard uncertainty of the reading [K].

    Returns
    -------
    Estimate
        [d]; bounds where the upper and the lower edge of the 95 % prediction band reach the limit.
    """
    t = line.quantile
    spread = t * math.hypot(line.scatter_k, line.level_error, instrument_k)
    gap = limit_c - line.level_c
    fast, slow = line.slope + t * line.error, max(line.slope - t * line.error, 1e-6)
    value = min(max(gap / line.slope, 0.0), _FARTHEST_D)
    early = max((gap - spread) / fast, 0.0)
    late = max((gap + spread) / slow, 0.0)
    return Estimate.ordered(value, min(early, _FARTHEST_D), min(late, _FARTHEST_D))
