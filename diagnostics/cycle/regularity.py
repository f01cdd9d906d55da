"""Timer or set point: do the switchovers seen one by one keep the time of the rhythm found in the whole log?

A rhythm may be read into almost any log: a load that follows the day, or half-cycles of about the same length. A timer
is regular to a small fraction of a half-cycle, so each switchover must fall where its clock puts it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diagnostics.cycle.clock import Piece
from diagnostics.cycle.events import Falls
from diagnostics.cycle.trace import Trace
from diagnostics.cycle.tracking import Course
from diagnostics.log.record import Floats

UNEVEN, UNEVEN_SHARE = 0.03, 0.15
"""Departure of a length from a whole multiple of the usual one, and the share of such lengths, that no timer makes."""
MOST_APART, LEAST_APART, LEAST_FULL = 8, 12, 24
"""Half-cycles that a span holds at most, spans that a log must hold, and falls from which full cycles are judged."""
NEAR, NEAR_SHARE = 0.06, 0.8
"""Distance from the clock as a share of a half-cycle, and the share of switchovers within it, that a timer makes."""
LEAST_UNBROKEN = 8.0
"""Half-cycles between one reset and the next, on the average, below which a clock says nothing."""
MANY = 40.0
"""Half-cycles from which a rhythm without a reset and with hardly a lag is a timer's without further proof."""
SOME, ALL_BUT_WHOLE = 12.0, 0.95
"""The same where the average cycle is nearly all there is: steps of a coarse digit must not pass for falls then."""
MOST_WANDERED, KEPT, THROUGHOUT = 100.0, 0.015, 0.95
"""Half-cycles over which the instants of any other control wander off a clock, how near a timer's groups of cycles
keep to it as a share of a half-cycle, and the share of the log in which they do."""
CLIMB = 0.25
"""Rise in ln moisture above all before that makes a ceased rhythm a stopped switching."""
NO_FALL, MOST_TOLD, OVERDUE, LATER = 0.12, 120, 2.0, 4.0
"""Share of the usual fall below which a switchover did not take place, how many of the last switchovers are looked at,
half-cycles from the last fall to the log's end that tell a stop, and after which its climb shows."""


def is_beyond_doubt(course: Course, duration_s: float) -> bool:
    """Whether a good course is so long that nothing but a timer keeps such time."""
    seen = course.present_share * duration_s / course.half_cycle_s
    # what a control by dew point is off by adds up from one half-cycle to the next, and would spread over the clock
    kept = len(course.pieces) == 1 and course.present_share > THROUGHOUT and course.lag_spread < KEPT
    if seen >= MOST_WANDERED and kept:
        return True
    return (seen >= MANY and course.coherence >= NEAR_SHARE) or (seen >= SOME and course.coherence >= ALL_BUT_WHOLE)


def keep_no_time(falls: Falls, interval_s: float) -> bool:
    """Whether the lengths between the falls are not whole multiples of one length.

    Parameters
    ----------
    falls : Falls
    interval_s : float
        Usual step between readings, which blurs each length [s].
    """
    # what a timer is off by does not add up over many half-cycles, what a load decides does
    apart = max(1, min(MOST_APART, (falls.peak_s.size - 1) // LEAST_APART))
    # two unlike towers answer in their own time each: a full cycle is even though its halves are not
    both = 2 if falls.peak_s.size >= LEAST_FULL else 1
    return any(
        _departs(falls.peak_s, lag, interval_s) > UNEVEN_SHARE for lag in {both, max(both, apart - apart % both)}
    )


def _departs(at_s: Floats, apart: int, interval_s: float) -> float:
    """Share of the spans over several half-cycles that are no whole multiple of the usual half-cycle."""
    length = at_s[apart:] - at_s[:-apart]
    usual = float(np.median(length)) / apart
    multiple = np.maximum(np.rint(length / usual), 1.0)
    allowed = np.maximum(UNEVEN * usual * (multiple if apart <= 2 else 1.0), 2.5 * interval_s)
    return float(np.mean(np.abs(length - multiple * usual) > allowed))


def common_length_s(falls: Falls) -> float:
    """Length that all intervals between the falls are whole multiples of, finer than the log's interval."""
    length = np.diff(falls.peak_s)
    usual = float(np.median(length))
    near = np.abs(length - usual) < 0.2 * usual
    if not near.any():
        # between two kinds of intervals the median lies at neither
        near = length == float(np.quantile(length, 0.5, method="lower"))
    return float(length[near].mean())


def keeps_their_time(course: Course, falls: Falls, interval_s: float) -> bool:
    """Whether the falls come where a timer's clock puts its switchovers.

    Parameters
    ----------
    course : Course
    falls : Falls
        Those outside the course's pieces do not count. Each tower may answer in its own time.
    interval_s : float
    """
    half = course.half_cycle_s
    late: list[Floats] = []
    number: list[Floats] = []
    for piece in course.pieces:
        inside = falls.peak_s[(falls.peak_s >= piece.start_s) & (falls.peak_s <= piece.end_s)]
        position = (inside - course.first_s - piece.offset_s) / half
        number.append(np.floor(position))
        late.append(position - np.floor(position))
    place, tower = np.concatenate(late), np.mod(np.concatenate(number), 2.0)
    if place.size < 2:
        return True
    if place.size < LEAST_UNBROKEN * (len(course.pieces) - 1):
        return False
    reach = max(NEAR, 1.5 * interval_s / half)
    alike = _near_their_centre(place, reach)
    # a fall just before and one just after a whole number belong together: towers are told apart only where it helps
    apart = sum(_near_their_centre(place[tower == side], reach) for side in (0.0, 1.0))
    return max(alike, apart) >= NEAR_SHARE * place.size


def _near_their_centre(place: Floats, reach: float) -> int:
    """Most places on a circle of length one that lie within reach of one of them."""
    if place.size == 0:
        return 0
    ordered = np.sort(place)
    around = np.concatenate([ordered - 1.0, ordered, ordered + 1.0])
    many = np.searchsorted(around, ordered + reach, side="right") - np.searchsorted(around, ordered - reach)
    return int(many.max())


def without_endless_climb(course: Course, trace: Trace) -> Course:
    """Course that ends with the last switchover after which the trace came down, where it only climbs from there on.

    A slow climb after the last switchover looks like the end of a half-cycle and passes for more of the rhythm.
    """
    half, piece = course.half_cycle_s, course.pieces[-1]
    base = course.first_s + piece.offset_s
    low, high = max(piece.start_s, float(trace.time_s[0])), min(piece.end_s, float(trace.time_s[-1]))
    finish = float(trace.time_s[-1])
    # the piece may end with the climb itself: what follows it in the log tells whether the trace came down
    told = min(high, finish - 0.55 * half)
    first, last = int(np.ceil((low - base) / half + 0.45)), int(np.floor((told - base) / half))
    number = np.arange(max(first, last + 1 - MOST_TOLD), last + 1)
    if number.size < 5:
        return course
    top, fall = _tops_and_falls(trace, base + half * number.astype(np.float64), half)
    usual = float(np.nanmedian(fall))
    comes_down = np.flatnonzero(fall >= NO_FALL * usual)
    if usual <= 0.0 or comes_down.size < 4:
        return course
    at = int(comes_down[-1])
    since = base + half * float(number[at])
    if at == number.size - 1 or finish - since < OVERDUE * half:
        return course
    seen = max(high, min(since + LATER * half, finish))
    late = trace.part(seen - 0.5 * half, seen + 1.0).value
    if late.size == 0 or float(np.median(late)) < float(np.nanmax(top[: at + 1])) + CLIMB:
        return course
    end = base + (float(number[at]) + 0.5) * half
    return replace(course, pieces=(*course.pieces[:-1], Piece(piece.start_s, end, piece.offset_s)))


def _tops_and_falls(trace: Trace, switchovers_s: Floats, half_s: float) -> tuple[Floats, Floats]:
    """Highest reading about each switchover, and how far below it the trace is half a half-cycle later."""
    top, fall = np.full(switchovers_s.size, np.nan), np.full(switchovers_s.size, np.nan)
    for i, at in enumerate(switchovers_s):
        a, b = np.searchsorted(trace.time_s, (at - 0.45 * half_s, at + 0.55 * half_s))
        if b - a >= 4:
            top[i] = trace.value[a:b].max()
            fall[i] = top[i] - trace.value[b - 2 : b].mean()
    return top, fall
