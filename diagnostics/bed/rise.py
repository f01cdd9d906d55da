"""Whether half-cycles rise towards their end: from the floor to the last readings, noise averaged out.

Question: by how much does the dew point rise within a half-cycle? Input: readings and half-cycles. Output: kelvin, or
None where too few readings fall into a half-cycle. Means of neighbouring readings stand for single ones, because the
lowest of many noisy readings lies below the true floor.
"""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.record import Cycle
from diagnostics.log.record import Floats, ScreenedLog

_PARTS = 12
_MOST = 400
_SETTLED_SHARE = 0.25
"""The floor is sought after this share of the half-cycle, when the switchover spike has passed or is passing."""


def rises_k(screened: ScreenedLog, cycle: Cycle, rows: np.ndarray) -> Floats:
    """Rise of each half-cycle from its floor to its end [K], shape (m,), m <= rows; evenly thinned above 400.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    rows : ndarray of int
        Rows of ``cycle.half_cycles``.
    """
    if rows.size > _MOST:
        rows = rows[np.linspace(0, rows.size - 1, _MOST).astype(int)]
    time_s = screened.log.time_s
    starts, ends = (cycle.half_cycles[c].to_numpy(float)[rows] for c in ("start_s", "end_s"))
    firsts, lasts = np.searchsorted(time_s, starts), np.searchsorted(time_s, ends)
    rises = []
    for start, end, first, last in zip(starts, ends, firsts, lasts, strict=True):
        valid = screened.used[first:last] & np.isfinite(screened.dew_point_c[first:last])
        if valid.sum() < 4:
            continue
        when = time_s[first:last][valid]
        parts = min(_PARTS, int(valid.sum()))
        which = np.minimum(((when - start) / (end - start) * parts).astype(int), parts - 1)
        count = np.bincount(which, minlength=parts)
        total = np.bincount(which, screened.dew_point_c[first:last][valid], parts)
        mean = total[count > 0] / count[count > 0]
        later = mean[int(mean.size * _SETTLED_SHARE) :]
        rises.append(float(later[-1] - later.min()))
    return np.asarray(rises)
