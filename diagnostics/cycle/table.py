"""One row per half-cycle: when, which tower, and its spike, floor, peak, end and mean.

Readings are as shown. The spike is the rise just after the switchover and has passed where the trace has come down from
it; the peak is the highest reading after that. A rise that was under way before the next switchover and only turns just
after it is still this half-cycle's peak.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from diagnostics.cycle.record import HALF_CYCLE_COLUMNS, no_half_cycles
from diagnostics.cycle.timer import Stretch
from diagnostics.log.record import Floats, ScreenedLog

PASSED = 0.1
"""Share of its height above the floor to which a spike must have fallen to count as passed."""
FLUSHED, ANSWER, LONGEST_ANSWER = 0.15, 0.2, 0.3
"""Shares of a half-cycle that are the answer to the switchover: until the other tower's air is flushed out of line
and probe (no floor before), and within which its spike passes (no peak before the second, none excluded after the
third)."""
CARRY = 0.2
"""Share of a half-cycle within which a rise from the one before may still climb."""
LEAST_SEEN = 0.8


def half_cycle_table(screened: ScreenedLog, stretches: list[Stretch]) -> pd.DataFrame:
    """Describe every half-cycle.

    Parameters
    ----------
    screened : ScreenedLog
    stretches : list of Stretch
        Ascending, with their switchovers.

    Returns
    -------
    DataFrame
        Rows at the ends of a stretch and rows with a fifth or more of their readings missing are not complete.
    """
    spans = _spans(stretches)
    if not spans:
        return no_half_cycles()
    without = not screened.used.any()
    rows = [row for span in spans if (row := _row(screened, *span, without)) is not None]
    if not rows:
        return no_half_cycles()
    return pd.DataFrame(rows, columns=list(HALF_CYCLE_COLUMNS)).reset_index(drop=True)


def _spans(stretches: list[Stretch]) -> list[tuple[float, float, str | None, bool]]:
    """Start, end, tower and whether both ends are switchovers, of every half-cycle."""
    other = {"A": "B", "B": "A", None: None}
    spans: list[tuple[float, float, str | None, bool]] = []
    for number, stretch in enumerate(stretches):
        times, towers = stretch.switchovers_s, stretch.towers
        adjoins = number > 0 and stretch.start_s - stretches[number - 1].end_s < 1.0
        if not adjoins and times[0] > stretch.start_s:
            spans.append((stretch.start_s, float(times[0]), other[towers[0]], False))
        if adjoins and spans:
            start, _, tower, _ = spans.pop()
            spans.append((start, float(times[0]), tower, True))
        bounds = [*times.tolist(), stretch.end_s]
        for i, tower in enumerate(towers):
            if bounds[i + 1] > bounds[i]:
                spans.append((bounds[i], bounds[i + 1], tower, i + 1 < len(towers)))
    return spans


def _row(
    screened: ScreenedLog, start_s: float, end_s: float, tower: str | None, closed: bool, without_dew_point: bool
) -> tuple | None:
    time_s = screened.log.time_s
    first, last = np.searchsorted(time_s, (start_s, end_s))
    if last == first:
        return None
    inside = screened.used[first:last]
    if not inside.any():
        # the switchovers were read from another column
        nothing = (float("nan"),) * 5
        return (start_s, end_s, tower, bool(closed and without_dew_point), *nothing) if without_dew_point else None
    dew = screened.dew_point_c[first:last][inside]
    later = int(np.searchsorted(time_s, end_s + CARRY * (end_s - start_s)))
    following = screened.dew_point_c[last:later][screened.used[last:later]]
    expected = (end_s - start_s) / screened.log.interval_s
    complete = bool(closed and inside.sum() >= LEAST_SEEN * expected)
    noise = max(screened.resolution_c, 0.02)
    carried = _carried(dew, following, noise) if closed else None
    moisture = screened.moisture[first:last][inside]
    return (start_s, end_s, tower, complete, *_describe(dew, moisture, carried, noise))


def _carried(dew: Floats, following: Floats, noise: float) -> float | None:
    """Highest reading of a rise that was under way at the end and climbs on without a jump."""
    if dew.size < 3 or following.size == 0:
        return None
    rate = float(dew[-1] - dew[-3]) / 2.0
    if rate <= noise:
        return None
    highest = float(dew[-1])
    for value in following:
        if not highest < value <= highest + 2.0 * rate + noise:
            break
        highest = float(value)
    return highest


def _describe(
    dew: Floats, moisture: Floats, carried: float | None, noise: float
) -> tuple[float, float, float, float, float]:
    """Peak, floor, end, mean and spike [degC]."""
    n = dew.size
    first, latest = min(n - 1, int(np.ceil(ANSWER * n))), min(n - 1, int(np.ceil(LONGEST_ANSWER * n)))
    settled = min(n - 1, int(np.ceil(FLUSHED * n)))
    floor = float(dew[settled:].min())
    top = int(np.argmax(dew[: latest + 1]))
    passed = np.flatnonzero(dew[top:] <= floor + max(PASSED * float(dew[top] - floor), noise))
    after = int(np.clip(top + passed[0] if passed.size else n, first, latest))
    peak = float(dew[after:].max())
    if carried is not None:
        peak = max(peak, carried)
    order = np.argsort(moisture)
    mean = float(np.interp(moisture.mean(), moisture[order], dew[order]))
    return peak, floor, float(dew[-1]), mean, float(dew[: after + 1].max())
