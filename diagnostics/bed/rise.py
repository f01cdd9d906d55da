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
_MOST, _FEWEST = 400, 4
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
    readings = np.maximum(lasts - firsts, 0)
    row = np.repeat(np.arange(rows.size), readings)
    place = np.arange(row.size) + np.repeat(firsts - np.cumsum(readings) + readings, readings)
    valid = screened.used[place] & np.isfinite(screened.dew_point_c[place])
    row, place = row[valid], place[valid]
    seen = np.bincount(row, minlength=rows.size)
    parts = np.minimum(seen, _PARTS)
    which = ((time_s[place] - starts[row]) / (ends - starts)[row] * parts[row]).astype(np.int64)
    key = row * _PARTS + np.minimum(which, parts[row] - 1)
    shape = (rows.size, _PARTS)
    count = np.bincount(key, minlength=rows.size * _PARTS).reshape(shape)
    total = np.bincount(key, screened.dew_point_c[place], rows.size * _PARTS).reshape(shape)
    filled = count > 0
    mean = total / np.maximum(count, 1)
    number = np.cumsum(filled, axis=1)
    later = filled & (number > (number[:, -1:] * _SETTLED_SHARE).astype(np.int64))
    floor = np.where(later, mean, np.inf).min(axis=1, initial=np.inf)
    last = _PARTS - 1 - np.argmax(filled[:, ::-1], axis=1)
    return np.asarray((mean[np.arange(rows.size), last] - floor)[seen >= _FEWEST])
