"""Timers that count only while the compressor is loaded: a second clock, and which of the log's columns drives it.

Such a timer stands while the air stands, so its switchovers keep no time on the wall clock. Columns with two clearly
separate levels (a load valve, a motor's current, a delivery pressure) are tried as the flag of a running clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnostics.cycle.trace import Trace, trace_of
from diagnostics.log.record import Flags, Floats, Log

LEAST_OFF = 0.02
MOST_OFF = 0.995
SEPARATE = 0.86
"""Share of a column's variance that its two levels must explain to count as on and off; a sine has 0.81."""
MOST_FLAGS = 12
ALTERNATING = (0.3, 0.7)


@dataclass(frozen=True)
class RunningClock:
    """Seconds run at each reading.

    Attributes
    ----------
    column : str
        Whose level drives the clock.
    on : ndarray of bool
        Running from this reading to the next.
    run_s : ndarray
        Time run before each reading [s].
    idle_side : bool
        Whether the column's lower level is taken as running.
    """

    column: str
    on: Flags
    run_s: Floats
    idle_side: bool

    def to_wall(self, time_s: Floats, run_s: Floats) -> Floats:
        """Wall-clock instants at which so many seconds had been run; the first of them where the clock stood."""
        step = np.concatenate([[True], np.diff(self.run_s) > 0])
        before = np.concatenate([step[1:], [False]])
        keep = step | before
        return np.interp(run_s, self.run_s[keep], time_s[keep])


def running_clocks(log: Log, prefer: str | None = None) -> list[RunningClock]:
    """Clocks worth trying, one for each column of two levels and each of them taken as running."""
    clocks: list[RunningClock] = []
    columns: dict[str, Floats] = dict(log.other)
    columns |= {key: values for key, values in log.channels.items() if key in ("power", "flow", "pressure")}
    if prefer is not None:
        columns = {prefer: named_column(log, prefer), **columns}
    seen: list[Flags] = []
    for name, values in columns.items():
        high = _upper_level(np.asarray(values, dtype=float))
        if high is None:
            continue
        for on in (high, ~high):
            share = float(on.mean())
            alike = any(np.mean(on == other) > 0.9999 for other in seen)
            if not 1.0 - MOST_OFF <= share <= 1.0 - LEAST_OFF or alike:
                continue
            seen.append(on)
            step = np.diff(log.time_s)
            counted = np.where(on[:-1], np.minimum(step, 3.0 * log.interval_s), 0.0)
            clocks.append(RunningClock(name, on, np.concatenate([[0.0], np.cumsum(counted)]), on is not high))
        if len(clocks) >= MOST_FLAGS:
            break
    return clocks


def named_column(log: Log, header: str) -> Floats:
    """A numeric column by its title or quantity."""
    titles: Mapping[str, Floats] = {column.header: log.channels[key] for key, column in log.columns.items()}
    return {**log.channels, **titles, **log.other}[header]


def _upper_level(values: Floats) -> Flags | None:
    """Which readings lie at the upper of two levels; None where there are not two."""
    good = np.isfinite(values)
    if good.sum() < 16:
        return None
    low, high = float(values[good].min()), float(values[good].max())
    if high <= low:
        return None
    for _ in range(20):
        upper = good & (values > 0.5 * (low + high))
        if not upper.any() or upper[good].all():
            return None
        moved = float(values[good & ~upper].mean()), float(values[upper].mean())
        if moved == (low, high):
            break
        low, high = moved
    share = float(upper[good].mean())
    between = share * (1.0 - share) * (high - low) ** 2
    return upper if between >= SEPARATE * float(values[good].var()) else None


def alternates(values: Floats) -> bool:
    """Whether a column spends about as long at its upper level as at its lower, as one vessel's pressure does."""
    high = _upper_level(np.asarray(values, dtype=float))
    return high is None or ALTERNATING[0] <= float(high.mean()) <= ALTERNATING[1]


def stands_still(values: Floats, clock: RunningClock) -> bool:
    """Whether a column moves less while the clock runs than while it stands.

    What a compressor's pressure does while there is no load says nothing of the dryer.
    """
    step = np.abs(np.diff(values))
    running, standing = clock.on[1:] & clock.on[:-1], ~clock.on[1:] & ~clock.on[:-1]
    if not running.any() or not standing.any():
        return False
    return bool(np.nanmean(step[running]) < np.nanmean(step[standing]))


def on_running_time(trace: Trace, time_s: Floats, clock: RunningClock) -> Trace:
    """A trace against time run: readings while standing left out, and what changed meanwhile.

    The first reading after a stand still belongs half to it and is left out too; the runs are joined end to end, so
    that a level reached before a stand and one found after it make no step.
    """
    at = np.searchsorted(time_s, trace.time_s)
    steady = clock.on & np.concatenate([[False], clock.on[:-1]])
    on = steady[at]
    run, value, row = clock.run_s[at][on], trace.value[on], at[on]
    if run.size == 0:
        return trace_of(run, value, trace.interval_s)
    change = np.diff(value)
    change[np.diff(row) > 1] = 0.0
    joined = np.concatenate([[0.0], np.cumsum(change)])
    forward = np.concatenate([[True], np.diff(run) > 0])
    return trace_of(run[forward], joined[forward], trace.interval_s)
