"""Readings that stand still: a frozen sensor, a self-calibration's hold, the end of a range.

Question: where does the number not come from the air? Input: the logged dew point, as shown. Output: spans. Method:
runs of equal readings longer than the log's own noise, quantisation and quietness allow; a value at the edge of all
readings that piles up there is the end of the range.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.record import Flags, Floats

_BLOCK = 60
_RARE = 1e-6
_FEWEST = 6
_PILED, _HEAPED = 6.0, 20.0
"""Readings at an extreme against those a step beside it: a turning curve without noise has up to four times as many;
in a short half-cycle a range's end is met for a reading or two only, so that there the pile alone must tell."""


@dataclass(frozen=True, slots=True)
class Run:
    """Readings ``first`` to ``last`` (inclusive) that all show ``value``."""

    first: int
    last: int
    value: float

    @property
    def length(self) -> int:
        """Readings in the run."""
        return self.last - self.first + 1


_DRY_C = -25.0
_COARSE = 0.5
_FALL_K, _FALL_S = 7.0, 20.0
"""An e-fold of moisture at -60 degC, and the least time a probe with its line takes for one (common practice, no
published source)."""
_CALM = 0.5
_AT_REST = 0.25
"""Share of a log's readings at one value, in several runs, that no hang makes: a flat half-cycle in a coarse digit."""
_SHORTER = 2
_OFTEN, _LONG_SHARE = 4, 0.1
"""Where long runs at one value are matched by as many shorter ones, or fill much of a coarse log, the air rests."""
_SLOWS = 2.5
_SHOWN_REST_K = 0.05
"""In a finer digit the noise of probe and logger parts the readings at rest."""
_FAR_LONGER = 2.0
"""Times the longest usual run: a coarse digit over quiet air makes long runs of all lengths, a hang makes one apart."""


def find_range_end(values: Floats, resolution: float) -> tuple[float, ...]:
    """Values that are an end of the instrument's range.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Valid readings as logged.
    resolution : float
        Step of the last digit, 0 where unknown.

    Returns
    -------
    tuple of float
        The lowest, the highest, both or none of the readings.
    """
    ends = []
    if values.size < 20 or float(np.ptp(values)) == 0.0:
        return ()
    bulk = float(np.percentile(values, 99) - np.percentile(values, 1))
    step = max(resolution, 1e-3)
    for extreme, inward in ((float(values.min()), 1.0), (float(values.max()), -1.0)):
        at = np.abs(values - extreme) < 0.25 * step
        piled = int(at.sum())
        depth = inward * (values - extreme)
        beside = int(((depth >= 0.5 * step) & (depth < 5.5 * step)).sum()) / 5.0
        wide = bulk > 8.0 * step or piled > 0.9 * values.size
        if piled <= _PILED * max(beside, 1.0) or not wide or _rests(values, depth, step) or _nears(depth, step):
            continue
        runs = [r for r in runs_of_equal(at.astype(float)) if r.value == 1.0]
        # Wet air may well stay beyond the range for hours at a stretch, and no range ends above so dry a value.
        if (inward > 0.0 or extreme < _DRY_C) and _one_hang(values, runs, piled):
            continue
        if piled > _HEAPED * max(beside, 1.0):
            ends.append(extreme)
            continue
        longest = max((r.length for r in runs), default=0)
        if longest >= 5:
            ends.append(extreme)
    return tuple(ends)


def _one_hang(values: Floats, runs: list[Run], piled: int) -> bool:
    """Whether one hang makes the pile: a signal that swings comes to a range's end, and back over it, many times."""
    longest = max((r.length for r in runs), default=0)
    if longest < 20 and piled == longest:
        return True
    if longest < 20 or piled - longest > max(2.0, 0.02 * longest):
        return False
    tiles = values[: values.size // longest * longest].reshape(-1, longest)
    return tiles.shape[0] >= 4 and float(np.percentile(np.ptp(tiles, axis=1), 30)) > 1.0


def _rests(values: Floats, depth: Floats, step: float) -> bool:
    """Whether the signal stands still beside an extreme too: then a pile there is where the air comes to rest."""
    near = (depth >= 0.5 * step) & (depth < 20.5 * step)
    moves = np.abs(np.diff(values))[near[1:] & near[:-1]]
    return moves.size >= 20 and float(np.median(moves)) < 0.5 * step


def _nears(depth: Floats, step: float) -> bool:
    """Whether the signal slows down on its way to an extreme, so that a coarse digit rests there by itself.

    A relaxing signal with its rest within half a step of the extreme spends ln 3 of its time constant at the next value
    and 0.26 of it at the third to fifth at the mean, four times less; one that a range's end cuts off passes all of
    them at about one pace.
    """
    if step < _SHOWN_REST_K:
        return False
    piled, *count = (int((np.abs(depth - k * step) < 0.25 * step).sum()) for k in (0, 1, 3, 4, 5))
    # A rest lasts some tens of times as long as the way there; a hundred times is a pile beside which a few lie.
    return count[0] >= max(5, 0.01 * piled) and count[0] > _SLOWS * sum(count[1:]) / 3.0


def runs_of_equal(values: Floats, fewest: int = 3) -> list[Run]:
    """Runs of at least ``fewest`` equal readings, in order."""
    if values.size == 0:
        return []
    edges = np.flatnonzero(np.diff(values) != 0) + 1
    firsts = np.concatenate(([0], edges))
    lasts = np.concatenate((edges - 1, [values.size - 1]))
    long = lasts - firsts + 1 >= fewest
    return [Run(int(a), int(b), float(values[a])) for a, b in zip(firsts[long], lasts[long], strict=True)]


def find_frozen(values: Floats, resolution: float) -> list[Run]:
    """Runs of equal readings that this log's noise does not make.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Valid readings as logged.
    resolution : float
        Step of the last digit; 0 where none shows, then every repeat is rare.

    Returns
    -------
    list of Run
    """
    kept = np.flatnonzero(~np.isin(values, _resting_values(values)))
    moving = values[kept]
    if moving.size < 3 * _FEWEST or float(np.ptp(moving)) == 0.0:
        return []
    needed = _longest_by_chance(moving)
    runs = runs_of_equal(moving, _FEWEST)
    usual = max((r.length for r in runs if r.length <= needed), default=0)
    # Values at rest that were left out may part what looks like one run without them.
    whole = [r for r in runs if kept[r.last] - kept[r.first] == r.last - r.first]
    digit = max(resolution, 1e-6)
    long = [r for r in whole if r.length > max(needed, _FAR_LONGER * usual) and _others_move(moving, r, digit)]
    frozen = [Run(int(kept[r.first]), int(kept[r.last]), r.value) for r in long]
    frozen = [r for r in frozen if not _slides_through(values, r, resolution)]
    every = runs_of_equal(values, _FEWEST)
    return [r for r in frozen if not _comes_to_rest(values, every, frozen, r, digit)]


def _slides_through(values: Floats, run: Run, resolution: float) -> bool:
    """Whether a coarse digit may hide air that moves on: the readings enter and leave the run by one digit."""
    if resolution < _COARSE or run.first == 0 or run.last + 1 >= values.size:
        return False
    beside = np.abs(np.array([values[run.first - 1], values[run.last + 1]]) - run.value)
    return bool((beside < 1.5 * resolution).all())


def _comes_to_rest(values: Floats, runs: list[Run], frozen: list[Run], run: Run, digit: float) -> bool:
    """Whether the air itself comes to rest there: it slows down on the way, and rests there for shorter times too."""
    near = sum(abs(other.value - run.value) < 1.5 * digit for other in runs)
    held = [other.length for other in frozen if abs(other.value - run.value) < 1.5 * digit]
    usual = digit >= _COARSE and len(held) >= _OFTEN and sum(held) > _LONG_SHARE * values.size
    if near < _SHORTER * len(held) + 2 and not usual:
        return False
    beside = max(_FEWEST, run.length // 6)
    before, after = values[max(0, run.first - beside) : run.first], values[run.last + 1 : run.last + 1 + beside]
    return any(side.size >= _FEWEST and float(np.ptp(side)) < 2.5 * digit for side in (before, after))


def _resting_values(values: Floats) -> list[float]:
    """Values that the signal comes to rest at again and again, as a coarse or idle one does: no sign of a hang."""
    runs = runs_of_equal(values, _FEWEST)
    counts, held = Counter(r.value for r in runs), Counter[float]()
    for run in runs:
        held[run.value] += run.length
    often = {value for value, count in counts.items() if count >= 5}
    return [value for value in often if counts[value] > len(runs) / 3 or held[value] > _AT_REST * values.size]


def _longest_by_chance(values: Floats) -> float:
    """Length that a run of equal readings does not reach by chance in a log this long.

    Runs that are too long for the rest of the log must not vouch for themselves: the share of repeats is taken from
    shorter ones, and again as long as that lets longer ones in.
    """
    runs = runs_of_equal(values, _FEWEST)
    equal = np.diff(values) == 0
    needed = 2.0 * _FEWEST
    for _ in range(12):
        counted = np.ones(equal.size, dtype=bool)
        for run in runs:
            if run.length > needed:
                counted[run.first : run.last] = False
        repeats = equal[counted].astype(float)
        size = max(1, min(_BLOCK, repeats.size // 8))
        blocks = repeats[: repeats.size // size * size].reshape(-1, size).mean(axis=1)
        if blocks.size == 0:
            return float("inf")
        share = float(np.clip(np.percentile(blocks, 80), 0.02, 0.998))
        longer = max(2.0 * _FEWEST, float(np.log(_RARE / values.size) / np.log(share)))
        if longer <= needed:
            break
        needed = longer
    return max(float(_FEWEST - 1), float(np.log(_RARE / values.size) / np.log(share)))


def _others_move(values: Floats, run: Run, resolution: float) -> bool:
    """Whether stretches as long as the run move by several digits elsewhere in the log, even the quiet ones."""
    length = run.length
    blocks = values.size // length
    if blocks < 4:
        half = max(2, length // 8)
        outside = np.concatenate((values[: run.first], values[run.last + 1 :]))
        blocks, length = outside.size // half, half
        if blocks < 3:
            return False
        tiles = outside[: blocks * length].reshape(blocks, length)
    else:
        tiles = values[: blocks * length].reshape(blocks, length)
    spans: NDArray[np.float64] = np.ptp(tiles, axis=1)
    spans = spans[spans > 0]
    return spans.size > 0 and float(np.percentile(spans, 20)) > 2.5 * resolution


def single_spikes(values: Floats, interval_s: float = 60.0) -> Flags:
    """Single readings that leave and come back faster than any humidity can.

    What falls faster than a probe can dry is never air, be it down and back or up and back. A slower one counts only
    where it is rare and the readings beside it are calm, since at a switchover the fresh bed's dry air or the spike of
    the old one's may fill one reading of a coarse log.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Valid readings [K apart].
    interval_s : float
        Usual time between readings [s].

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    spikes = np.zeros(values.size, dtype=bool)
    if values.size < 20:
        return spikes
    before, here, after = values[:-2], values[1:-1], values[2:]
    apart = np.abs(before - after)
    usual = float(np.median(np.abs(np.diff(values)))) + 1e-9
    large = max(8.0, 20.0 * usual)
    depth = np.minimum(before, after) - here
    down = (depth > large) & (apart < 0.3 * large)
    height = here - np.maximum(before, after)
    up = (height > max(15.0, 2.0 * large)) & (apart < np.maximum(2.0 + 4.0 * usual, 0.12 * height))
    size = np.maximum(depth, height)
    too_fast = size > _FALL_K * interval_s / _FALL_S
    calm = _spread_beside(values) < _CALM * size
    most = max(3, int(0.003 * values.size))
    for kind, at_most in ((up & ~too_fast & calm, most), (up & too_fast, 0.01 * values.size)):
        if kind.sum() <= at_most:
            spikes[1:-1] |= kind
    down &= too_fast | calm
    if down.sum() <= 0.01 * values.size:
        spikes[1:-1] |= down
    return spikes


def _spread_beside(values: Floats) -> Floats:
    """Spread of the three readings before and the three behind each reading but the first and last."""
    wide = np.pad(values, 2, mode="edge")
    beside = np.stack([wide[shift : shift + values.size - 2] for shift in (0, 1, 2, 4, 5, 6)])
    spread: Floats = np.ptp(beside, axis=0)
    return spread
