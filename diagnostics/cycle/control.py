"""What does each stretch of the log obey: a fixed timer, a set point of dew point, or nothing any more?

A timer is looked for first, by its rhythm over the whole log. Where none is, or where it leaves off, the saw-tooth of
dew-point-dependent switching is looked for by shape. A rhythm that was there, ceases for good and is followed by a
rising dew point is a switching that stopped.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from diagnostics.cycle.borne_out import borne_out, is_contradicted, is_kept_by_turns, turns_length_s
from diagnostics.cycle.echo import is_echo
from diagnostics.cycle.events import Falls, falls_like, find_falls
from diagnostics.cycle.record import ControlSpan
from diagnostics.cycle.regularity import (
    CLIMB,
    common_length_s,
    is_beyond_doubt,
    keep_no_time,
    keeps_their_time,
    without_endless_climb,
)
from diagnostics.cycle.replay import Rule
from diagnostics.cycle.rhythm import LEAST_READINGS, Comb
from diagnostics.cycle.set_point import by_set_point, rule_explains
from diagnostics.cycle.slips import mended
from diagnostics.cycle.switching import COHERENT, Switching, joined
from diagnostics.cycle.timer import Stretch, timer_stretches
from diagnostics.cycle.trace import Trace
from diagnostics.cycle.tracking import (
    DAY_S,
    Course,
    course_by_parts,
    divides_the_day,
    follow,
    is_good,
    may_be_the_days,
    whole_course,
)
from diagnostics.cycle.turn_clock import course_by_turns
from diagnostics.log.record import Floats

LEAST_TAIL = 1.5
LEAST_STRETCH = 6.0
"""Usual half-cycles a stretch must last to be judged by itself."""
LEAST_ALONE = 40
"""Readings from which a stretch can be judged by itself."""
BEYOND_DOUBT, ONE_LEVEL = 1e-6, 0.05
"""Chance of falls that need no further proof, and scatter in ln moisture of the level they start from."""
DEEPEST = 2
"""How often a stretch may be judged apart from what is about it."""
ISLAND, MAINLAND = 15.0, 3.0
"""Half-cycles below which a piece of the rhythm amid nothing is taken for chance, and how much longer the main one
is."""
LEAST_DAYS, EDGE, LOWEST_LEFT = 1.5, 1.5, 4.5
MULTIPLE, BETTER = 1.4, 0.1
"""Times the shortest half-cycle from which, or below which, a timer may be a multiple or a part of the true one, and
coherence that the true one may lack."""
ALL_OF_IT = 0.9
"""Share of the log in which a timer shows that ruled all of it."""
SMOOTHED, HARDLY_FALLS = 0.25, 0.1
"""Half-cycles over which readings are averaged, and share of a climb by which it may come down and still be one."""
SURE = 0.8
"""Coherence at which a rhythm needs no better one looked for in parts of the log."""
WET = -6.5
"""ln(mol/mol), +10 degC at 8 bar: beds that end half-cycles so wet have broken through; no control waits for that."""


def find_switching(trace: Trace, shortest_s: float, depth: int = 0) -> Switching | None:
    """Switchovers of a trace and the control behind them, or None where nothing stands out of the noise.

    Parameters
    ----------
    trace : Trace
    shortest_s : float
        Half-cycle that a control by dew point should not undercut, by the plant file [s].
    depth : int
        How many times this trace has been cut out of a longer one.
    """
    if trace.time_s.size < 16:
        return None
    least = LEAST_READINGS * trace.interval_s
    timer = whole_course(trace)
    if timer is not None:
        timer = (timer[0], mended(trace, timer[1]))
    good = timer is not None and is_good(timer[1])
    sure = timer is not None and good and is_beyond_doubt(timer[1], trace.duration_s)
    contradicted = timer is not None and sure and is_contradicted(trace, timer[1], shortest_s)
    falls = find_falls(trace, least) if contradicted or not sure else None
    if falls is not None and trace.of_moisture and float(np.median(falls.peak)) > WET:
        falls = None
    if sure and falls is None:
        believed = _believed(trace, timer, shortest_s, depth)
        if believed is not None or timer is None or not may_be_the_days(timer[1]):
            return believed
    uneven = falls is not None and keep_no_time(falls, trace.interval_s)
    if not sure and depth == 0 and not (falls is not None and uneven and _from_one_level(falls)):
        by_turns = course_by_turns(trace, timer[1] if timer is not None else None)
        if by_turns is not None:
            return timed(trace, None, by_turns, shortest_s, depth)
    if timer is not None and not uneven and may_be_the_days(timer[1]):
        beside = without_days(trace)
        other = _behind_the_days(trace, beside) if beside is not None else None
        if beside is not None and other is not None:
            return timed(beside, *other, shortest_s, depth)
    timely = falls is None or timer is None or keeps_their_time(timer[1], falls, trace.interval_s)
    if good and timely:
        waits = falls is not None and timer is not None and uneven and _waits(trace, falls, timer[1], shortest_s)
        believed = None if waits else _believed(trace, timer, shortest_s, depth)
        if believed is not None or falls is None or not (uneven or _from_one_level(falls)):
            return believed
        return _with_the_rest(trace, by_set_point(trace, falls, shortest_s), shortest_s, depth)
    if falls is not None and uneven:
        doubtful = timer is None or not timely or timer[1].coherence < COHERENT
        if doubtful or timer is None or rule_explains(trace, falls, timer[1], shortest_s):
            return _with_the_rest(trace, by_set_point(trace, falls, shortest_s), shortest_s, depth)
    if falls is not None and not uneven and (timer is None or not timely):
        course = follow(trace, common_length_s(falls))
        if course is not None and course.coherence >= COHERENT:
            return timed(trace, None, course, shortest_s, depth)
    if timer is None or timer[1].coherence < SURE or not timely:
        timer = course_by_parts(trace, timer)
    timer = believable(trace, timer)
    if falls is not None and timer is None:
        return _with_the_rest(trace, by_set_point(trace, falls, shortest_s), shortest_s, depth)
    return timed(trace, *timer, shortest_s, depth) if timer is not None else None


def _from_one_level(falls: Falls) -> bool:
    """Whether falls leave no doubt and all start from one level: the hours of the day make no such."""
    return falls.false_alarm_probability <= BEYOND_DOUBT and falls.level_scatter <= ONE_LEVEL


def _waits(trace: Trace, falls: Falls, course: Course, shortest_s: float) -> bool:
    """Whether a set point explains the uneven falls behind a course that never leaves off: a steady load makes such."""
    whole = course.present_share > ALL_OF_IT
    return whole and _from_one_level(falls) and rule_explains(trace, falls, course, shortest_s)


def _behind_the_days(trace: Trace, beside: Trace) -> tuple[Comb, Course] | None:
    """Timer of a trace less the day's waves; what is left of them are harmonics, the lowest one first."""
    other = whole_course(beside)
    if other is None or not is_good(other[1]) or believable(beside, other) is None:
        return None
    harmonic = divides_the_day(other[1]) and LOWEST_LEFT * other[1].half_cycle_s > DAY_S
    return other if not harmonic or is_kept_by_turns(trace, other[1]) else None


def _believed(trace: Trace, timer: tuple[Comb, Course] | None, shortest_s: float, depth: int) -> Switching | None:
    timer = believable(trace, timer)
    return timed(trace, *timer, shortest_s, depth) if timer is not None else None


def believable(trace: Trace, timer: tuple[Comb, Course] | None) -> tuple[Comb, Course] | None:
    """A timer that the readings can show and that neither the hours of the day nor a faster timer explain."""
    if timer is None or timer[1].half_cycle_s < LEAST_READINGS * trace.interval_s:
        return None
    if may_be_the_days(timer[1]) and not is_kept_by_turns(trace, timer[1]):
        return None
    return None if is_echo(trace, timer[1]) else timer


def without_days(trace: Trace) -> Trace | None:
    """Trace less its wave of the day, up to three a day, and its trend; None where it is too short to tell them."""
    if trace.duration_s < LEAST_DAYS * DAY_S:
        return None
    since = (trace.time_s - trace.time_s[0]) / DAY_S
    waves = [f(2.0 * np.pi * number * since) for number in (1, 2, 3) for f in (np.cos, np.sin)]
    basis = np.stack([np.ones_like(since), since, *waves], axis=1)
    found, *_ = np.linalg.lstsq(basis, trace.value, rcond=None)
    return replace(trace, value=trace.value - basis @ found)


def timed(
    trace: Trace, comb: Comb | None, course: Course, shortest_s: float | None = None, depth: int = 0
) -> Switching:
    """Switchovers of a timer, and of whatever rules where its rhythm is absent.

    Parameters
    ----------
    trace : Trace
    comb : Comb or None
    course : Course
    shortest_s : float, optional
        As in `find_switching`; the timer's own length if not given [s].
    depth : int
        As in `find_switching`.
    """
    shortest_s = course.half_cycle_s if shortest_s is None else shortest_s
    start, end = float(trace.time_s[0]), float(trace.time_s[-1])
    course = without_endless_climb(_without_islands(_borne_out(trace, course, shortest_s)), trace)
    stretches = timer_stretches(course, start, end)
    if not stretches:
        return Switching([], [ControlSpan(start, end, "unresolved")])
    spans: list[ControlSpan] = [ControlSpan(s.start_s, s.end_s, "fixed") for s in stretches]
    known = np.concatenate([stretch.switchovers_s for stretch in stretches])
    rule: Rule | None = None
    stopped = None
    last_timed = stretches[-1].end_s
    for low, high in _holes(stretches, start, end, LEAST_TAIL * course.half_cycle_s):
        long = high - low > LEAST_STRETCH * course.half_cycle_s
        climbs = low >= last_timed - 1.0 and _climbs(trace, low, course.half_cycle_s)
        sought = long and not (climbs and _never_falls(trace, low, course.half_cycle_s))
        more = _elsewhere(trace, low, high, shortest_s, depth, (known, course.half_cycle_s)) if sought else None
        if more is not None:
            stretches += more.stretches
            spans += more.spans
            rule = rule or more.rule
        elif climbs:
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
    return Switching(stretches, joined(spans, start, end), comb, course, stopped, rule=rule)


def _borne_out(trace: Trace, course: Course, shortest_s: float) -> Course:
    """Course that the switchovers seen one by one bear out: its length, and where they keep its time."""
    doubtful = course.half_cycle_s > MULTIPLE * shortest_s or course.half_cycle_s < shortest_s / MULTIPLE
    length_s = turns_length_s(trace, course, shortest_s) if doubtful else None
    other = follow(trace, length_s) if length_s is not None else None
    if other is not None and other.coherence >= course.coherence - BETTER:
        course = other
    return borne_out(trace, course, shortest_s)


def _without_islands(course: Course) -> Course:
    """Course without short pieces far from any other, where one piece is much longer: chance that fitted."""
    pieces = course.pieces
    if len(pieces) == 1:
        return course
    longest = max(piece.end_s - piece.start_s for piece in pieces)
    kept = []
    for i, piece in enumerate(pieces):
        length = piece.end_s - piece.start_s
        before = piece.start_s - pieces[i - 1].end_s if i > 0 else np.inf
        after = pieces[i + 1].start_s - piece.end_s if i + 1 < len(pieces) else np.inf
        alone = min(before, after) > LEAST_STRETCH * course.half_cycle_s
        small = length < ISLAND * course.half_cycle_s and length * MAINLAND < longest
        if not (alone and small):
            kept.append(piece)
    return replace(course, pieces=tuple(kept))


def _with_the_rest(trace: Trace, found: Switching, shortest_s: float, depth: int) -> Switching:
    """What a set point switches, with what rules in the stretches in which no fall was seen."""
    stretch = found.stretches[0]
    at = stretch.switchovers_s
    length = np.diff(at)
    longest, usual = float(length.max()), float(np.median(length))
    start, end = float(trace.time_s[0]), float(trace.time_s[-1])
    holes = [(start, float(at[0]))] if at[0] - start > LEAST_TAIL * longest else []
    holes += [(float(a), float(b)) for a, b in itertools.pairwise(at) if b - a > LEAST_STRETCH * usual]
    if found.stopped_s is None and end - at[-1] > LEAST_TAIL * longest:
        holes.append((float(at[-1]), end))
    others = [(low, high, _elsewhere(trace, low, high, shortest_s, depth, None)) for low, high in holes]
    ruled = [(low, high, other) for low, high, other in others if other is not None]
    if not ruled:
        return found
    stretches, spans = _cut(stretch, [(low, high) for low, high, _ in ruled]), list(found.spans)
    for low, high, other in ruled:
        spans = _around(spans, low, high) + other.spans
        stretches += other.stretches
    stretches.sort(key=lambda s: s.start_s)
    return replace(found, stretches=stretches, spans=joined(spans, start, end))


def _cut(stretch: Stretch, holes: list[tuple[float, float]]) -> list[Stretch]:
    """A stretch without holes in it."""
    parts = []
    edges = [stretch.start_s, *(edge for hole in holes for edge in hole), stretch.end_s]
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        inside = (stretch.switchovers_s >= low - 1.0) & (stretch.switchovers_s <= high + 1.0)
        towers = tuple(t for t, kept in zip(stretch.towers, inside, strict=True) if kept)
        if inside.any():
            parts.append(Stretch(low, high, stretch.switchovers_s[inside], towers))
    return parts


def _around(spans: list[ControlSpan], low: float, high: float) -> list[ControlSpan]:
    """Spans without what lies between two instants."""
    parts = []
    for span in spans:
        if span.start_s < low:
            parts.append(ControlSpan(span.start_s, min(span.end_s, low), span.control))
        if span.end_s > high:
            parts.append(ControlSpan(max(span.start_s, high), span.end_s, span.control))
    return [part for part in parts if part.end_s > part.start_s]


def _elsewhere(
    trace: Trace, low_s: float, high_s: float, shortest_s: float, depth: int, known: tuple[Floats, float] | None
) -> Switching | None:
    """Switching of a stretch in which the log's main rhythm does not show: another clock or phase, or a set point.

    Falls like those of known switchovers count even where they are too few to be told from chance.
    """
    part = trace.part(low_s, high_s + 1.0)
    if part.time_s.size < LEAST_ALONE or depth >= DEEPEST:
        return None
    found = find_switching(part, shortest_s, depth + 1)
    if found is not None and found.stretches:
        spans = [replace(s, control="unresolved") if s.control == "stopped" else s for s in found.spans]
        unnamed = [replace(s, towers=(None,) * s.switchovers_s.size) for s in found.stretches]
        found = replace(found, stretches=unnamed if found.course is not None else found.stretches, spans=spans)
        return _to_the_edges(found, low_s, high_s, trace.interval_s)
    alike = falls_like(trace, part, *known) if known is not None else None
    if alike is None:
        return None
    return _to_the_edges(by_set_point(part, alike, shortest_s), low_s, high_s, trace.interval_s)


def _to_the_edges(found: Switching, low_s: float, high_s: float, interval_s: float) -> Switching:
    """What was found in a part of the log, up to the part's edges where its readings reach there."""
    first, last = found.stretches[0], found.stretches[-1]
    if 0.0 < first.start_s - low_s <= EDGE * interval_s:
        first = replace(first, start_s=low_s)
    stretches = [first, *found.stretches[1:]]
    if last.end_s < high_s <= last.end_s + EDGE * interval_s:
        stretches[-1] = replace(stretches[-1], end_s=high_s)
    return replace(found, stretches=stretches)


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


def _never_falls(trace: Trace, from_s: float, half_cycle_s: float) -> bool:
    """Whether the trace climbs from an instant to its end and comes down by hardly a part of that anywhere: whatever
    switches brings it down by most of what it rose."""
    from scipy.ndimage import uniform_filter1d

    after = trace.part(from_s, float(trace.time_s[-1]) + 1.0).value
    smooth = uniform_filter1d(after, max(1, round(SMOOTHED * half_cycle_s / trace.interval_s)), mode="nearest")
    deepest = float((np.maximum.accumulate(smooth) - smooth).max())
    return deepest < HARDLY_FALLS * float(smooth[-1] - smooth[0])
