"""A timer's clock by its switchovers seen one by one, where no average cycle stands out of the load.

Where a half-cycle holds many readings, each switchover turns the trace at once, whatever the load does besides. Turns
of the trace are linked into the likeliest chain of equal steps: some switchovers turn too little to be seen, some turns
are the load's, and after a pause the chain begins anew.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.cycle.clock import Piece, fit_clock
from diagnostics.cycle.replay import densest
from diagnostics.cycle.trace import Trace
from diagnostics.cycle.tracking import Course, course_of, follow, steady_level
from diagnostics.cycle.turns import sudden_turns
from diagnostics.log.record import Floats

LINES = (6, 12)
"""Readings of the line that a turn leaves: longer ones see fainter turns and place them less well."""
MOST_TURNS, LEAST_TURNS = 300, 8
LEAST_READINGS, LEAST_STEPS, CANDIDATES = 60.0, 5.0, 4
"""Readings of a half-cycle from which single turns tell it, half-cycles that the log holds, and lengths tried."""
REACH, REACH_SHARE = 2.0, 0.01
"""Readings, and share of a half-cycle, by which a step between two turns may be off."""
SEEN, MOST_MISSED = 0.6, 5
"""Share of switchovers whose turn is seen, and those that may be missed in a row."""
PAUSE = 10.0
"""Log-likelihood that a pause must gain."""
LEAST_GAIN = 25.0
"""Log-likelihood that a chain must gain against turns at random; lengths tried and ways to link them are counted."""
MISPLACED = 0.05
"""Share of a half-cycle by which a break that stands off the turns is not the switchover."""
LEAST_PIECE = 4
"""Turns of a piece."""
ALONE, PAUSED = -1, -2
"""Marks of a turn that no other leads to, and of the first after a pause, less the last one before it."""
COHERENT, MOSTLY = 0.4, 0.3
"""Share of the variance that makes a known course of few readings a half-cycle enough, and share of the log that a
chain must cover."""


@dataclass(frozen=True)
class Chain:
    """Turns that keep one step.

    Attributes
    ----------
    step_s : float
    pieces : tuple of ndarray
        Instants of the turns between two pauses, ascending [epoch s].
    gain : float
        Log-likelihood against turns at random.
    turns_s : ndarray
        All turns, the load's too.
    """

    step_s: float
    pieces: tuple[Floats, ...]
    gain: float
    turns_s: Floats


def course_by_turns(trace: Trace, known: Course | None) -> Course | None:
    """Course of the timer that the turns of a trace speak for, or None where they speak for none.

    Parameters
    ----------
    trace : Trace
    known : Course or None
        The one that the average cycle speaks for.
    """
    least_s = LEAST_READINGS * trace.interval_s
    if trace.plate_s is not None and trace.plate_s < least_s:
        return None
    if known is not None and known.half_cycle_s < least_s and known.coherence >= COHERENT:
        return None
    chain = turn_chain(trace)
    if chain is None:
        return None
    if sum(float(at[-1] - at[0]) for at in chain.pieces) < MOSTLY * trace.duration_s:
        return None
    level, origin = steady_level(trace, chain.step_s), float(trace.time_s[0])
    fit = fit_clock(trace, level, _pieces(chain, trace), chain.step_s, origin)
    longest = max(chain.pieces, key=lambda at: float(at[-1] - at[0]))
    seed = (float(longest[0]) - 0.5 * chain.step_s, float(longest[-1]) + 0.5 * chain.step_s)
    own = _gain(known, chain, trace) if known is not None else 0.0
    best, most = known if own >= chain.gain else None, max(own + PAUSE, LEAST_GAIN)
    for course in (course_of(trace, level, fit, origin), follow(trace, chain.step_s, seed)):
        gain = _gain(course, chain, trace) if course is not None else -np.inf
        if gain > most:
            best, most = course, gain
    return _at_the_turns(best, chain) if best is not None and best is not known else best


def _at_the_turns(course: Course, chain: Chain) -> Course:
    """Course whose switchovers stand where most turns do: a load that outweighs them misplaces the average break."""
    half = course.half_cycle_s
    place = []
    for piece in course.pieces:
        for at in chain.pieces:
            inside = at[(at >= piece.start_s) & (at <= piece.end_s)]
            place.append((inside - course.first_s - piece.offset_s) / half)
    late = np.concatenate(place)
    turned = np.exp(2j * np.pi * late).sum()
    late = np.mod(late - np.angle(turned) / (2.0 * np.pi) + 0.5, 1.0) - 0.5 + np.angle(turned) / (2.0 * np.pi)
    delay = densest(late) if late.size >= LEAST_TURNS else 0.0
    return course if abs(delay) < MISPLACED else replace(course, first_s=course.first_s + delay * half)


def _gain(course: Course, chain: Chain, trace: Trace) -> float:
    """Log-likelihood of the turns under a course's clock against turns at random, pauses paid for."""
    half = course.half_cycle_s
    reach = _reach_s(half, trace)
    seen, missed = _worth(chain.turns_s.size, reach, trace)
    total = -PAUSE * (len(course.pieces) - 1)
    for piece in course.pieces:
        low, high = max(piece.start_s, float(trace.time_s[0])), min(piece.end_s, float(trace.time_s[-1]))
        inside = chain.turns_s[(chain.turns_s >= low) & (chain.turns_s <= high)]
        place = (inside - course.first_s - piece.offset_s) / half
        if course.towers_differ:
            # a turn is the foot of a spike or its top: each tower has a delay of its own
            even = np.mod(np.floor(place), 2.0) < 1.0
            met = _most_together(place[even], reach / half) + _most_together(place[~even], reach / half)
        else:
            met = _most_together(place, reach / half)
        due = (high - low) / half
        total += seen * min(met, due) + missed * max(due - met, 0.0)
    return total


def _most_together(place: Floats, reach: float) -> int:
    """Most places, whole numbers left off, that lie within reach of one."""
    place = place - np.floor(place)
    if place.size == 0:
        return 0
    ordered = np.sort(place)
    around = np.concatenate([ordered, ordered + 1.0])
    return int((np.searchsorted(around, ordered + 2.0 * reach, side="right") - np.arange(ordered.size)).max())


def _pieces(chain: Chain, trace: Trace) -> tuple[Piece, ...]:
    """Stretches of a chain, each half a step beyond its turns, up to two where the log begins or ends."""
    step, origin, end = chain.step_s, float(trace.time_s[0]), float(trace.time_s[-1])
    found: list[Piece] = []
    first = 0.0
    for i, at in enumerate(chain.pieces):
        number = np.cumsum(np.concatenate([[0.0], np.rint(np.diff(at) / step)]))
        base = float(np.median(at - number * step))
        first = base if i == 0 else first
        offset = (base - first + 0.5 * step) % step - 0.5 * step
        before = 2.0 if i == 0 else 0.5
        after = 2.0 if i == len(chain.pieces) - 1 else 0.5
        found.append(Piece(max(origin, float(at[0]) - before * step), min(end, float(at[-1]) + after * step), offset))
    return tuple(found)


def turn_chain(trace: Trace) -> Chain | None:
    """Likeliest chain of equal steps between turns of the trace, or None where chance would do as well.

    Parameters
    ----------
    trace : Trace
    """
    best: Chain | None = None
    for line in LINES:
        at, size = sudden_turns(trace, line)
        if at.size < LEAST_TURNS:
            continue
        if at.size > MOST_TURNS:
            kept = np.sort(np.argsort(size)[-MOST_TURNS:])
            at, size = at[kept], size[kept]
        for step in _steps(at, trace):
            chain = _best(at, step, trace)
            if chain is not None and (best is None or chain.gain > best.gain):
                best = chain
    best = _best(best.turns_s, best.step_s, trace) if best is not None else None
    return best if best is not None and best.gain >= LEAST_GAIN else None


def _steps(at_s: Floats, trace: Trace) -> Floats:
    """Lengths by which turns follow each other oftenest [s]."""
    bin_s = trace.interval_s
    low, high = LEAST_READINGS * bin_s, trace.duration_s / LEAST_STEPS
    if high <= low:
        return np.zeros(0)
    apart = (at_s[None, :] - at_s[:, None])[np.triu_indices(at_s.size, 1)]
    apart = apart[(apart >= low) & (apart <= high)]
    if apart.size == 0:
        return np.zeros(0)
    many = np.bincount(((apart - low) / bin_s).astype(np.int64)).astype(float)
    near, usual = _around(many, 2), _around(many, 50) * (5.0 / 101.0)
    stands_out = (near - usual) / np.sqrt(usual + 1.0)
    found: list[float] = []
    for i in np.argsort(stands_out)[::-1]:
        step = low + (i + 0.5) * bin_s
        if all(abs(step - other) > 5.0 * bin_s for other in found):
            found.append(float(step))
        if len(found) == CANDIDATES:
            break
    return np.array(found)


def _around(many: Floats, reach: int) -> Floats:
    """Sum over so many neighbours on either side."""
    total = np.concatenate([[0.0], np.cumsum(many)])
    at = np.arange(many.size)
    return np.asarray(total[np.minimum(at + reach + 1, many.size)] - total[np.maximum(at - reach, 0)], dtype=np.float64)


def _reach_s(step_s: float, trace: Trace) -> float:
    return max(REACH * trace.interval_s, REACH_SHARE * step_s)


def _worth(turns: int, reach_s: float, trace: Trace) -> tuple[float, float]:
    """Log-likelihood ratio of a switchover that a turn meets, and of one that none meets."""
    by_chance = -np.expm1(-2.0 * reach_s * turns / trace.duration_s)
    return float(np.log(SEEN / by_chance)), float(np.log((1.0 - SEEN) / (1.0 - by_chance)))


def _best(at_s: Floats, step_s: float, trace: Trace) -> Chain | None:
    """Likeliest chain of one step through some turns."""
    reach = _reach_s(step_s, trace)
    seen, missed = _worth(at_s.size, reach, trace)
    if seen <= 0.0:
        return None
    score, source = np.zeros(at_s.size), np.full(at_s.size, ALONE)
    firsts = np.searchsorted(at_s, at_s - (MOST_MISSED + 1) * step_s - reach)
    lasts = np.searchsorted(at_s, at_s - 0.5 * step_s)
    for i, (first, last) in enumerate(zip(firsts.tolist(), lasts.tolist(), strict=True)):
        if last == 0:
            continue
        apart = at_s[i] - at_s[first:last]
        whole = np.rint(apart / step_s)
        off = (apart - whole * step_s) / reach
        value = score[first:last] + seen + missed * (whole - 1.0) - 0.5 * off**2
        value[np.abs(off) > 1.0] = -np.inf
        if value.size and value.max() > 0.0:
            source[i], score[i] = first + int(np.argmax(value)), float(value.max())
        anew = int(np.argmax(score[:last]))
        if score[anew] - PAUSE > score[i]:
            source[i], score[i] = PAUSED - anew, float(score[anew]) - PAUSE
    pieces = [at_s[piece] for piece in _traced(source, int(np.argmax(score))) if len(piece) >= LEAST_PIECE]
    return Chain(_slope(pieces, step_s), tuple(pieces), float(score.max()), at_s) if pieces else None


def _traced(source: np.ndarray, last: int) -> list[list[int]]:
    """Pieces of the chain that ends with one turn, all ascending."""
    pieces = [[last]]
    while source[last] != ALONE:
        paused = source[last] <= PAUSED
        last = int(PAUSED - source[last]) if paused else int(source[last])
        if paused:
            pieces.append([])
        pieces[-1].append(last)
    return [piece[::-1] for piece in pieces[::-1]]


def _slope(pieces: list[Floats], step_s: float) -> float:
    """Length of a step by a line through each piece, one slope for all."""
    above, below = 0.0, 0.0
    for at in pieces:
        number = np.cumsum(np.concatenate([[0.0], np.rint(np.diff(at) / step_s)]))
        number -= number.mean()
        above += float((number * (at - at.mean())).sum())
        below += float((number**2).sum())
    return above / below if below > 0.0 else step_s
