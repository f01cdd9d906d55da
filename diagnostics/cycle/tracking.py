"""Following a timer through the log: where its rhythm is present, where it paused or was reset, and how long it is.

The folded cycle is the template. Every cycle of the log says how likely it is at each offset from the timer's clock,
and how likely the rhythm is absent; the likeliest path of offsets has few jumps. Lags of groups of cycles, finer than
the log's interval, then give the period by least squares, each unbroken piece with its own phase.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.cycle.breaks import fit_breaks
from diagnostics.cycle.clock import ClockFit, Piece, aligned_times, fit_clock, template
from diagnostics.cycle.coherent import CLEARLY_MORE, explains_more
from diagnostics.cycle.folding import MOST_BINS, Folded, breaks_ratio, fold, without_drift
from diagnostics.cycle.one_piece import unbroken_unless_clear
from diagnostics.cycle.placing import fold_to_place, place_break
from diagnostics.cycle.presence import present_pieces
from diagnostics.cycle.rhythm import FALSE_ALARM, LIKE_PLATE, Comb, find_comb
from diagnostics.cycle.steps import with_steps
from diagnostics.cycle.trace import Trace, trace_of
from diagnostics.log.record import Flags, Floats

LEAST_FOR_LOADS = 16
LIKENESS = 0.6
CLEAR = 0.7
GOOD, BETTER, STEADY, SPREAD, WHOLE = 0.25, 0.03, 0.02, 0.012, 0.95
PARTS, LEAST_PART, SMEARED, BEYOND_CHANCE = 4, 60, 2.0, 1e-12
DAY_S, LONGEST_S = 86400.0, 43_200.0
"""A day, and a half-cycle beyond any timer's: common practice, no published source [s]."""
SUDDEN, SUDDEN_LONG, LONG_TIMES = 0.2, 0.5, 2.6
LEAST_CAUGHT, WHOLE_READINGS = 32.0, 0.1
"""Readings a cycle from which its size shows wherever the logger catches it, and how near to a whole number they
beat."""
BEATEN = 0.1
"""Share by which another period has to explain more where the fold may only follow the beat."""
MANY_CYCLES = 40
"""Cycles over the log from which a comb beyond chance is one clock, though no cycle shows it by itself."""
SETTLED, COARSE_BINS = 0.02, 240
"""Share of a cycle that the clock may still move over the log, and bins of a fold that need not place a break well."""
TWO_BREAKS = 1.45
"""Misfit ratio from which a folded period is taken as a full cycle, two half-cycles with a break each."""
TWO_BREAKS_OF_PLATE, TWO_BREAKS_AGAINST_PLATE = 1.15, 4.0
"""The same where the period is twice the plant file's half-cycle, and where it is that half-cycle itself."""


@dataclass(frozen=True)
class Course:
    """A timer followed through the log.

    Attributes
    ----------
    half_cycle_s, half_cycle_error_s : float
        Length of one half-cycle and its standard error [s].
    degrees_of_freedom : float
        Of that error.
    first_s : float
        Instant of one switchover on the timer's clock [epoch s].
    phase_error_s : float
        Its standard error [s].
    pieces : tuple of Piece
        Ascending; between them the rhythm is absent. Switchovers of a piece are at ``first_s + offset_s`` plus whole
        half-cycles.
    towers_differ : bool
    folded : Folded
        Average full cycle where the towers differ, else average half-cycle, from ``folded_from_s`` on.
    folded_from_s : float
    present_share : float
        Share of the readings that lie in pieces.
    coherence : float
        Share of the trace's variance in the pieces that the average cycle explains.
    lag_spread : float
        Scatter of groups of cycles about the clock, as a share of a half-cycle.
    """

    half_cycle_s: float
    half_cycle_error_s: float
    degrees_of_freedom: float
    first_s: float
    phase_error_s: float
    pieces: tuple[Piece, ...]
    towers_differ: bool
    folded: Folded
    folded_from_s: float
    present_share: float
    coherence: float
    lag_spread: float


def whole_course(trace: Trace) -> tuple[Comb, Course] | None:
    """Course of the timer whose rhythm stands out of the whole trace at once, or None."""
    comb = find_comb(trace)
    course = follow(trace, comb.period_s) if comb is not None else None
    if comb is not None and course is None and comb.false_alarm_probability < BEYOND_CHANCE:
        course = follow(trace, comb.period_s, unbroken=trace.duration_s > MANY_CYCLES * comb.period_s)
    return (comb, course) if comb is not None and course is not None else None


def is_good(course: Course) -> bool:
    """Whether a course explains its trace without a reset, so that no other need be looked for."""
    steady = len(course.pieces) == 1 and (course.lag_spread < STEADY or course.coherence >= WHOLE)
    return steady and course.coherence * course.present_share >= GOOD


def may_be_the_days(course: Course) -> bool:
    """Whether a rhythm that divides the day could be the working hours' rather than a timer's.

    Load and weather follow the hours smoothly; a switchover shows within minutes.
    """
    period = course.folded.period_s
    times = DAY_S / period
    if course.half_cycle_s > LONGEST_S:
        return True
    if times < LONG_TIMES:
        # so few cycles leave the period itself vague
        return suddenness(course.folded) < SUDDEN_LONG
    return divides_the_day(course) and suddenness(course.folded) < SUDDEN


def divides_the_day(course: Course) -> bool:
    """Whether a few cycles of a rhythm make a day."""
    times = DAY_S / course.folded.period_s
    return bool(times < 6.5 and abs(times - np.rint(times)) < 0.05 * np.rint(times))


def suddenness(folded: Folded) -> float:
    """Largest change of the average cycle within a hundredth of its period, as a share of its range."""
    around = np.append(folded.phase_s, folded.phase_s + folded.period_s)
    value = np.tile(folded.value, 2)
    step = 0.01 * folded.period_s
    even = np.arange(0.0, 1.99 * folded.period_s, step)
    smooth = np.interp(even, around, value)
    size = float(np.quantile(folded.value, 0.98)) - float(np.quantile(folded.value, 0.02))
    return float(np.abs(np.diff(smooth)).max()) / max(size, 1e-300)


def course_by_parts(trace: Trace, whole: tuple[Comb, Course] | None) -> tuple[Comb, Course] | None:
    """Course that starts from the rhythm of a part of the trace, where it explains more than the whole's.

    Pauses and resets smear a rhythm that is looked for in the whole log at once; it still stands out of a part.
    """
    best, least = whole, 0.0 if whole is None else _merit(whole[1]) + BETTER
    for parts, chance in ((PARTS, FALSE_ALARM / 10.0), (PARTS // 2, BEYOND_CHANCE)):
        for i in range(parts):
            found = _from_part(trace, i / parts, (i + 1) / parts, chance)
            if found is not None and _merit(found[1]) > least:
                best, least = found, _merit(found[1])
        if best is not None:
            break
    return best


def _from_part(trace: Trace, first: float, last: float, chance: float) -> tuple[Comb, Course] | None:
    """Course that starts from the rhythm between two shares of the trace, or None where none stands out there."""
    start, length = float(trace.time_s[0]), trace.duration_s
    low, high = start + first * length, start + last * length
    part = trace.part(low, high)
    comb = find_comb(part) if part.time_s.size >= LEAST_PART else None
    if comb is None or comb.false_alarm_probability > chance:
        return None
    course = follow(trace, comb.period_s, (low, high))
    return (comb, course) if course is not None else None


def _merit(course: Course) -> float:
    """Share of the trace that a course explains, less for a clock about which the cycles scatter: it is smeared."""
    return course.coherence * course.present_share - SMEARED * course.lag_spread


def follow(
    trace: Trace, period_s: float, seed: tuple[float, float] | None = None, *, unbroken: bool = False
) -> Course | None:
    """Follow a rhythm of about this period through the log.

    Parameters
    ----------
    trace : Trace
    period_s : float
        First guess, good to a fraction of a cycle over the log (or the seed) [s].
    seed : tuple of float, optional
        Stretch in which the rhythm was found; its cycle is the first template.
    unbroken : bool
        Whether the rhythm is taken to go on from end to end.

    Returns
    -------
    Course or None
        None where the rhythm is nowhere present for two cycles on end.
    """
    origin = float(trace.time_s[0])
    first, last = seed if seed is not None else (origin, float(trace.time_s[-1]))
    pieces: tuple[Piece, ...] = (Piece(first, last, 0.0),)
    level = steady_level(trace, period_s)
    fit = fit_clock(trace, level, pieces, period_s, origin)
    for _ in range(2):
        before = fit
        level = steady_level(trace, fit.period_s)
        folded = _folded(trace, level, fit, origin, COARSE_BINS)
        towers = breaks_a_period(folded, trace)
        turn = place_break((folded,), trace.interval_s, towers, roughly=True)
        middle = turn.phase_s + (0.25 * fit.period_s if towers == 2 else 0.0)
        if not unbroken:
            pieces = present_pieces(trace, level, fit.pieces, fit.period_s, origin, middle)
        if not pieces:
            return None
        fit = fit_clock(trace, level, pieces, fit.period_s, origin)
        fit = _without_chance_pieces(trace, level, fit, origin)
        if _settled(before, fit, trace, fit.period_s / towers):
            break
    beats = _beats(fit, trace)
    steady = fit.lag_spread_s <= STEADY * fit.period_s / towers * (2.0 if beats else 1.0)
    by = BEATEN if beats else CLEARLY_MORE
    alone = len(fit.pieces) == 1 and steady and not explains_more(trace, level, period_s, fit.period_s, by)
    if seed is None and not alone:
        fit = unbroken_unless_clear(trace, level, fit, period_s, origin)
    if fit.lag_spread_s > SPREAD * fit.period_s / towers:
        fit = with_steps(trace, level, fit, origin, fit.period_s / towers)
    return course_of(trace, level, fit, origin)


def _beats(fit: ClockFit, trace: Trace) -> bool:
    """Whether few and almost whole readings a cycle make the fold follow where the logger catches the peak."""
    readings = fit.period_s / trace.interval_s
    return bool(readings < LEAST_CAUGHT and abs(readings - np.rint(readings)) < WHOLE_READINGS)


def breaks_a_period(folded: Folded, trace: Trace) -> int:
    """1 where the folded period is a half-cycle, 2 where it is a full cycle of two unlike towers.

    The log decides; the timer's setting, where the plant file gives it, says which way to lean.
    """
    least = TWO_BREAKS
    if trace.plate_s is not None:
        halves = folded.period_s / trace.plate_s
        if abs(halves - 2.0) < 2.0 * LIKE_PLATE:
            least = TWO_BREAKS_OF_PLATE
        elif abs(halves - 1.0) < LIKE_PLATE:
            least = TWO_BREAKS_AGAINST_PLATE
    return 2 if breaks_ratio(folded, trace.interval_s) > least else 1


def _settled(before: ClockFit, fit: ClockFit, trace: Trace, half_cycle_s: float) -> bool:
    """Whether one unbroken piece covers the trace, hardly lags, and its period hardly moves a cycle over the trace."""
    if len(fit.pieces) > 1 or fit.lag_spread_s > STEADY * half_cycle_s:
        return False
    piece, period = fit.pieces[0], fit.period_s
    covers = piece.start_s - period <= trace.time_s[0] and piece.end_s + period >= trace.time_s[-1]
    cycles = trace.duration_s / period
    return bool(covers and abs(period - before.period_s) * cycles < SETTLED * period)


def steady_level(trace: Trace, period_s: float) -> Floats:
    """The trace without drift and with each cycle's size brought to one, so that no stretch outweighs the others."""
    level = without_drift(trace, period_s)
    power = trace_of(trace.time_s, level**2, trace.interval_s)
    around = np.maximum(power.value - without_drift(power, 4.0 * period_s), 0.0)
    # a pause must stay quiet, or its noise would look like cycles
    quiet = max(0.3 * float(np.quantile(around, 0.3)), 1e-12 * float(around.max()), 1e-300)
    return level / np.sqrt(np.maximum(around, quiet))


def _folded(trace: Trace, level: Floats, fit: ClockFit, origin_s: float, most_bins: int = MOST_BINS) -> Folded:
    aligned, inside = aligned_times(trace, fit.pieces)
    return fold(aligned[inside], level[inside], fit.period_s, trace.interval_s, origin_s, most_bins)


def course_of(trace: Trace, level: Floats, fit: ClockFit, origin_s: float) -> Course:
    """Course of a clock: its average cycle, the break in it, and pieces that end with the last switchover seen.

    Parameters
    ----------
    trace : Trace
    level : ndarray, shape (n,)
        The trace as `steady_level` gives it.
    fit : ClockFit
    origin_s : float
        An instant at phase zero [epoch s].
    """
    folded = _folded(trace, level, fit, origin_s)
    towers = breaks_a_period(folded, trace)
    turn = place_break((folded,), trace.interval_s, towers, roughly=True)
    sharp = fit_breaks(trace, level, fit, origin_s, turn.phase_s, towers)
    if sharp is not None:
        fit = sharp
        folded = _folded(trace, level, fit, origin_s)
    aligned, inside = aligned_times(trace, fit.pieces)
    # few readings a cycle beat with it: brought to one size, they would follow where the logger catches the peak
    beats = fit.period_s < LEAST_CAUGHT * trace.interval_s
    shape = without_drift(trace, fit.period_s) if beats else level
    curves = _by_load(trace, shape, aligned, inside, fit.period_s, origin_s, towers)
    turn = place_break(curves, trace.interval_s, towers)
    first_s = origin_s + turn.phase_s
    pieces = _trimmed(trace, level, fit, folded, origin_s, first_s, fit.period_s / towers)
    return Course(
        fit.period_s / towers,
        fit.period_error_s / towers,
        fit.degrees_of_freedom,
        first_s,
        float(np.hypot(turn.error_s, fit.offset_error_s)),
        pieces,
        towers == 2,
        folded,
        origin_s,
        float(inside.mean()),
        float((folded.weight * folded.value**2).sum() / max(float((level[inside] ** 2).sum()), 1e-300)),
        fit.lag_spread_s / (fit.period_s / towers),
    )


def _by_load(
    trace: Trace, level: Floats, aligned: Floats, inside: Flags, period_s: float, origin_s: float, towers: int
) -> tuple[Folded, ...]:
    """Average cycles of the wetter and of the drier half of the log: the shape follows the load, the clock does not."""
    cycle = np.floor((aligned - origin_s) / period_s).astype(np.int64)
    phase = aligned - origin_s - cycle * period_s
    cycle -= cycle.min()
    count = np.bincount(cycle[inside], minlength=int(cycle.max()) + 1)
    mean = np.bincount(cycle[inside], trace.value[inside], count.size) / np.maximum(count, 1)
    if int((count > 0).sum()) < LEAST_FOR_LOADS:
        return (fold_to_place(phase[inside], level[inside], period_s, trace.interval_s, count.size, towers),)
    wet = mean[cycle] > np.median(mean[count > 0])
    return tuple(
        fold_to_place(phase[part], level[part], period_s, trace.interval_s, count.size, towers)
        for part in (inside & wet, inside & ~wet)
    )


def _trimmed(
    trace: Trace, level: Floats, fit: ClockFit, folded: Folded, origin_s: float, first_s: float, half_cycle_s: float
) -> tuple[Piece, ...]:
    """Pieces that end with the last switchover whose own cycle follows the template, where the log goes on."""
    shape, _ = template(folded, trace.interval_s)
    explained = float((folded.weight * folded.value**2).sum()) / max(float((level**2).sum()), 1e-300)
    kept = []
    for piece in fit.pieces:
        at_end = piece.end_s > trace.time_s[-1] - half_cycle_s
        if at_end and explained < CLEAR:
            kept.append(piece)
            continue
        base = first_s + piece.offset_s
        number = int(np.floor((min(piece.end_s, float(trace.time_s[-1])) - base) / half_cycle_s))
        unlike = 0
        while unlike < 6 and base + (number - unlike) * half_cycle_s > piece.start_s:
            at = base + (number - unlike) * half_cycle_s
            if _follows(trace, level, folded, shape, at, half_cycle_s, piece, origin_s):
                break
            unlike += 1
        # at the end of the log a single odd cycle may be a wave of the load
        if unlike == 0 or (at_end and unlike < 2):
            kept.append(piece)
        else:
            end = base + (number - unlike + 0.999) * half_cycle_s
            kept.append(Piece(piece.start_s, end, piece.offset_s))
    return tuple(kept)


def _without_chance_pieces(trace: Trace, level: Floats, fit: ClockFit, origin_s: float) -> ClockFit:
    """Fit without pieces that look far less like the average cycle than the longest one does: noise that fitted."""
    if len(fit.pieces) == 1:
        return fit
    folded = _folded(trace, level, fit, origin_s)
    shape, _ = template(folded, trace.interval_s)
    alike = [_likeness(trace, level, folded, shape, piece, origin_s) for piece in fit.pieces]
    longest = int(np.argmax([piece.end_s - piece.start_s for piece in fit.pieces]))
    kept = tuple(p for p, like in zip(fit.pieces, alike, strict=True) if like >= LIKENESS * alike[longest])
    return replace(fit, pieces=kept)


def _likeness(trace: Trace, level: Floats, folded: Folded, shape: Floats, piece: Piece, origin_s: float) -> float:
    """Correlation of a piece with the template."""
    a, b = np.searchsorted(trace.time_s, (piece.start_s, piece.end_s))
    phase = np.mod(trace.time_s[a:b] - piece.offset_s - origin_s, folded.period_s)
    expected = np.interp(phase, folded.phase_s, shape, period=folded.period_s)
    size = float(np.sqrt((expected**2).sum() * (level[a:b] ** 2).sum()))
    return float((expected * level[a:b]).sum()) / max(size, 1e-300)


def _follows(
    trace: Trace,
    level: Floats,
    folded: Folded,
    shape: Floats,
    at_s: float,
    half_s: float,
    piece: Piece,
    origin_s: float,
) -> bool:
    a, b = np.searchsorted(trace.time_s, (at_s - 0.45 * half_s, at_s + 0.45 * half_s))
    if b - a < 3:
        return True
    phase = np.mod(trace.time_s[a:b] - piece.offset_s - origin_s, folded.period_s)
    expected = np.interp(phase, folded.phase_s, shape, period=folded.period_s)
    expected = expected - expected.mean()
    return float((level[a:b] * expected).sum()) > 0.4 * float((expected**2).sum())
