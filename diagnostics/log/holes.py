"""Holes between readings.

Question: where is no reading to judge? Input: stamps and which readings are valid. Output: exclusions ``gap``. A hole
of more than three intervals is a gap (the outside contract's definition).
"""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import Exclusion, Flags, Floats

INTERVALS = 3.05
"""Three intervals and what stamps jitter by."""
_NEIGHBOURS = 5


def find_gaps(time_s: Floats, valid: Flags, interval_s: float) -> list[Exclusion]:
    """Stretches of more than three intervals without a valid reading.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending [s].
    valid : ndarray of bool, shape (n,)
    interval_s : float
        Usual step [s]. Where logs of different steps were joined, the usual step nearby counts if it is longer.

    Returns
    -------
    list of Exclusion
        From the last reading before to the first reading after each hole.
    """
    times = time_s[valid]
    if times.size < 2:
        return []
    steps = np.diff(times)
    wide = np.flatnonzero(steps > INTERVALS * interval_s)
    if wide.size == 0:
        return []
    around = wide[:, None] + np.delete(np.arange(-_NEIGHBOURS, _NEIGHBOURS + 1), _NEIGHBOURS)[None, :]
    inside = (around >= 0) & (around < steps.size)
    nearby = np.where(inside, steps[np.clip(around, 0, steps.size - 1)], np.nan)
    known = inside.any(axis=1)
    usual = np.full(wide.size, interval_s)
    usual[known] = np.maximum(interval_s, np.nanmedian(nearby[known], axis=1))
    return [Exclusion(float(times[i]), float(times[i + 1]), "gap") for i in wide[steps[wide] > INTERVALS * usual]]
