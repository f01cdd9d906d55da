"""Where a rhythm is present, and at which offset of its clock: the likeliest path through the cycles of the log.

Each cycle (or group of cycles) says by correlation with the template how likely every offset is, against the rhythm
being absent. Offsets change only at a reset or a pause; a change has to earn its cost.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diagnostics.cycle.clock import Piece, aligned_times, template
from diagnostics.cycle.folding import fold
from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Floats

JUMP_COST, JUMP_COST_PER_FOLD = 8.0, 2.0
"""Log-likelihood a reset, a pause or a stop must gain before it is believed, and its growth with the log's length."""
LEAST_RATE = 0.35
"""Log-likelihood a cycle that a piece must gain, against the longest piece."""
LEAST_PIECE = 3.5
"""Cycles a piece must last."""
DRIFT_COST = 5.0
"""Cost of moving by one bin: the shape of a cycle changes with the load and takes its best offset along."""
MOST_ROWS, MOST_CORRELATED = 1200, 4800
MOST_PER_CYCLE = 6.0
MOST_AVERAGED, BURIED = 25, 0.1
"""Rows over which the rhythm's size is averaged, and share of the trace that its cycle explains below which no row
tells its own offset."""
SAME_OFFSET = 0.08
LONGEST_LULL = 12.0
"""Cycles without visible rhythm that are bridged when it goes on at the same offset."""


def present_pieces(
    trace: Trace, level: Floats, pieces: tuple[Piece, ...], period_s: float, origin_s: float, break_s: float
) -> tuple[Piece, ...]:
    """Stretches in which the rhythm is present at one offset.

    Parameters
    ----------
    trace : Trace
    level : ndarray, shape (n,)
        The trace without drift.
    pieces : tuple of Piece
        As known so far; they make the template.
    period_s, origin_s : float
    break_s : float
        Phase of a switchover after ``origin_s``; a row of cycles is laid so that it stands in its middle [s].

    Returns
    -------
    tuple of Piece
        Offsets within half a period of zero.
    """
    aligned, inside = aligned_times(trace, pieces)
    folded = fold(aligned[inside], level[inside], period_s, trace.interval_s, origin_s)
    bins = int(np.clip(2 ** np.ceil(np.log2(1.5 * period_s / trace.interval_s)), 16, 512))
    shape, _ = template(folded, trace.interval_s)
    start_s = break_s - 0.5 * period_s
    centres = start_s + (np.arange(bins) + 0.5) * period_s / bins
    curve = np.interp(centres, folded.phase_s, shape, period=period_s)
    offset0 = pieces[int(np.argmax([p.end_s - p.start_s for p in pieces]))].offset_s
    explained = float((folded.weight * folded.value**2).sum() / max(float((level[inside] ** 2).sum()), 1e-300))
    buried = explained < BURIED
    likelihood, edges = _likelihood(trace, level, curve, period_s, origin_s + offset0 + start_s, buried)
    path = _path(likelihood)
    return _stretches(path, likelihood, edges, offset0, period_s)


def _likelihood(
    trace: Trace, level: Floats, curve: Floats, period_s: float, origin_s: float, buried: bool
) -> tuple[Floats, Floats]:
    """Log-likelihood of each offset in each row of cycles against absence, and the rows' edges [epoch s]."""
    bins = curve.size
    position = (trace.time_s - origin_s) / period_s
    row = np.floor(position).astype(np.int64)
    first = int(row[0])
    cell = np.minimum(((position - row) * bins).astype(np.int64), bins - 1)
    # in a very long log a row is already several cycles
    together = max(1, int(row[-1] - first + 1) // MOST_CORRELATED)
    row = (row - first) // together
    rows = int(row[-1]) + 1
    key = row * bins + cell
    count = np.bincount(key, minlength=rows * bins).reshape(rows, bins).astype(float)
    heard = np.bincount(key, level, rows * bins).reshape(rows, bins)
    inner, energy = _correlate(heard, curve), _correlate(count, curve**2)
    size = _amplitude(inner, energy, buried)
    noise = _noise(heard, count, inner, energy, size, curve)
    gain = (size[:, None] * inner - 0.5 * size[:, None] ** 2 * energy) / noise
    # a step of the load can spoil a cycle, but no single cycle may decide that the timer was reset
    gain = np.clip(gain, -MOST_PER_CYCLE * together, MOST_PER_CYCLE * together)
    each = max(1, -(-rows // MOST_ROWS))
    if each > 1:
        gain = np.add.reduceat(gain, np.arange(0, rows, each), axis=0)
    starts = np.minimum(np.arange(gain.shape[0] + 1) * each, rows)
    return gain, origin_s + (first + starts * together) * period_s


def _correlate(rows: NDArray[Any], curve: Floats) -> Floats:
    """Circular correlation of each row with the curve moved by each number of bins."""
    from scipy.fft import irfft, rfft

    return irfft(rfft(rows, axis=1) * np.conj(rfft(curve))[None, :], curve.size, axis=1)


def _amplitude(inner: Floats, energy: Floats, buried: bool) -> Floats:
    """Local size of the rhythm against the template, at least half the usual: a running median at each row's best
    offset; where noise buries that, no more than at the best offset of some rows together, in which it goes out.
    """
    from scipy.ndimage import median_filter

    best = np.argmax(inner, axis=1)
    rows = np.arange(best.size)
    own = energy[rows, best]
    size = np.where(own > 0, inner[rows, best] / np.where(own > 0, own, 1.0), 1.0)
    usual = max(float(np.median(size)), 0.3)
    width = min(MOST_AVERAGED, 2 * (size.size // 4) + 1)
    size = median_filter(size, width, mode="nearest")
    if buried:
        first = np.arange(0, size.size, MOST_AVERAGED)
        heard, due = np.add.reduceat(inner, first, axis=0), np.add.reduceat(energy, first, axis=0)
        best = np.argmax(heard, axis=1)
        block = np.arange(best.size)
        of_block = heard[block, best] / np.maximum(due[block, best], 1e-300)
        size = np.minimum(size, np.repeat(of_block, MOST_AVERAGED)[: size.size])
    return np.clip(size, 0.5 * usual, 4.0 * usual)


def _noise(
    heard: NDArray[Any], count: NDArray[Any], inner: Floats, energy: Floats, size: Floats, curve: Floats
) -> float:
    """Variance a reading would need, were the noise white, to scatter the correlation as the log's own noise does."""
    best = np.argmax(inner, axis=1)
    moved = curve[(np.arange(curve.size)[None, :] - best[:, None]) % curve.size]
    left = heard - size[:, None] * count * moved
    scatter = _correlate(left, curve)
    usual = float(np.median(scatter**2)) / 0.455
    return usual / max(float(np.median(energy)), 1e-30) + 1e-12


def _path(gain: Floats) -> np.ndarray:
    """Likeliest state of each row: an offset in bins, or -1 where the rhythm is absent (Viterbi)."""
    rows, bins = gain.shape
    jump_cost = JUMP_COST + JUMP_COST_PER_FOLD * np.log(rows)
    score = np.zeros((rows, bins + 1))
    score[:, :-1] = gain
    highest = np.empty(rows)
    around, near = np.empty(bins + 2), np.empty(bins)
    for i in range(1, rows):
        last, value = score[i - 1], score[i]
        highest[i - 1] = last.max()
        around[1:-1], around[0], around[-1] = last[:-1], last[-2], last[0]
        np.maximum(around[:-2], around[2:], out=near)
        near -= DRIFT_COST
        np.maximum(near, around[1:-1], out=near)
        value[:-1] += np.maximum(near, highest[i - 1] - jump_cost, out=near)
        value[-1] += max(last[-1], highest[i - 1] - jump_cost)
    path = np.empty(rows, dtype=np.int64)
    path[-1] = int(np.argmax(score[-1]))
    for i in range(rows - 1, 0, -1):
        path[i - 1] = _source(score[i - 1], int(path[i]), float(highest[i - 1]) - jump_cost)
    path[path == bins] = -1
    return path


def _source(score: Floats, state: int, leap: float) -> int:
    """State of the row before from which a state was reached at least cost."""
    bins = score.size - 1
    come, value = state, float(score[state])
    if state < bins:
        lower, upper = (state - 1) % bins, (state + 1) % bins
        beside = upper if score[upper] > score[lower] else lower
        if score[beside] - DRIFT_COST > value:
            come, value = beside, float(score[beside]) - DRIFT_COST
    return int(np.argmax(score)) if leap > value else come


def _stretches(path: np.ndarray, gain: Floats, edges: Floats, offset_s: float, period_s: float) -> tuple[Piece, ...]:
    """Unbroken stretches of the path that earn their keep, and the offset of each."""
    bins = gain.shape[1]
    step = np.diff(path)
    step = np.where((path[:-1] >= 0) & (path[1:] >= 0), (step + bins // 2) % bins - bins // 2, 2 * (step != 0))
    cuts = np.concatenate([[0], np.flatnonzero(np.abs(step) > 1) + 1, [path.size]])
    found: list[tuple[Piece, float]] = []
    for a, b in itertools.pairwise(cuts):
        if path[a] < 0 or edges[b] - edges[a] < LEAST_PIECE * period_s:
            continue
        way = np.unwrap(path[a:b] * (2.0 * np.pi / bins)) * (bins / (2.0 * np.pi))
        moved = (float(np.median(way)) + bins / 2) % bins - bins / 2
        piece = Piece(float(edges[a]), float(edges[b]), offset_s + moved * period_s / bins)
        found.append((piece, float(gain[np.arange(a, b), path[a:b]].sum())))
    if not found:
        return ()
    longest, gained = max(found, key=lambda item: item[0].end_s - item[0].start_s)
    rate = gained / (longest.end_s - longest.start_s)
    kept = [piece for piece, own in found if own >= LEAST_RATE * rate * (piece.end_s - piece.start_s)]
    return _bridged(kept, period_s)


def _bridged(pieces: list[Piece], period_s: float) -> tuple[Piece, ...]:
    joined: list[Piece] = []
    for piece in pieces:
        if joined:
            last = joined[-1]
            apart = (piece.offset_s - last.offset_s) / period_s
            same = abs(apart - np.rint(apart)) < SAME_OFFSET
            if same and piece.start_s - last.end_s < LONGEST_LULL * period_s:
                longer = last if last.end_s - last.start_s > piece.end_s - piece.start_s else piece
                joined[-1] = Piece(last.start_s, piece.end_s, longer.offset_s)
                continue
        joined.append(piece)
    return tuple(joined)
