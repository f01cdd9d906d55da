"""Switchovers of a fixed timer: from the course of its rhythm to instants and towers."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from diagnostics.cycle.tracking import Course
from diagnostics.log.record import Floats


@dataclass(frozen=True)
class Stretch:
    """Switchovers of an unbroken stretch, and the tower that starts to dry at each (None: not known).

    Attributes
    ----------
    start_s, end_s : float
        Within them the switchovers are known, none is missing [epoch s].
    switchovers_s : ndarray
    towers : tuple
        As long as ``switchovers_s``.
    """

    start_s: float
    end_s: float
    switchovers_s: Floats
    towers: tuple[str | None, ...]


def timer_stretches(course: Course, start_s: float, end_s: float) -> list[Stretch]:
    """Switchovers of each piece of a timer's course.

    Parameters
    ----------
    course : Course
    start_s, end_s : float
        First and last reading [epoch s].

    Returns
    -------
    list of Stretch
        Towers are named from the first one seen; after a reset they are known only where the towers differ.
    """
    half = course.half_cycle_s
    found: list[Stretch] = []
    first_number: int | None = None
    for piece in course.pieces:
        low, high = max(piece.start_s, start_s), min(piece.end_s, end_s)
        base = course.first_s + piece.offset_s
        numbers = np.arange(int(np.ceil((low - base) / half)), int(np.floor((high - base) / half)) + 1)
        if numbers.size == 0:
            continue
        if first_number is None:
            first_number = int(numbers[0])
        known = course.towers_differ or not found
        towers = tuple(("BA"[(int(n) - first_number) % 2] if known else None) for n in numbers)
        found.append(Stretch(low, high, base + half * numbers.astype(np.float64), towers))
    return _fitted(found, half)


def _fitted(stretches: list[Stretch], half_cycle_s: float) -> list[Stretch]:
    """Drop switchovers that would leave a sliver of a half-cycle where one piece meets the next."""
    kept = stretches[:1]
    for before, after in itertools.pairwise(stretches):
        late = after.switchovers_s > before.switchovers_s[-1] + 0.4 * half_cycle_s
        towers = tuple(t for t, keep in zip(after.towers, late, strict=True) if keep)
        kept.append(Stretch(after.start_s, after.end_s, after.switchovers_s[late], towers))
    return [stretch for stretch in kept if stretch.switchovers_s.size]
