"""Switchovers of a timer that counts only while a column of the log is at one of its two levels."""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.control import timed
from diagnostics.cycle.echo import is_echo
from diagnostics.cycle.record import ControlSpan
from diagnostics.cycle.rhythm import LEAST_READINGS
from diagnostics.cycle.running import RunningClock, named_column, on_running_time, running_clocks, stands_still
from diagnostics.cycle.switching import Switching
from diagnostics.cycle.timer import Stretch
from diagnostics.cycle.trace import Trace
from diagnostics.cycle.tracking import whole_course
from diagnostics.log.record import Floats, Log

LEAST_RUNNING = 12
"""Switchovers that a running clock must show: with several clocks to choose from, fewer could be chance."""


def find_running_switching(trace: Trace, log: Log, plain: Switching | None, prefer: str | None) -> Switching | None:
    """Switchovers of a timer that counts only while a column is at one of its two levels, where that fits better.

    Parameters
    ----------
    trace : Trace
        Against the wall clock.
    log : Log
    plain : Switching or None
        What was found against the wall clock.
    prefer : str, optional
        Column to try first.
    """
    best: tuple[float, Switching, RunningClock] | None = None
    for clock in running_clocks(log, prefer):
        own = prefer is not None and clock.idle_side and clock.column == prefer
        if own or (prefer is not None and stands_still(named_column(log, prefer), clock)):
            continue
        running = on_running_time(trace, log.time_s, clock)
        if running.time_s.size < 40:
            continue
        timer = whole_course(running)
        if timer is None or timer[1].half_cycle_s < LEAST_READINGS * trace.interval_s or is_echo(running, timer[1]):
            continue
        comb, course = timer
        found = timed(running, comb, course)
        if _at_joins(found, clock, trace.interval_s):
            continue
        fit = course.coherence * course.present_share
        if fit > _explained(plain, log.time_s[clock.on]) + 0.1 and (best is None or fit > best[0]):
            best = (fit, found, clock)
    if best is None:
        return None
    return _on_wall(best[1], best[2], log.time_s, float(trace.time_s[0]), float(trace.time_s[-1]))


def _explained(plain: Switching | None, time_s: Floats) -> float:
    """How well the wall clock explains the whole log or the readings at these instants, whichever it does better."""
    if plain is None or plain.course is None:
        return 0.0
    inside = np.zeros(time_s.size, dtype=bool)
    for piece in plain.course.pieces:
        inside |= (time_s >= piece.start_s) & (time_s <= piece.end_s)
    return plain.course.coherence * max(float(inside.mean()), plain.course.present_share)


def _at_joins(switching: Switching, clock: RunningClock, interval_s: float) -> bool:
    """Whether the switchovers found are few, or only the instants at which the compressor starts again."""
    joins = clock.run_s[1:][clock.on[1:] & ~clock.on[:-1]]
    at = np.concatenate([np.zeros(0), *(stretch.switchovers_s for stretch in switching.stretches)])
    if at.size < LEAST_RUNNING:
        return True
    if joins.size == 0:
        return False
    place = np.clip(np.searchsorted(joins, at), 1, max(1, joins.size - 1))
    apart = np.minimum(np.abs(at - joins[place - 1]), np.abs(at - joins[np.minimum(place, joins.size - 1)]))
    return bool(np.mean(apart <= 2.5 * interval_s) > 0.5)


def _on_wall(switching: Switching, clock: RunningClock, time_s: Floats, start_s: float, end_s: float) -> Switching:
    def wall(run_s: Floats | list[float]) -> Floats:
        return clock.to_wall(time_s, np.asarray(run_s, dtype=float))

    stretches = []
    for s in switching.stretches:
        bounds = wall([s.start_s, s.end_s])
        stretches.append(Stretch(float(bounds[0]), float(bounds[1]), wall(s.switchovers_s), s.towers))
    spans = [ControlSpan(float(wall([s.start_s])[0]), float(wall([s.end_s])[0]), s.control) for s in switching.spans]
    spans[0] = ControlSpan(start_s, spans[0].end_s, spans[0].control)
    spans[-1] = ControlSpan(spans[-1].start_s, end_s, spans[-1].control)
    note = f"The timer counts only while the compressor runs, as the column {clock.column!r} shows it."
    return Switching(stretches, spans, switching.comb, switching.course, None, (note,), clock)
