"""Rows into the order of time.

Question: in which order were the rows logged, and which stamps repeat or go back? Input: instants in the order of the
file. Output: `Order`. Method: a file that runs backwards is turned; stretches between backward steps are laid side by
side in time; where a later stretch covers time that is covered already, its rows there cannot be placed and are set
aside, counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.record import ClockJump, Floats
from diagnostics.moment import say_duration, say_time

_MOST_STRETCHES = 50
_MOST_JUMPS = 100
_NEAR = 0.6
"""Share of the interval within which two readings claim the same place in time."""


@dataclass(frozen=True)
class Order:
    """How to take the rows.

    Attributes
    ----------
    rows : ndarray of int, or slice
        Rows of the file to keep, in the order of time; a slice where all stay in their own order.
    time_s : ndarray
        Their instants, strictly ascending [epoch s].
    repeated : int
        Rows set aside because their time is covered already.
    clock_jumps : tuple of ClockJump
        None of them explained.
    notes : tuple of str
    """

    rows: NDArray[np.int64] | slice
    time_s: Floats
    repeated: int
    clock_jumps: tuple[ClockJump, ...]
    notes: tuple[str, ...]


def is_newest_first(stamps_s: Floats) -> bool:
    """Whether stamps run backwards as a rule."""
    back = int(np.count_nonzero(stamps_s[1:] < stamps_s[:-1]))
    moving = back + int(np.count_nonzero(stamps_s[1:] > stamps_s[:-1])) if back else 0
    return moving > 0 and back / moving > 0.5 + 0.25 * (moving > 8)


def arrange(time_s: Floats, timezone: str | None, identical: NDArray[np.bool_] | None = None) -> Order:
    """Put rows in the order of time.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Instants in the order of the file [epoch s], all finite.
    timezone : str or None
        For the notes' times.
    identical : ndarray of bool, shape (n,), optional
        Where a row's numbers all equal those of the row before; rows written twice are no second reading.

    Returns
    -------
    Order
    """
    if time_s.size < 2 or (time_s[1:] > time_s[:-1]).all():
        return Order(slice(None), time_s, 0, (), ())
    rows = np.arange(time_s.size)
    steps = np.diff(time_s)
    written_twice = (
        identical is not None and bool(np.mean(identical[1:][steps == 0]) > 0.95) if (steps == 0).any() else False
    )
    spread = None if written_twice else _spread_rounded(time_s)
    if spread is not None:
        return spread
    back = np.flatnonzero(steps < 0)
    interval = _interval(steps)
    notes: list[str] = []
    if back.size > max(_MOST_STRETCHES, 0.02 * time_s.size):
        order = np.argsort(time_s, kind="stable")
        notes.append(f"The rows are out of order ({back.size} steps back); they were sorted by their stamps.")
        jumps = [ClockJump(float(time_s[back[0]]), float(steps[back[0]]), False)]
        kept = order
    else:
        kept = _side_by_side(time_s, back, interval)
        jumps = [ClockJump(float(time_s[i]), float(steps[i]), False) for i in back[:_MOST_JUMPS]]
    sorted_s = time_s[kept]
    first = np.concatenate(([True], np.diff(sorted_s) > 0))
    same = kept[~first]
    kept = kept[first]
    repeated = int(time_s.size - kept.size)
    if not back.size:
        jumps = _repeats(time_s, same)
    for jump in jumps[:3]:
        if jump.step_s < 0:
            notes.append(
                f"At {say_time(jump.time_s, timezone)} the stamps go back by {say_duration(-jump.step_s)}; no rule of"
                " the site's zone explains it."
            )
    if repeated:
        where = say_time(float(time_s[np.setdiff1d(rows, kept, assume_unique=True)[0]]), timezone)
        notes.append(f"{repeated} rows repeat a time that is covered already (from {where}) and were set aside.")
    return Order(kept, time_s[kept], repeated, tuple(jumps), tuple(notes))


def _interval(steps: Floats) -> float:
    ahead = steps[steps > 0]
    return float(np.median(ahead)) if ahead.size else 0.0


def _side_by_side(time_s: Floats, back: NDArray[np.int64], interval: float) -> NDArray[np.int64]:
    edges = [0, *(back + 1).tolist(), time_s.size]
    placed = np.arange(edges[0], edges[1])
    for start, end in pairwise(edges[1:]):
        rows = np.arange(start, end)
        taken = time_s[placed]
        own = time_s[rows]
        at = np.searchsorted(taken, own)
        nearest = np.minimum(
            np.abs(own - taken[np.clip(at - 1, 0, taken.size - 1)]), np.abs(taken[np.clip(at, 0, taken.size - 1)] - own)
        )
        rows = rows[nearest >= _NEAR * interval] if interval > 0 else rows[nearest > 0]
        placed = np.concatenate((placed, rows))
        placed = placed[np.argsort(time_s[placed], kind="stable")]
    return placed


def _repeats(time_s: Floats, same: NDArray[np.int64]) -> list[ClockJump]:
    """One jump for each run of repeated stamps."""
    if same.size == 0:
        return []
    same = np.sort(same)
    starts = same[np.concatenate(([True], np.diff(same) > 2))]
    return [ClockJump(float(time_s[i]), 0.0, False) for i in starts[:_MOST_JUMPS]]


def _spread_rounded(time_s: Floats) -> Order | None:
    """Spread readings whose stamps were cut to the minute, so that several share one, evenly over it."""
    if np.diff(time_s).min() < 0:
        return None
    stamps, counts = np.unique(time_s, return_counts=True)
    if stamps.size < 5:
        return None
    usual = float(np.median(counts[1:-1]))
    unit = float(np.median(np.diff(stamps)))
    regular = np.mean(np.abs(counts[1:-1] - usual) <= max(1.0, 0.1 * usual))
    if usual < 2 or regular < 0.9 or unit not in (1.0, 60.0, 3600.0):
        return None
    within = np.arange(time_s.size) - np.repeat(np.concatenate(([0], np.cumsum(counts)[:-1])), counts)
    share = np.maximum(np.repeat(counts, counts), usual)
    # The first stamp's readings end with its minute, the last one's begin with it.
    missing_first = max(0.0, usual - counts[0])
    within = within + np.where(np.repeat(np.arange(stamps.size) == 0, counts), missing_first, 0.0)
    spread = time_s + unit * within / share
    note = (
        f"Stamps are cut to {'the minute' if unit == 60 else say_duration(unit)} and about {usual:.0f} readings share"
        " one; they were spread evenly over it."
    )
    return Order(slice(None), spread, 0, (), (note,))
