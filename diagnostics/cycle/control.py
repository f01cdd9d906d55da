"""What does each stretch of the log obey: a fixed timer, a set point of dew point, or nothing any more?

A timer is looked for first, by its rhythm over the whole log. Where none is, or where it leaves off, the saw-tooth of
dew-point-dependent switching is looked for by shape. A rhythm that was there, ceases for good and is followed by a
rising dew point is a switching that stopped.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np

from diagnostics.cycle.events import Falls, find_falls, noise_of, smoothed
from diagnostics.cycle.onset import answered_s
from diagnostics.cycle.record import Control, ControlSpan
from diagnostics.cycle.regularity import (
    CLIMB,
    common_length_s,
    is_beyond_doubt,
    keep_no_time,
    keeps_their_time,
    without_endless_climb,
)
from diagnostics.cycle.replay import Rule, rule_of, with_hidden
from diagnostics.cycle.rhythm import LEAST_READINGS, Comb
from diagnostics.cycle.running import RunningClock, named_column, on_running_time, running_clocks, stands_still
from diagnostics.cycle.timer import Stretch, timer_stretches
from diagnostics.cycle.trace import Trace
from diagnostics.cycle.tracking import Course, course_by_parts, follow, is_good, may_be_the_days, whole_course
from diagnostics.log.record import Floats, Log

LEAST_TAIL = 1.5
LEAST_STRETCH = 6.0
"""Usual half-cycles a stretch must last to be judged by itself."""
COHERENT = 0.4
LEAST_RUNNING = 12
"""Switchovers that a running clock must show: with several clocks to choose from, fewer could be chance."""
MOSTLY = 0.5
"""Share of a run's half-cycles that its control must be able to have made."""


@dataclass(frozen=True)
class Switching:
    """Switchovers and what they obey.

    Attributes
    ----------
    stretches : list of Stretch
        Ascending.
    spans : list of ControlSpan
        Ascending, from first to last reading.
    comb, course : Comb, Course or None
        Of the timer.
    falls : list of Falls
        Of dew point control.
    stopped_s : float or None
    clock : RunningClock or None
        Where the timer counts running time.
    """

    stretches: list[Stretch]
    spans: list[ControlSpan]
    comb: Comb | None = None
    course: Course | None = None
    falls: list[Falls] = field(default_factory=list)
    stopped_s: float | None = None
    notes: tuple[str, ...] = ()
    clock: RunningClock | None = None

    @property
    def uncertain(self) -> bool:
        """Whether a timer's rhythm is missing in much of the log or smeared."""
        return self.course is not None and (self.course.present_share < 0.7 or self.course.coherence < COHERENT)


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
        comb, course = whole_course(running) or (None, None)
        if comb is None or course is None or course.half_cycle_s < LEAST_READINGS * trace.interval_s:
            continue
        timed = _timed(running, comb, course)
        if _at_joins(timed, clock, trace.interval_s):
            continue
        fit = course.coherence * course.present_share
        if fit > _explained(plain, log.time_s[clock.on]) + 0.1 and (best is None or fit > best[0]):
            best = (fit, timed, clock)
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
    return Switching(stretches, spans, switching.comb, switching.course, switching.falls, None, (note,), clock)


def find_switching(trace: Trace) -> Switching | None:
    """Switchovers of a trace and the control behind them, or None where nothing stands out of the noise.

    Parameters
    ----------
    trace : Trace
    """
    if trace.time_s.size < 16:
        return None
    least = LEAST_READINGS * trace.interval_s
    timer = whole_course(trace)
    good = timer is not None and is_good(timer[1])
    if timer is not None and good and is_beyond_doubt(timer[1], trace.duration_s):
        return _believed(trace, timer)
    falls = find_falls(trace, least)
    uneven = falls is not None and keep_no_time(falls, trace.interval_s)
    timely = falls is None or timer is None or keeps_their_time(timer[1], falls, trace.interval_s)
    if good and timely:
        believed = _believed(trace, timer)
        if believed is not None or falls is None or not uneven:
            return believed
        timer = None
    if falls is not None and uneven:
        doubtful = timer is None or not timely or timer[1].coherence < COHERENT
        if doubtful or timer is None or _rule_explains(trace, falls, timer[1]):
            return _by_set_point(trace, falls)
    if falls is not None and not uneven and (timer is None or not timely):
        course = follow(trace, common_length_s(falls))
        if course is not None and course.coherence >= COHERENT:
            return _timed(trace, None, course)
    timer = _believable(course_by_parts(trace, timer), least)
    if falls is not None and timer is None:
        return _by_set_point(trace, falls)
    return _timed(trace, *timer) if timer is not None else None


def _rule_explains(trace: Trace, falls: Falls, course: Course) -> bool:
    """Whether a set point and its shortest half-cycle may have made what looks like a timer in parts of the log."""
    seen = answered_s(trace, falls.peak_s, noise_of(trace.value))
    smooth = smoothed(trace.value)
    rule = _rule(trace, smooth, seen)
    made = rule.made(np.diff(seen), np.interp(seen[1:], trace.time_s, smooth), trace.interval_s)
    inside = np.zeros(made.size, dtype=bool)
    expected = 0.0
    for piece in course.pieces:
        inside |= (seen[1:] >= piece.start_s) & (seen[1:] <= piece.end_s)
        expected += (piece.end_s - piece.start_s) / course.half_cycle_s
    return float((made & inside).sum()) >= MOSTLY * expected


def _believed(trace: Trace, timer: tuple[Comb, Course] | None) -> Switching | None:
    timer = _believable(timer, LEAST_READINGS * trace.interval_s)
    return _timed(trace, *timer) if timer is not None else None


def _believable(timer: tuple[Comb, Course] | None, least_s: float) -> tuple[Comb, Course] | None:
    """A timer that the readings can show and that the hours of the day do not explain."""
    if timer is None or timer[1].half_cycle_s < least_s or may_be_the_days(timer[1]):
        return None
    return timer


def _timed(trace: Trace, comb: Comb | None, course: Course) -> Switching:
    start, end = float(trace.time_s[0]), float(trace.time_s[-1])
    course = without_endless_climb(course, trace)
    stretches = timer_stretches(course, start, end)
    if not stretches:
        return Switching([], [ControlSpan(start, end, "unresolved")])
    spans: list[ControlSpan] = [ControlSpan(s.start_s, s.end_s, "fixed") for s in stretches]
    falls: list[Falls] = []
    stopped = None
    last_timed = stretches[-1].end_s
    for low, high in _holes(stretches, start, end, LEAST_TAIL * course.half_cycle_s):
        long = high - low > LEAST_STRETCH * course.half_cycle_s
        more = _elsewhere(trace, low, high) if long else None
        if more is not None:
            stretches += more.stretches
            spans += more.spans
            falls += more.falls
        elif low >= last_timed - 1.0 and _climbs(trace, low, course.half_cycle_s):
            stopped = low
            spans.append(ControlSpan(low, high, "stopped"))
        elif long:
            spans.append(ControlSpan(low, high, "unresolved"))
    stretches.sort(key=lambda s: s.start_s)
    if stopped is not None:
        final = stretches[-1]
        stopped = float(final.switchovers_s[-1])
        due = min(stopped + course.half_cycle_s, end)
        stretches[-1] = Stretch(final.start_s, due, final.switchovers_s, final.towers)
        spans = [ControlSpan(s.start_s, s.end_s if s.end_s < stopped else stopped, s.control) for s in spans[:-1]]
        spans.append(ControlSpan(stopped, end, "stopped"))
    return Switching(stretches, _joined(spans, start, end), comb, course, falls, stopped)


def _elsewhere(trace: Trace, low_s: float, high_s: float) -> Switching | None:
    """Switching of a stretch in which the log's main rhythm does not show: another clock or phase, or a set point."""
    part = trace.part(low_s, high_s + 1.0)
    if part.time_s.size < 40:
        return None
    least = LEAST_READINGS * trace.interval_s
    timer = whole_course(part)
    if timer is not None and timer[1].half_cycle_s >= least and timer[1].coherence >= COHERENT:
        own = [
            Stretch(s.start_s, s.end_s, s.switchovers_s, (None,) * s.switchovers_s.size)
            for s in timer_stretches(timer[1], low_s, high_s)
        ]
        if own and not may_be_the_days(timer[1]):
            return Switching(own, [ControlSpan(s.start_s, s.end_s, "fixed") for s in own])
    found = find_falls(part, least)
    return _by_set_point(part, found) if found is not None else None


def _holes(stretches: list[Stretch], start_s: float, end_s: float, least_s: float) -> list[tuple[float, float]]:
    edges = [start_s]
    for stretch in stretches:
        edges += [stretch.start_s, stretch.end_s]
    edges.append(end_s)
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > least_s]


def _climbs(trace: Trace, from_s: float, half_cycle_s: float) -> bool:
    """Whether the trace ends clearly wetter than it was over the cycles before an instant."""
    before = trace.part(from_s - 12.0 * half_cycle_s, from_s).value
    after = trace.part(from_s, float(trace.time_s[-1]) + 1.0).value
    if before.size < 4 or after.size < 4:
        return False
    late = float(np.median(after[-max(4, after.size // 10) :]))
    if late < float(np.median(after[: max(4, after.size // 4)])):
        # a slug of water that dries off again is no stop
        return False
    rise = late - float(np.median(before))
    return rise > max(CLIMB, 2.0 * float(np.subtract(*np.quantile(before, (0.95, 0.05)))) * 0.5)


def _by_set_point(trace: Trace, falls: Falls) -> Switching:
    start, end = float(trace.time_s[0]), float(trace.time_s[-1])
    seen = np.clip(answered_s(trace, falls.peak_s, noise_of(trace.value)), start, end)
    smooth = smoothed(trace.value)
    rule = _rule(trace, smooth, seen)
    switchovers = with_hidden(trace.time_s, smooth, seen, rule)
    level = np.interp(switchovers, trace.time_s, smooth)
    towers = tuple("BA"[i % 2] for i in range(switchovers.size))
    stretch = Stretch(start, end, switchovers, towers)
    usual, longest = float(np.median(np.diff(switchovers))), float(np.diff(switchovers).max())
    last = float(switchovers[-1])
    spans = _spans_by_rule(switchovers, level[1:], rule, start, end, trace.interval_s)
    after = trace.part(last + 2.0 * longest, end + 1.0).value
    ceased = after.size > 0 and end - last > 2.5 * longest + usual
    if ceased and float(np.median(after[-max(1, after.size // 5) :])) > float(falls.peak.max()) + 0.1:
        spans = [ControlSpan(s.start_s, min(s.end_s, last), s.control) for s in spans if s.start_s < last]
        spans.append(ControlSpan(last, end, "stopped"))
        stretch = Stretch(start, min(last + usual, end), switchovers, towers)
        return Switching([stretch], spans, falls=[falls], stopped_s=last)
    return Switching([stretch], spans, falls=[falls])


def _rule(trace: Trace, smooth: Floats, switchovers_s: Floats) -> Rule:
    level = np.interp(switchovers_s, trace.time_s, smooth)
    return rule_of(np.diff(switchovers_s), level[1:], noise_of(trace.value), trace.interval_s)


def _spans_by_rule(
    switchovers_s: Floats, level: Floats, rule: Rule, start_s: float, end_s: float, interval_s: float
) -> list[ControlSpan]:
    """Dew point control, except runs of equal lengths that its rule cannot have made."""
    length = np.diff(switchovers_s)
    made = rule.made(length, level, interval_s)
    tolerance = np.maximum(0.01 * length, 1.5 * interval_s)
    spans: list[ControlSpan] = []
    at, i = start_s, 0
    while i < length.size:
        j = i
        while j + 1 < length.size and abs(length[j + 1] - np.median(length[i : j + 1])) <= tolerance[j + 1]:
            j += 1
        if j - i + 1 >= LEAST_STRETCH and float(made[i : j + 1].mean()) < MOSTLY:
            if switchovers_s[i] > at:
                spans.append(ControlSpan(at, float(switchovers_s[i]), "dew_point"))
            spans.append(ControlSpan(float(switchovers_s[i]), float(switchovers_s[j + 1]), "fixed"))
            at = float(switchovers_s[j + 1])
        i = j + 1
    if at < end_s:
        spans.append(ControlSpan(at, end_s, "dew_point"))
    return spans


def _joined(spans: list[ControlSpan], start_s: float, end_s: float) -> list[ControlSpan]:
    """Spans in order, without slivers between them, neighbours of one kind made one."""
    spans = sorted(spans, key=lambda s: s.start_s)
    bounds = [start_s, *(max(b.start_s, a.end_s) for a, b in itertools.pairwise(spans)), end_s]
    joined: list[ControlSpan] = []
    for span, low, high in zip(spans, bounds[:-1], bounds[1:], strict=True):
        if joined and joined[-1].control == span.control:
            joined[-1] = ControlSpan(joined[-1].start_s, high, span.control)
        elif high > low:
            joined.append(ControlSpan(low, high, span.control))
    return joined


def ruling_control(spans: list[ControlSpan]) -> Control:
    """What most of the log obeys; stopped where the switching ceased for good."""
    if spans and spans[-1].control == "stopped":
        return "stopped"
    total: dict[Control, float] = {}
    for span in spans:
        total[span.control] = total.get(span.control, 0.0) + span.end_s - span.start_s
    total.pop("unresolved", None)
    return max(total, key=lambda kind: total[kind]) if total else "unresolved"


@dataclass(frozen=True)
class SetPoint:
    """What dew-point-dependent switching aims at: trace level at switchovers and bounds of the half-cycle [s]."""

    levels: Floats
    shortest_s: float | None
    longest_s: float | None


def set_point_of(switching: Switching, interval_s: float) -> SetPoint | None:
    """Level at which the control switches, from switchovers that neither bound forced, and the bounds if they show.

    A switchover forced by the longest half-cycle comes at a drier level than the set point, one held back by the
    shortest at a wetter one; both show as equal lengths at the end of the range.
    """
    if not switching.falls:
        return None
    falls = max(switching.falls, key=lambda item: item.peak_s.size)
    length, level = np.diff(falls.peak_s), falls.peak[1:]
    if length.size < 3:
        return None
    middle = float(np.median(level))
    spread = 1.4826 * float(np.median(np.abs(level - middle))) + 0.02
    early, late = level < middle - 4.0 * spread, level > middle + 4.0 * spread
    free = ~(early | late)
    near = 0.02 * length + 2.0 * interval_s
    longest = float(length.max()) if (early & (length > length.max() - near)).any() else None
    shortest = float(length.min()) if (late & (length < length.min() + near)).any() else None
    return SetPoint(level[free], shortest, longest)
