"""Changeovers told by a column of the supply side: a compressor's or a panel's pressure named with the log.

First the rhythm in running time, as for any trace; where the compressor runs too little at a time for that, its single
dips. Either way a changeover is laid on the reading that shows its dip.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diagnostics.cycle.clock import Piece
from diagnostics.cycle.dip_clock import follow_dips, on_their_dips
from diagnostics.cycle.dips import Dips, dip_comb, dips_of, liveliest
from diagnostics.cycle.folding import fold
from diagnostics.cycle.record import ControlSpan
from diagnostics.cycle.rhythm import Comb
from diagnostics.cycle.running import RunningClock, named_column, running_clocks
from diagnostics.cycle.switching import Switching
from diagnostics.cycle.timer import Stretch
from diagnostics.cycle.tracking import Course
from diagnostics.log.record import Floats, Log

MOST_COLUMNS = 8
LEAST_LEVELS = 8
"""Different values under load from which a column counts as a measurement and not as a flag."""


def by_supply_side(running: Switching | None, log: Log, header: str) -> Switching | None:
    """Switchovers in running time, laid on the dips of a named column, or found by those dips where there are none.

    Parameters
    ----------
    running : Switching or None
        As its rhythm in running time gave them.
    log : Log
    header : str
        Title of the column.
    """
    if running is None or running.clock is None:
        return find_by_dips(log, header)
    return laid_on_dips(running, log, header, running.clock)


def find_by_dips(log: Log, header: str) -> Switching | None:
    """Switchovers of a timer that counts running time, from the dips of a named column; None where chance would do.

    Parameters
    ----------
    log : Log
    header : str
        Title of the column.
    """
    values = np.asarray(named_column(log, header), dtype=float)
    clock = liveliest(running_clocks(log), header, values)
    if clock is None:
        return None
    dips = dips_of(values, _beside(log, header, clock), clock)
    comb = dip_comb(dips, log.interval_s) if dips is not None else None
    if dips is None or comb is None:
        return None
    course = follow_dips(dips, comb, clock, log.time_s, log.interval_s)
    if course is None or course.switchovers_s.size < 2:
        return None
    start, end = float(log.time_s[0]), float(log.time_s[-1])
    spans = [ControlSpan(course.start_s, course.end_s, "fixed")]
    if course.start_s > start:
        spans.insert(0, ControlSpan(start, course.start_s, "unresolved"))
    if course.end_s < end:
        spans.append(ControlSpan(course.end_s, end, "unresolved"))
    towers = tuple("BA"[i % 2] for i in range(course.switchovers_s.size))
    half, error = course.half_cycle_s, course.half_cycle_error_s
    timed = Course(
        half,
        error,
        course.degrees_of_freedom,
        float(course.switchovers_s[0]),
        0.5 * log.interval_s,
        (Piece(course.start_s, course.end_s, 0.0),),
        False,
        fold(dips.at_s, dips.depth, half, log.interval_s, comb.phase_s),
        comb.phase_s,
        float((course.end_s - course.start_s) / max(end - start, 1e-9)),
        1.0,
        error / half,
    )
    return Switching(
        [Stretch(course.start_s, course.end_s, course.switchovers_s, towers)],
        spans,
        Comb(half, 1.0, comb.false_alarm_probability),
        timed,
        notes=(
            f"The timer counts only while the compressor is loaded, as the column {clock.column!r} shows it; its"
            f" changeovers are the readings at which {header!r} falls short under load.",
        ),
    )


def laid_on_dips(switching: Switching, log: Log, header: str, clock: RunningClock) -> Switching:
    """Switchovers moved to the reading next to them that shows a dip of the named column, where one does."""
    dips = dips_of(np.asarray(named_column(log, header), dtype=float), (), clock)
    if dips is None:
        return switching
    return replace(switching, stretches=[_laid(stretch, dips, log, clock) for stretch in switching.stretches])


def _laid(stretch: Stretch, dips: Dips, log: Log, clock: RunningClock) -> Stretch:
    run_s = np.interp(stretch.switchovers_s, log.time_s, clock.run_s)
    moved = clock.to_wall(log.time_s, on_their_dips(dips, run_s, log.interval_s))
    near = np.abs(moved - stretch.switchovers_s) <= 2.0 * log.interval_s
    return replace(stretch, switchovers_s=np.where(near, moved, stretch.switchovers_s))


def _beside(log: Log, header: str, clock: RunningClock) -> list[Floats]:
    """Other measured columns of the log."""
    columns = {**log.other, **{key: log.channels[key] for key in ("pressure", "power", "flow") if key in log.channels}}
    named = np.asarray(named_column(log, header), dtype=float)
    measured = []
    for values in columns.values():
        under_load = np.asarray(values, dtype=float)[clock.on]
        under_load = under_load[np.isfinite(under_load)]
        same = np.array_equal(values, named, equal_nan=True)
        if not same and np.unique(under_load).size >= LEAST_LEVELS:
            measured.append(np.asarray(values, dtype=float))
    return measured[:MOST_COLUMNS]
