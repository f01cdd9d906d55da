"""Is a timer's clock borne out by the switchovers seen one by one?

A rhythm found in the whole log is carried on through stretches in which another control rules, where its clock and the
switchovers have nothing to do with each other. Where switchovers are sudden enough to be seen one by one, instants of
the clock and turns of the trace are matched in time. Stretches in which most of both go without a partner are not the
timer's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.cycle.clock import Piece
from diagnostics.cycle.replay import densest
from diagnostics.cycle.timer import timer_stretches
from diagnostics.cycle.trace import Trace
from diagnostics.cycle.tracking import Course
from diagnostics.cycle.turns import clear_turns_s, is_still
from diagnostics.log.record import Flags, Floats

NEAR, NEAR_READINGS = 0.1, 1.5
"""Share of a half-cycle, and readings, within which a turn is the clock's."""
ALONE, TOGETHER, AGAINST = -0.25, 0.5, -2.5
"""What an instant or a turn without a partner and a pair of them add (a stretch half matched adds to nothing), and the
sum from which a stretch is not the timer's."""
LEAST_TURNS, LEAST_HALVES = 4, 6.0
"""Turns off the clock, and half-cycles, that such a stretch has at least."""
KEPT, MOSTLY, LEAST_LONE = 4, 0.8, 2
"""Pairs that a part of a piece needs to be kept, share of a piece's instants that must be matched before its unmatched
ends go, and turns off the clock that speak against a piece."""

MOST_JUDGED, BORNE_OUT = 200, 0.75
"""Half-cycles of a log beyond which a clock that explains it needs no turn to speak for it, and share of instants and
turns that must find a partner in a shorter one."""
LEAST_EVEN, EVEN, SHORTER = 8, 0.03, 0.7
"""Lengths between turns that tell another timer, how even they are, and the share of the course's own length that a
shorter one has at most (a longer one has the inverse at least)."""


@dataclass(frozen=True)
class _Matched:
    """Instants of the clock and turns of the trace in order: when, which are turns, which have a partner."""

    at_s: Floats
    turn: Flags
    paired: Flags


def borne_out(trace: Trace, course: Course, shortest_s: float) -> Course:
    """Course without the stretches in which clear turns of the trace keep another time.

    Parameters
    ----------
    trace : Trace
    course : Course
    shortest_s : float
        Half-cycle that a control by dew point should not undercut [s].

    Returns
    -------
    Course
        The same one where turns are not clear, or nothing would be left.
    """
    half = course.half_cycle_s
    stretches = timer_stretches(course, float(trace.time_s[0]), float(trace.time_s[-1]))
    if not stretches:
        return course
    clock = np.concatenate([stretch.switchovers_s for stretch in stretches])
    turns = clear_turns_s(trace, clock, min(shortest_s, half))
    if turns.size < LEAST_TURNS or clock.size < LEAST_TURNS:
        return course
    matched = _matched(clock, turns, max(NEAR * half, NEAR_READINGS * trace.interval_s))
    against = [(low, high) for low, high in _stretches_against(matched) if high - low >= LEAST_HALVES * half]
    pieces = [part for piece in course.pieces for part in _without(piece, against)]
    kept = [_without_lone_ends(piece, matched, half, trace) for piece in pieces]
    longest = max(kept, key=lambda piece: piece.end_s - piece.start_s, default=None)
    kept = [piece for piece in kept if piece is longest or _is_kept(piece, matched, piece in course.pieces)]
    return replace(course, pieces=tuple(kept)) if kept else course


def _nearest(clock_s: Floats, turns_s: Floats) -> np.ndarray:
    after = np.searchsorted(clock_s, turns_s)
    before = np.clip(after - 1, 0, clock_s.size - 1)
    after = np.clip(after, 0, clock_s.size - 1)
    return np.where(turns_s - clock_s[before] < clock_s[after] - turns_s, before, after)


def _delay(clock_s: Floats, turns_s: Floats, half_s: float) -> float:
    """How much later than the clock most turns are seen [s]."""
    late = turns_s - clock_s[_nearest(clock_s, turns_s)]
    late = late[np.abs(late) < 0.5 * half_s]
    return densest(late) if late.size >= LEAST_TURNS else 0.0


def _matched(clock_s: Floats, turns_s: Floats, reach_s: float) -> _Matched:
    """Each turn with the nearest instant of the clock, if that is near and the turn its nearest."""
    nearest = _nearest(clock_s, turns_s)
    apart = np.abs(turns_s - clock_s[nearest])
    order = np.argsort(apart, kind="stable")
    paired = np.zeros(turns_s.size, dtype=bool)
    _, first = np.unique(nearest[order], return_index=True)
    paired[order[first]] = True
    paired &= apart <= reach_s
    met = np.zeros(clock_s.size, dtype=bool)
    met[nearest[paired]] = True
    at = np.concatenate([clock_s, turns_s])
    order = np.argsort(at, kind="stable")
    is_turn = np.concatenate([np.zeros(clock_s.size, dtype=bool), np.ones(turns_s.size, dtype=bool)])
    return _Matched(at[order], is_turn[order], np.concatenate([met, paired])[order])


def _stretches_against(matched: _Matched) -> list[tuple[float, float]]:
    """Stretches whose sum is least, one after the other, each from its first to its last without a partner."""
    worth = np.where(matched.paired, 0.5 * TOGETHER, ALONE)
    found: list[tuple[float, float]] = []
    low = 0
    while low < worth.size:
        total = np.concatenate([[0.0], np.cumsum(worth[low:])])
        fall = total - np.maximum.accumulate(total)
        # the first stretch that is deep enough, to where it climbs as much again
        deep = np.flatnonzero(fall <= AGAINST)
        if deep.size == 0:
            break
        top = int(np.argmax(total[: deep[0] + 1]))
        climbs = np.flatnonzero(total[deep[0] :] - np.minimum.accumulate(total[deep[0] :]) >= -AGAINST)
        stop = int(deep[0] + climbs[0]) if climbs.size else total.size - 1
        bottom = int(deep[0] + np.argmin(total[deep[0] : stop + 1]))
        inside = slice(low + top, low + bottom)
        if int((matched.turn[inside] & ~matched.paired[inside]).sum()) >= LEAST_TURNS:
            end = matched.at_s[min(low + bottom, worth.size - 1)] if climbs.size else np.inf
            begin = matched.at_s[low + top - 1] if low + top > 0 else -np.inf
            found.append((float(begin), float(end)))
        low += max(stop, 1)
    return found


def _without(piece: Piece, against: list[tuple[float, float]]) -> list[Piece]:
    """What is left of a piece."""
    left, start = [], piece.start_s
    for low, high in against:
        if high <= start or low >= piece.end_s:
            continue
        if low > start:
            left.append(Piece(start, low + 1.0, piece.offset_s))
        start = max(start, high - 1.0)
    if start < piece.end_s:
        left.append(Piece(start, piece.end_s, piece.offset_s))
    return left


def _is_kept(piece: Piece, matched: _Matched, whole: bool) -> bool:
    """Whether a part of a piece has enough pairs, or a whole piece no more turns off the clock than on it."""
    inside = (matched.at_s >= piece.start_s - 1.0) & (matched.at_s <= piece.end_s + 1.0)
    pairs = int((inside & matched.paired & ~matched.turn).sum())
    lone, missed = (int((inside & ~matched.paired & side).sum()) for side in (matched.turn, ~matched.turn))
    if whole:
        return pairs >= missed or lone < LEAST_LONE
    return pairs >= KEPT


def _without_lone_ends(piece: Piece, matched: _Matched, half_s: float, trace: Trace) -> Piece:
    """Piece that is matched well, without instants at its ends that no turn meets, where the log goes on."""
    inside = (matched.at_s >= piece.start_s - 1.0) & (matched.at_s <= piece.end_s + 1.0) & ~matched.turn
    paired = matched.paired[inside]
    if paired.size < KEPT or float(paired.mean()) < MOSTLY:
        return piece
    at = matched.at_s[inside][paired]
    start, end = piece.start_s, piece.end_s
    if start > trace.time_s[0] + half_s and not paired[0]:
        start = float(at[0]) - 1.0
    if end < trace.time_s[-1] - half_s and not paired[-1]:
        end = float(at[-1]) + 1.0
    return replace(piece, start_s=start, end_s=end)


def is_contradicted(trace: Trace, course: Course, shortest_s: float) -> bool:
    """Whether clear turns keep another time than a course's clock all over the log."""
    share = _share_paired(trace, course, shortest_s)
    return share is not None and share < BORNE_OUT


def is_kept_by_turns(trace: Trace, course: Course) -> bool:
    """Whether clear turns keep the time of a course: the hours of a day change a load, but not within a reading."""
    share = _share_paired(trace, course, course.half_cycle_s)
    return share is not None and share >= BORNE_OUT


def _share_paired(trace: Trace, course: Course, shortest_s: float) -> float | None:
    """Share of a clock's instants and the trace's clear turns that find a partner; None where too few turns tell."""
    stretches = timer_stretches(course, float(trace.time_s[0]), float(trace.time_s[-1]))
    clock = np.concatenate([np.zeros(0), *(stretch.switchovers_s for stretch in stretches)])
    if not LEAST_TURNS <= clock.size <= MOST_JUDGED:
        return None
    turns = clear_turns_s(trace, clock, min(shortest_s, course.half_cycle_s))
    if turns.size < max(LEAST_TURNS, 0.5 * clock.size):
        return None
    half = course.half_cycle_s
    reach = max(NEAR * half, NEAR_READINGS * trace.interval_s)
    return float(_matched(clock, turns - _delay(clock, turns, half), reach).paired.mean())


def turns_length_s(trace: Trace, course: Course, shortest_s: float) -> float | None:
    """Even length between clear turns within a course, if clearly shorter, or longer with nothing between [s]."""
    stretches = timer_stretches(course, float(trace.time_s[0]), float(trace.time_s[-1]))
    if not stretches:
        return None
    clock = np.concatenate([stretch.switchovers_s for stretch in stretches])
    turns = clear_turns_s(trace, clock, min(shortest_s, course.half_cycle_s))
    inside = np.zeros(turns.size, dtype=bool)
    for piece in course.pieces:
        inside |= (turns >= piece.start_s) & (turns <= piece.end_s)
    length = np.diff(turns[inside])
    if length.size < LEAST_EVEN:
        return None
    usual = float(np.median(length))
    even = np.abs(length - usual) <= max(EVEN * usual, 2.5 * trace.interval_s)
    if float(even.mean()) < MOSTLY:
        return None
    if usual > SHORTER * course.half_cycle_s:
        longer = usual > course.half_cycle_s / SHORTER
        lone = clock[np.abs(turns[_nearest(turns, clock)] - clock) > NEAR * course.half_cycle_s]
        if not longer or lone.size < LEAST_TURNS or not is_still(trace, lone):
            return None
    return float(length[even].mean())
