"""The series the rhythm is read from: logarithm of moisture, or another column the user named, on used readings.

Moisture and not dew point, because a tail, a spike and the probe's lag are exponential or linear in moisture; its
logarithm, because a swing then keeps its size when the level drifts with the load.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.record import Floats, ScreenedLog

LONGEST_GRID = 40_000_000
"""Cells of the evenly spaced series at most; logs taken months apart are drawn together where they would pass it."""


@dataclass(frozen=True)
class Trace:
    """A series without missing readings.

    Attributes
    ----------
    time_s, value : ndarray, shape (n,)
        Epoch seconds, strictly ascending; ln(mol/mol), or the named column's own unit.
    interval_s : float
        Usual step [s].
    breaks : ndarray of int
        Index of the first reading after each hole of more than three intervals.
    plate_s : float or None
        The timer's setting, where the plant file gives it [s].
    of_moisture : bool
        Whether the values are ln(mol/mol).
    """

    time_s: Floats
    value: Floats
    interval_s: float
    breaks: np.ndarray
    plate_s: float | None = None
    of_moisture: bool = False

    @property
    def duration_s(self) -> float:
        """From first to last reading [s]."""
        return float(self.time_s[-1] - self.time_s[0]) if self.time_s.size else 0.0

    def part(self, start_s: float, end_s: float) -> Trace:
        """Readings with ``start_s <= time < end_s``."""
        first, last = np.searchsorted(self.time_s, (start_s, end_s))
        part = trace_of(self.time_s[first:last], self.value[first:last], self.interval_s)
        return replace(part, plate_s=self.plate_s, of_moisture=self.of_moisture)

    def pieces(self) -> list[tuple[int, int]]:
        """Index ranges without a hole in them."""
        edges = [0, *self.breaks.tolist(), int(self.time_s.size)]
        return [(a, b) for a, b in itertools.pairwise(edges) if b > a]


def trace_of(time_s: Floats, value: Floats, interval_s: float) -> Trace:
    """Series of the finite values."""
    good = np.isfinite(value)
    time_s, value = time_s[good], value[good]
    breaks = np.flatnonzero(np.diff(time_s) > 3.0 * interval_s) + 1
    return Trace(time_s, value, interval_s, breaks)


def moisture_trace(screened: ScreenedLog) -> Trace:
    """Logarithm of moisture on used readings."""
    wet = np.where(screened.used & (screened.moisture > 0), screened.moisture, np.nan)
    return replace(trace_of(screened.log.time_s, np.log(wet), screened.log.interval_s), of_moisture=True)


def named_trace(screened: ScreenedLog, header: str) -> Trace:
    """Another numeric column of the log, by its title.

    Raises
    ------
    InputError
        If the log has no such numeric column.
    """
    log = screened.log
    titles = {column.header: log.channels[key] for key, column in log.columns.items()}
    known = {**log.channels, **titles, **log.other}
    if header not in known:
        names = ", ".join(sorted({*log.other, *titles})) or "none"
        raise InputError(f"{log.source}: no numeric column {header!r} to take the rhythm from; there are: {names}.")
    return trace_of(log.time_s, np.asarray(known[header], dtype=float), log.interval_s)


def even_grid(trace: Trace) -> tuple[Floats, float]:
    """The series on evenly spaced instants, straight across holes, and their step [s].

    Holes are bridged by a straight line: it adds no power at a rhythm's frequencies.
    """
    step = trace.interval_s
    cells = round(trace.duration_s / step) + 1
    cells = min(cells, LONGEST_GRID)
    grid = trace.time_s[0] + step * np.arange(cells)
    return np.interp(grid, trace.time_s, trace.value), step
