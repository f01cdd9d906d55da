"""One row per half-cycle: when, which tower, and its spike, floor, peak, end and mean.

Readings are as shown. The spike is the rise just after the switchover and has passed where the trace has come down from
it; the peak is the highest reading after that. A rise that was under way before the next switchover and only turns just
after it is still this half-cycle's peak.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from diagnostics.air.humidity import dew_point_c
from diagnostics.cycle.record import HALF_CYCLE_COLUMNS, no_half_cycles
from diagnostics.cycle.timer import Stretch
from diagnostics.log.record import Flags, Floats, ScreenedLog

PASSED = 0.1
"""Share of its height above the floor to which a spike must have fallen to count as passed."""
FLUSHED, ANSWER, LONGEST_ANSWER = 0.15, 0.2, 0.3
"""Shares of a half-cycle that are the answer to the switchover: until the other tower's air is flushed out of line
and probe (no floor before), and within which its spike passes (no peak before the second, none excluded after the
third)."""
CARRY = 0.2
"""Share of a half-cycle within which a rise from the one before may still climb."""
LEAST_SEEN = 0.8
LEAST_NOISE_C = 0.02


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
    start, end, towers, closed = _spans(stretches)
    if not towers:
        return no_half_cycles()
    first, last = np.searchsorted(screened.log.time_s, (start, end))
    inside = np.concatenate([[0], np.cumsum(screened.used)])
    seen = inside[last] - inside[first]
    blind = inside[-1] == 0
    shown = (last > first) & ((seen > 0) | blind)
    numbers = np.full((start.size, 5), np.nan)
    whole = shown & (seen == last - first)
    for count in np.unique((last - first)[whole]):
        rows = np.flatnonzero(whole & (last - first == count))
        numbers[rows] = _describe(screened, first[rows], int(count), closed[rows])
    for row in np.flatnonzero(shown & (seen > 0) & ~whole):
        numbers[row] = _describe_broken(screened, int(first[row]), int(last[row]))
    enough = blind | (seen >= LEAST_SEEN * (end - start) / screened.log.interval_s)
    named = pd.Series([tower for tower, seen_one in zip(towers, shown.tolist(), strict=True) if seen_one], dtype=object)
    columns = (start[shown], end[shown], named, (closed & enough)[shown], *numbers[shown].T)
    return pd.DataFrame(dict(zip(HALF_CYCLE_COLUMNS, columns, strict=True)))


def _spans(stretches: list[Stretch]) -> tuple[Floats, Floats, list[str | None], Flags]:
    """Starts, ends, towers of all half-cycles and whether both ends are switchovers."""
    other = {"A": "B", "B": "A", None: None}
    starts, ends, closed = [np.zeros(0)], [np.zeros(0)], [np.zeros(0, dtype=bool)]
    all_towers: list[str | None] = []
    for number, stretch in enumerate(stretches):
        times, towers = stretch.switchovers_s, list(stretch.towers)
        adjoins = number > 0 and stretch.start_s - stretches[number - 1].end_s < 1.0
        if adjoins and all_towers:
            ends[-1][-1], closed[-1][-1] = times[0], True
        elif not adjoins and times[0] > stretch.start_s:
            times, towers = np.concatenate([[stretch.start_s], times]), [other[towers[0]], *towers]
        bounds = np.append(times, stretch.end_s)
        whole = (np.arange(times.size) > times.size - len(stretch.towers) - 1) & (
            np.arange(times.size) < times.size - 1
        )
        kept = bounds[1:] > bounds[:-1]
        if kept.any():
            starts.append(bounds[:-1][kept])
            ends.append(bounds[1:][kept])
            closed.append(whole[kept])
            all_towers += [tower for tower, keep in zip(towers, kept.tolist(), strict=True) if keep]
    return np.concatenate(starts), np.concatenate(ends), all_towers, np.concatenate(closed)


def _describe(screened: ScreenedLog, first: np.ndarray, count: int, closed: Flags) -> Floats:
    """Peak, floor, end, mean and spike [degC] of half-cycles of equally many readings, none missing."""
    place = first[:, None] + np.arange(count)[None, :]
    dew = screened.dew_point_c[place]
    numbers = _numbers(dew, max(screened.resolution_c, LEAST_NOISE_C))
    numbers[:, 3] = _mean_dew_point(screened, screened.moisture[place].mean(axis=1), place[:, 0])
    carried = _carried(screened, dew, first + count, max(1, int(np.ceil(CARRY * count))))
    numbers[:, 0] = np.where(closed, np.fmax(numbers[:, 0], carried), numbers[:, 0])
    return numbers


def _describe_broken(screened: ScreenedLog, first: int, last: int) -> Floats:
    """The same for one half-cycle with readings missing."""
    inside = screened.used[first:last]
    numbers = _numbers(screened.dew_point_c[first:last][inside][None, :], max(screened.resolution_c, LEAST_NOISE_C))
    mean = screened.moisture[first:last][inside].mean()
    numbers[:, 3] = _mean_dew_point(screened, np.array([mean]), np.array([first]))
    return numbers[0]


def _numbers(dew: Floats, noise: float) -> Floats:
    """Peak, floor, end, a place for the mean, and spike of each row of readings."""
    n = dew.shape[1]
    early, latest = min(n - 1, int(np.ceil(ANSWER * n))), min(n - 1, int(np.ceil(LONGEST_ANSWER * n)))
    floor = dew[:, min(n - 1, int(np.ceil(FLUSHED * n))) :].min(axis=1)
    top = dew[:, : latest + 1].argmax(axis=1)
    highest = dew[np.arange(dew.shape[0]), top]
    low = dew <= (floor + np.maximum(PASSED * (highest - floor), noise))[:, None]
    low &= np.arange(n)[None, :] >= top[:, None]
    passed = np.where(low.any(axis=1), low.argmax(axis=1), n)
    after = np.clip(passed, early, latest)
    settled = np.arange(n)[None, :] >= after[:, None]
    peak = np.where(settled, dew, -np.inf).max(axis=1)
    answer = np.where(np.arange(n)[None, :] <= after[:, None], dew, -np.inf).max(axis=1)
    return np.stack([peak, floor, dew[:, -1], np.zeros_like(peak), answer], axis=1)


def _mean_dew_point(screened: ScreenedLog, mean_moisture: Floats, at: np.ndarray) -> Floats:
    return np.asarray(dew_point_c(mean_moisture, screened.conditions.pressure_bar[at]), dtype=np.float64)


def _carried(screened: ScreenedLog, dew: Floats, after: np.ndarray, reach: int) -> Floats:
    """Highest reading of a rise that was under way at the end and climbs on without a jump; NaN where none was."""
    if dew.shape[1] < 3:
        return np.full(dew.shape[0], np.nan)
    noise = max(screened.resolution_c, LEAST_NOISE_C)
    rate = (dew[:, -1] - dew[:, -3]) / 2.0
    highest = dew[:, -1].copy()
    climbing = rate > noise
    for step in range(reach):
        at = np.minimum(after + step, screened.used.size - 1)
        value = screened.dew_point_c[at]
        climbing &= screened.used[at] & (after + step < screened.used.size)
        climbing &= (value > highest) & (value <= highest + 2.0 * rate + noise)
        if not climbing.any():
            break
        highest = np.where(climbing, value, highest)
    return np.where(rate > noise, highest, np.nan)
