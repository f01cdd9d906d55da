"""Slips and lulls of a timer: where its clock was set on or back, and where it ran on unseen.

A step of the clock (a controller that was reset, a logger's stamps that jumped) is smeared into a wrong period when one
line is drawn through it; a slug of water hides a rhythm for hours, and when it shows again at the phase where the clock
would put it, the timer ran on. Blocks of cycles are compared with the average cycle, each by itself: how well they
match, and at which offset.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.cycle.clock import Piece, fit_clock
from diagnostics.cycle.folding import without_drift
from diagnostics.cycle.trace import Trace
from diagnostics.cycle.tracking import STEADY, Course, course_of, steady_level
from diagnostics.log.record import Flags, Floats

READINGS, LEAST_CYCLES, LEAST_BLOCKS = 240, 4, 6
"""Readings and cycles a block holds at least, and blocks a log must have."""
OFFSETS = 60
HEARD = 0.35
"""Correlation with the average cycle from which a block is heard: white noise of so many readings reaches 0.2."""
LULL, LEAST_AFTER = 2, 3
"""Unheard blocks in a row that count as a lull, and heard ones in a row that must follow it."""
SAME = 0.06
"""Share of a cycle within which two blocks keep one clock."""
BETTER = 0.03


@dataclass(frozen=True)
class _Blocks:
    """First and last instant of each block [s], its offset as a share of a cycle, its match, whether it is heard."""

    start_s: Floats
    end_s: Floats
    offset: Floats
    match: Floats
    heard: Flags


def mended(trace: Trace, course: Course) -> Course:
    """Course with a piece for every setting of the clock, and without holes where the timer ran on unseen.

    Parameters
    ----------
    trace : Trace
    course : Course

    Returns
    -------
    Course
        The same one where nothing better is found.
    """
    steady = len(course.pieces) == 1 and course.lag_spread < STEADY and course.present_share > 0.98
    if steady:
        return course
    blocks = _blocks(trace, course)
    if blocks is None:
        return course
    pieces = _pieces(trace, course, blocks)
    if not pieces or len(pieces) > max(4, int(blocks.heard.sum()) // 3):
        return course
    if len(pieces) == 1:
        return _run_on(trace, course, blocks, pieces[0])
    period, origin = course.folded.period_s, course.folded_from_s
    level = steady_level(trace, period)
    other = course_of(trace, level, fit_clock(trace, level, pieces, period, origin), origin)
    better = other.coherence * other.present_share > course.coherence * course.present_share + BETTER
    return other if better else course


def _run_on(trace: Trace, course: Course, blocks: _Blocks, piece: Piece) -> Course:
    """Course through a lull: one clock, by a line through the offsets of the blocks heard before and after it."""
    inside = blocks.heard & (blocks.start_s >= piece.start_s - 1.0) & (blocks.end_s <= piece.end_s + 1.0)
    covered = np.zeros(inside.size, dtype=bool)
    for known in course.pieces:
        covered |= (blocks.start_s >= known.start_s - 1.0) & (blocks.start_s < known.end_s)
    if int((inside & ~covered).sum()) < LEAST_AFTER:
        return course
    period = course.folded.period_s
    late = (blocks.offset[inside] - _middle(blocks.offset[inside]) + 0.5) % 1.0 - 0.5 + _middle(blocks.offset[inside])
    late = late - np.rint(_middle(blocks.offset[inside]))
    at = 0.5 * (blocks.start_s + blocks.end_s)[inside] - course.first_s
    match = np.clip(blocks.match[inside], 0.0, 0.99)
    slope, start = np.polyfit(at, late * period, 1, w=match / np.sqrt(1.0 - match**2))
    longest = max(course.pieces, key=lambda known: known.end_s - known.start_s)
    share = float(((trace.time_s >= piece.start_s) & (trace.time_s <= piece.end_s)).mean())
    return replace(
        course,
        half_cycle_s=course.half_cycle_s * (1.0 + float(slope)),
        pieces=(Piece(piece.start_s, piece.end_s, longest.offset_s + float(start)),),
        present_share=share,
    )


def _blocks(trace: Trace, course: Course) -> _Blocks | None:
    """Match of each block of cycles with the average cycle."""
    period, step = course.folded.period_s, trace.interval_s
    each = max(LEAST_CYCLES, int(np.ceil(READINGS * step / period)))
    longest = max(course.pieces, key=lambda piece: piece.end_s - piece.start_s)
    position = (trace.time_s - course.folded_from_s - longest.offset_s) / period
    number = np.floor(position / each).astype(np.int64)
    number -= number[0]
    many = int(number[-1]) + 1
    if many < LEAST_BLOCKS:
        return None
    level = without_drift(trace, period)
    count = np.bincount(number, minlength=many)
    power = np.bincount(number, level**2, many)
    size = np.empty((OFFSETS, many))
    for i in range(OFFSETS):
        phase = np.mod(position - i / OFFSETS, 1.0) * period
        curve = np.interp(phase, course.folded.phase_s, course.folded.value, period=period)
        mean = np.bincount(number, curve, many) / np.maximum(count, 1)
        curve = curve - mean[number]
        inner = np.bincount(number, level * curve, many)
        energy = np.bincount(number, curve**2, many)
        size[i] = inner / np.sqrt(np.maximum(energy * power, 1e-300))
    best = size.argmax(axis=0)
    heard = (size.max(axis=0) >= HEARD) & (count >= 0.6 * each * period / step)
    first = np.searchsorted(number, np.arange(many))
    last = np.searchsorted(number, np.arange(many), side="right") - 1
    return _Blocks(
        trace.time_s[first.clip(max=number.size - 1)], trace.time_s[last], best / OFFSETS, size.max(axis=0), heard
    )


def _pieces(trace: Trace, course: Course, blocks: _Blocks) -> tuple[Piece, ...]:
    """One piece for each run of blocks that keep one clock."""
    period = course.folded.period_s
    longest = max(course.pieces, key=lambda piece: piece.end_s - piece.start_s)
    runs: list[list[int]] = []
    heard = np.flatnonzero(blocks.heard)
    for place, block in enumerate(heard):
        if runs and _apart(blocks.offset[block], _middle(blocks.offset[runs[-1]])) <= SAME:
            runs[-1].append(int(block))
            continue
        following = heard[place + 1 : place + 2]
        borne_out = following.size and _apart(blocks.offset[following[0]], blocks.offset[block]) <= SAME
        if borne_out or not runs:
            runs.append([int(block)])
    kept = [run for run in (_without_stragglers(run) for run in runs) if len(run) >= 2]
    pieces: list[Piece] = []
    for number, run in enumerate(kept):
        offset = (_middle(blocks.offset[run]) + 0.5) % 1.0 - 0.5
        start = float(blocks.start_s[run[0]])
        if number > 0:
            start = _turn(
                trace, course, pieces[-1].offset_s, longest.offset_s + offset * period, kept[number - 1], run, blocks
            )
            pieces[-1] = Piece(pieces[-1].start_s, min(pieces[-1].end_s, start), pieces[-1].offset_s)
        pieces.append(Piece(start, float(blocks.end_s[run[-1]]), longest.offset_s + offset * period))
    return _to_the_ends(trace, tuple(pieces), course)


def _without_stragglers(run: list[int]) -> list[int]:
    """Blocks of a run up to the last lull after which it shows for some time again."""
    parts: list[list[int]] = []
    for block in run:
        if parts and block - parts[-1][-1] <= LULL:
            parts[-1].append(block)
        else:
            parts.append([block])
    lasting = [i for i, part in enumerate(parts) if len(part) >= LEAST_AFTER]
    if not lasting:
        return max(parts, key=len)
    return [block for part in parts[lasting[0] : lasting[-1] + 1] for block in part]


def _to_the_ends(trace: Trace, pieces: tuple[Piece, ...], course: Course) -> tuple[Piece, ...]:
    """First and last piece drawn out to where the course was present: half a block at either end is not heard."""
    if not pieces:
        return pieces
    first, last = pieces[0], pieces[-1]
    pieces = (Piece(min(first.start_s, course.pieces[0].start_s), first.end_s, first.offset_s), *pieces[1:])
    last = pieces[-1]
    end = max(last.end_s, course.pieces[-1].end_s)
    reach = READINGS * trace.interval_s + LEAST_CYCLES * course.folded.period_s
    if trace.time_s[-1] - last.end_s < reach:
        end = max(end, float(trace.time_s[-1]))
    return (*pieces[:-1], Piece(last.start_s, end, last.offset_s))


def _turn(
    trace: Trace, course: Course, before_s: float, after_s: float, earlier: list[int], later: list[int], blocks: _Blocks
) -> float:
    """Instant from which the later offset explains the readings better than the earlier one."""
    period = course.folded.period_s
    a, b = np.searchsorted(trace.time_s, (blocks.start_s[earlier[-1]], blocks.end_s[later[0]]))
    time_s = trace.time_s[a:b]
    level = without_drift(trace, period)[a:b]
    curves = [
        np.interp(
            np.mod(time_s - course.folded_from_s - offset, period),
            course.folded.phase_s,
            course.folded.value,
            period=period,
        )
        for offset in (before_s, after_s)
    ]
    gain = np.cumsum(level * (curves[0] - curves[1]))
    return float(time_s[int(np.argmax(gain))])


def _apart(one: float, other: float) -> float:
    """Distance on a circle of length one."""
    return abs((one - other + 0.5) % 1.0 - 0.5)


def _middle(offset: Floats) -> float:
    """Mean direction of offsets on a circle of length one."""
    turned = np.exp(2j * np.pi * np.asarray(offset)).sum()
    return float(np.angle(turned) / (2.0 * np.pi)) % 1.0
