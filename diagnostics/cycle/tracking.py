"""Following a timer through the log: where its rhythm is present, where it paused or was reset, and how long it is.

The folded cycle is the template. Every cycle of the log says how likely it is at each offset from the timer's clock, and
how likely the rhythm is absent; the likeliest path of offsets has few jumps. Lags of groups of cycles, finer than the
log's interval, then give the period by least squares, each unbroken piece with its own phase.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.cycle.breaks import fit_breaks
from diagnostics.cycle.clock import ClockFit, Piece, aligned_times, fit_clock, template
from diagnostics.cycle.folding import Folded, breaks_ratio, fold, place_break, without_drift
from diagnostics.cycle.presence import present_pieces
from diagnostics.cycle.trace import Trace, trace_of
from diagnostics.log.record import Flags, Floats

LEAST_FOR_LOADS = 16
TWO_BREAKS = 2.0
"""Misfit ratio from which a folded period is taken as a full cycle, two half-cycles with a break each."""


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


def follow(trace: Trace, period_s: float) -> Course | None:
    """Follow a rhythm of about this period through the log.

    Parameters
    ----------
    trace : Trace
    period_s : float
        First guess, good to a fraction of a cycle over the log [s].

    Returns
    -------
    Course or None
        None where the rhythm is nowhere present for two cycles on end.
    """
    origin = float(trace.time_s[0])
    pieces: tuple[Piece, ...] = (Piece(origin, float(trace.time_s[-1]), 0.0),)
    level = steady_level(trace, period_s)
    fit = fit_clock(trace, level, pieces, period_s, origin)
    for _ in range(2):
        level = steady_level(trace, fit.period_s)
        folded = _folded(trace, level, fit, origin)
        towers = 2 if breaks_ratio(folded, trace.interval_s) > TWO_BREAKS else 1
        turn = place_break((folded,), trace.interval_s, towers)
        middle = turn.phase_s + (0.25 * fit.period_s if towers == 2 else 0.0)
        pieces = present_pieces(trace, level, fit.pieces, fit.period_s, origin, middle)
        if not pieces:
            return None
        fit = fit_clock(trace, level, pieces, fit.period_s, origin)
    return _course(trace, level, fit, origin)


def steady_level(trace: Trace, period_s: float) -> Floats:
    """The trace without drift and with each cycle's size brought to one, so that no stretch outweighs the others."""
    level = without_drift(trace, period_s)
    power = trace_of(trace.time_s, level**2, trace.interval_s)
    around = power.value - without_drift(power, 4.0 * period_s)
    return level / np.sqrt(np.maximum(around, 1e-12 * max(float(around.max()), 1e-300)))


def _folded(trace: Trace, level: Floats, fit: ClockFit, origin_s: float) -> Folded:
    aligned, inside = aligned_times(trace, fit.pieces)
    return fold(aligned[inside], level[inside], fit.period_s, trace.interval_s, origin_s)


def _course(trace: Trace, level: Floats, fit: ClockFit, origin_s: float) -> Course:
    folded = _folded(trace, level, fit, origin_s)
    differ = breaks_ratio(folded, trace.interval_s) > TWO_BREAKS
    towers = 2 if differ else 1
    turn = place_break((folded,), trace.interval_s, towers)
    sharp = fit_breaks(trace, level, fit, origin_s, turn.phase_s, towers)
    if sharp is not None:
        fit = sharp
        folded = _folded(trace, level, fit, origin_s)
    aligned, inside = aligned_times(trace, fit.pieces)
    curves = _by_load(trace, level, aligned, inside, fit.period_s, origin_s)
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
        differ,
        folded,
        origin_s,
        float(inside.mean()),
        float((folded.weight * folded.value**2).sum() / max(float((level[inside] ** 2).sum()), 1e-300)),
    )


def _by_load(
    trace: Trace, level: Floats, aligned: Floats, inside: Flags, period_s: float, origin_s: float
) -> tuple[Folded, ...]:
    """Average cycles of the wetter and of the drier half of the log: the shape follows the load, the clock does not."""
    cycle = np.floor((aligned - origin_s) / period_s).astype(np.int64)
    cycle -= cycle.min()
    count = np.bincount(cycle[inside], minlength=int(cycle.max()) + 1)
    mean = np.bincount(cycle[inside], trace.value[inside], count.size) / np.maximum(count, 1)
    if int((count > 0).sum()) < LEAST_FOR_LOADS:
        return (fold(aligned[inside], level[inside], period_s, trace.interval_s, origin_s),)
    wet = mean[cycle] > np.median(mean[count > 0])
    return tuple(
        fold(aligned[part], level[part], period_s, trace.interval_s, origin_s) for part in (inside & wet, inside & ~wet)
    )


def _trimmed(
    trace: Trace, level: Floats, fit: ClockFit, folded: Folded, origin_s: float, first_s: float, half_cycle_s: float
) -> tuple[Piece, ...]:
    """Pieces that end with the last switchover whose own cycle follows the template, where the log goes on."""
    shape, _ = template(folded, trace.interval_s)
    kept = []
    for piece in fit.pieces:
        end = piece.end_s
        if end > trace.time_s[-1] - half_cycle_s:
            kept.append(piece)
            continue
        base = first_s + piece.offset_s
        number = int(np.floor((end - base) / half_cycle_s))
        for last in range(number, number - 6, -1):
            at = base + last * half_cycle_s
            if at < piece.start_s or _follows(trace, level, folded, shape, at, half_cycle_s, piece, origin_s):
                break
            end = at - 0.001 * half_cycle_s
        kept.append(Piece(piece.start_s, end, piece.offset_s))
    return tuple(kept)


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
