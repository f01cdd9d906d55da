"""From which instant a heated tower dries, where its hottest air comes later than the switchover.

Question: do the half-cycles begin where the trace starts to answer? Input: readings and half-cycles. Output: the
half-cycles, all moved back by one time where the trace departs before their start. A bed that was not cooled through
sends its wet, warm air minutes after the switchover; half-cycles that are counted from there end with the next
switchover's first answer, which would pass for a rise of their own. Method: half-cycles are laid on top of each other;
a front is smooth, a switchover is a kink that the readings before it do not foretell.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diagnostics.cycle.record import Cycle
from diagnostics.log.record import Floats, ScreenedLog

_FARTHEST = 0.15
"""How far before the half-cycle's start its true one is sought, as a share of it."""
_LEAST_READINGS = 60
_FORETOLD_FROM = 12
"""Readings from which the next three are foretold."""
_LEAST_KINK_K, _KINK_OVER_NOISE = 1.0, 8.0
_NEAR = 2
"""Readings within which a start is right as it stands."""
_APART = 3
"""Readings between two kinks of one disturbance at most."""
_CLEARER = 1.5
"""How much sharper than what stands at the start an earlier kink has to be."""
_MOST_BACK_SHARE = 0.25
"""A trace that is back at its old level before the half-cycle's start, a valve's stroke say, has not changed over."""
_LEAST_HALF_CYCLES = 4


def from_first_answer(screened: ScreenedLog, cycle: Cycle) -> Cycle:
    """Half-cycles that begin where the trace starts to answer.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
        With half-cycles.

    Returns
    -------
    Cycle
        The same object where nothing departs before the starts; else starts, ends and closing dew points moved.
    """
    at = _first_answer_s(screened, cycle)
    if at is None:
        return cycle
    table = cycle.half_cycles.copy()
    first, last = screened.log.time_s[0], screened.log.time_s[-1]
    for column in ("start_s", "end_s"):
        table[column] = np.clip(table[column].to_numpy(float) + at, first, last)
    table["complete"] = table["complete"] & (table["start_s"] > first)
    table["end_dew_point_c"] = _closing_c(screened, table["end_s"].to_numpy(float), table["start_s"].to_numpy(float))
    return replace(cycle, half_cycles=table)


def _first_answer_s(screened: ScreenedLog, cycle: Cycle) -> float | None:
    """How long before the half-cycles' starts the trace departs, negative [s]; None where it does not."""
    complete = cycle.complete
    usable = screened.used & np.isfinite(screened.dew_point_c)
    time_s, dew_c = screened.log.time_s[usable], screened.dew_point_c[usable]
    if cycle.half_cycle_s is None or len(complete) < _LEAST_HALF_CYCLES or time_s.size < _LEAST_READINGS:
        return None
    step_s = float(np.median(np.diff(time_s)))
    back = int(_FARTHEST * cycle.half_cycle_s.value / step_s)
    if cycle.half_cycle_s.value < _LEAST_READINGS * step_s:
        return None
    index = np.arange(-back - _FORETOLD_FROM, _NEAR + 3)
    starts = complete["start_s"].to_numpy(float)
    starts = starts[starts + step_s * index[0] >= time_s[0]]
    if starts.size < _LEAST_HALF_CYCLES:
        return None
    curve = np.median(np.interp(starts[:, None] + step_s * index, time_s, dew_c), axis=0)
    sharpness = _sharpness(curve)
    kinks = np.flatnonzero(sharpness > 1.0)
    if kinks.size == 0:
        return None
    disturbance = np.cumsum(np.diff(kinks, prepend=kinks[0]) > _APART)
    sharpest = disturbance == disturbance[np.argmax(sharpness[kinks])]
    at = int(index[_FORETOLD_FROM + kinks[sharpest][0]])
    others = kinks[~sharpest]
    here = sharpness[others[np.abs(index[_FORETOLD_FROM + others]) <= _NEAR]]
    if at >= -_NEAR or sharpness.max() <= _CLEARER * float(here.max(initial=0.0)):
        return None
    left = at - int(index[0])
    back_again = np.mean(np.abs(curve[left : left - at] - curve[left - 1]) < _LEAST_KINK_K) > _MOST_BACK_SHARE
    return None if back_again else at * step_s


def _sharpness(curve: Floats) -> Floats:
    """By how much a reading and one of the next two leave the parabola through those before, over what noise may do."""
    before = np.arange(-_FORETOLD_FROM, 0.0)
    powers = np.vander(before, 3)
    through = np.linalg.pinv(powers)
    windows = np.lib.stride_tricks.sliding_window_view(curve, _FORETOLD_FROM + 3)
    fitted = windows[:, :_FORETOLD_FROM] @ through.T
    noise = np.sqrt(np.mean((fitted @ powers.T - windows[:, :_FORETOLD_FROM]) ** 2, axis=1))
    off = np.abs(windows[:, _FORETOLD_FROM:] - fitted @ np.vander([0.0, 1.0, 2.0], 3).T)
    least = np.maximum(_LEAST_KINK_K, _KINK_OVER_NOISE * noise)
    return np.minimum(off[:, 0], off[:, 1:].max(axis=1)) / least


def _closing_c(screened: ScreenedLog, ends: Floats, starts: Floats) -> Floats:
    """Median of the last three readings of each half-cycle [degC]; NaN where it has none."""
    firsts, lasts = (np.searchsorted(screened.log.time_s, edge) for edge in (starts, ends))
    closing = np.full(ends.size, np.nan)
    for i, (first, last) in enumerate(zip(firsts, lasts, strict=True)):
        readings = screened.dew_point_c[max(first, last - 3) : last]
        readings = readings[np.isfinite(readings)]
        if readings.size:
            closing[i] = float(np.median(readings))
    return closing
