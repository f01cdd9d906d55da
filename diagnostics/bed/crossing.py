"""How much longer each single half-cycle could have run, under the load that followed it.

Question: when would the leaving air have reached the limit had this tower dried on? Input: a fitted front, the
half-cycles, the load. Output: seconds beyond the end of each half-cycle, negative where the limit came before it.
"""

from __future__ import annotations

import numpy as np

from diagnostics.bed.duty import Duty
from diagnostics.bed.tail import Front, TailPoints
from diagnostics.cycle.record import Cycle
from diagnostics.log.record import Floats, ScreenedLog

_STEPS = 60
_HORIZON = 40.0


def own_leads(front: Front, points: TailPoints) -> dict[int, float]:
    """Lead of each half-cycle over the pooled front in ln y, drawn towards its tower's as far as noise asks."""
    leads: dict[int, float] = {}
    tower = front.values[5] * points.side
    predicted = _log_front(front, points, tower)
    plateau = front.values[0] + front.values[1] * points.log_flow
    seen = np.exp(points.log_moisture) - np.exp(plateau)
    rows, first = np.unique(points.half_cycle, return_index=True)
    ends = np.append(first[1:], points.half_cycle.size)
    for row, begin, end in zip(rows, first, ends, strict=True):
        last = slice(max(begin, end - 4), end)
        above = seen[last]
        clear = above > 0.25 * np.exp(plateau[last])
        if not clear.any():
            leads[int(row)] = float(tower[begin])
            continue
        own = np.log(above[clear]) - predicted[last][clear]
        noise = front.residual * np.mean(1.0 + np.exp(plateau[last][clear]) / above[clear]) / np.sqrt(clear.sum())
        trust = front.spread**2 / (front.spread**2 + noise**2 + 1e-12)
        leads[int(row)] = float(tower[begin] + trust * own.mean())
    return leads


def _log_front(front: Front, points: TailPoints, lead: Floats) -> Floats:
    th = front.values
    if front.kind == "exponential":
        shape = th[2] + np.exp(th[3]) * points.loaded
    else:
        shape = front.inlet - np.log(2.0) - 0.5 * (np.maximum(th[2] - points.loaded, 0.0) / np.exp(th[3])) ** 2
    return shape + th[4] * points.log_flow + lead


def seconds_to_limit(
    front: Front, leads: dict[int, float], screened: ScreenedLog, cycle: Cycle, duty: Duty, limit_c: float
) -> dict[int, float]:
    """Seconds from the end of each half-cycle to the limit, had it run on.

    Parameters
    ----------
    front : Front
    leads : dict of int to float
        By row of ``cycle.half_cycles``.
    screened : ScreenedLog
    cycle : Cycle
    duty : Duty
    limit_c : float

    Returns
    -------
    dict of int to float
        By row.
    """
    step_s = duty.nameplate_s / _STEPS
    grid = np.arange(duty.time_s[0], duty.time_s[-1] + step_s, step_s)
    loaded = duty.loaded_at(grid)
    flow = _block_mean(duty, grid)
    table = cycle.half_cycles
    starts, ends = table["start_s"].to_numpy(float), table["end_s"].to_numpy(float)
    result = {}
    for row, lead in leads.items():
        start, end = starts[row], ends[row]
        inside = _reached_inside(screened, start, end, limit_c)
        if inside is not None:
            result[row] = inside - end
            continue
        begun = float(duty.loaded_at(start))
        first = int(np.searchsorted(grid, end))
        window = slice(first, first + int(_HORIZON * _STEPS))
        short = front.loaded_at_limit(flow[window], lead) - (loaded[window] - begun)
        over = np.flatnonzero(short <= 0.0)
        if over.size:
            result[row] = float(_interpolated(grid[window], short, int(over[0]), end) - end)
        else:
            last = float(duty.loaded_at(duty.time_s[-1]) - begun)
            left = max(float(front.loaded_at_limit(0.0, lead)) - last, 0.0)
            result[row] = float(duty.time_s[-1] - end + left * duty.nameplate_s / duty.mean)
    return result


def observed_seconds(screened: ScreenedLog, cycle: Cycle, limit_c: float) -> Floats:
    """Seconds from the end of each complete half-cycle back to the limit, as seen; infinite where not reached."""
    table = cycle.complete
    starts, ends = table["start_s"].to_numpy(float), table["end_s"].to_numpy(float)
    seen = [_reached_inside(screened, start, end, limit_c) for start, end in zip(starts, ends, strict=True)]
    return np.array([np.inf if at is None else at - end for at, end in zip(seen, ends, strict=True)])


def _block_mean(duty: Duty, grid: Floats) -> Floats:
    total = np.concatenate([[0.0], np.cumsum(duty.log_flow)])
    half = 0.5 * (grid[1] - grid[0]) if grid.size > 1 else 0.0
    low, high = np.searchsorted(duty.time_s, grid - half), np.searchsorted(duty.time_s, grid + half)
    count = high - low
    mean = (total[high] - total[low]) / np.maximum(count, 1)
    return np.where(count > 0, mean, np.interp(grid, duty.time_s, duty.log_flow))


def _interpolated(grid: Floats, short: Floats, first: int, end: float) -> float:
    if first == 0:
        return max(end, float(grid[0]))
    before, after = short[first - 1], short[first]
    return float(grid[first - 1] + (grid[first] - grid[first - 1]) * before / (before - after))


def _reached_inside(screened: ScreenedLog, start: float, end: float, limit_c: float) -> float | None:
    """Instant from which the reading stays above the limit up to the end of the half-cycle, None where it does not."""
    first, last = np.searchsorted(screened.log.time_s, (start, end))
    readings = screened.dew_point_c[first:last]
    valid = np.isfinite(readings)
    if valid.sum() < 2:
        return None
    when, readings = screened.log.time_s[first:last][valid], readings[valid]
    below = np.flatnonzero(readings <= limit_c)
    if below.size == 0:
        return float(start)
    if below[-1] >= readings.size - 2:
        return None
    return float(when[below[-1] + 1])
