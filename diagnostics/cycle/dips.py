"""Changeovers on the supply side: the pressure falls short for a reading each time a vessel has to be filled.

At a changeover the vessel that takes over is brought up to line pressure and the other one is blown off, so that the
pressure of a loaded compressor rises less than just before and just after, or dips. Where the compressor is loaded
only for a minute or two at a time, neither a spectrum nor a folded curve has enough to go by; single dips have. They
are set against all combs of one spacing in running time; shuffling the readings under load tells what chance would do.
Other columns that dip together with the named one lend it support.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.cycle.running import RunningClock
from diagnostics.log.record import Flags, Floats

FALSE_ALARM = 1e-3
LEAST_READINGS, LEAST_TEETH = 4.0, 5.0
"""Readings of the shortest half-cycle, and half-cycles a stretch must hold."""
BESIDE = 4
"""Readings on either side that say how the column would have gone on."""
DEEPEST, HIGHEST = 4.0, 1.0
"""Limits of a standardised dip and of its opposite: one deep dip must not make a comb."""
DIP = 3.0
"""Standardised depth from which a reading counts as a dip."""
LEAST_ROWS, WINDOW_ROWS, MOST_STRETCHES = 24, 60, 12
SHUFFLES, BLOCK = 4000, 500
LIVELY = 10.0
"""How much faster the column moves while its compressor is loaded than while it is not."""


@dataclass(frozen=True)
class Dips:
    """Shortfalls of a column under load, one each reading.

    Attributes
    ----------
    row : ndarray of int
        Readings with a shortfall that can be told, ascending.
    before_s, at_s : ndarray
        Running time of the reading before and of this one [s].
    depth : ndarray
        Standardised shortfalls, supported by other columns, their mean removed.
    """

    row: NDArray[np.intp]
    before_s: Floats
    at_s: Floats
    depth: Floats

    def part(self, first: int, last: int) -> Dips:
        """Readings ``first`` to ``last``, the last one left out."""
        return Dips(self.row[first:last], self.before_s[first:last], self.at_s[first:last], self.depth[first:last])

    def struck(self, period_s: Floats | float, phase_s: Floats | float) -> NDArray[np.bool_]:
        """Which readings a comb strikes: a tooth lies after the reading before and not after this one."""
        return np.asarray(
            np.floor((self.at_s - phase_s) / period_s) > np.floor((self.before_s - phase_s) / period_s), dtype=np.bool_
        )


@dataclass(frozen=True)
class DipComb:
    """A spacing of dips.

    Attributes
    ----------
    half_cycle_s, phase_s : float
        Spacing, and running time of one of the teeth [s].
    false_alarm_probability : float
        Of a comb so well met anywhere among shuffled readings.
    """

    half_cycle_s: float
    phase_s: float
    false_alarm_probability: float


def liveliest(clocks: Sequence[RunningClock], header: str, values: Floats) -> RunningClock | None:
    """Clock that runs while the named column moves and stands while it does not, else its own upper level; or None.

    Of several the one that runs longest: the first reading under load belongs to it.
    """
    step = np.abs(np.diff(values))
    moved = step[step > 0]
    if moved.size == 0:
        return None
    digit = float(moved.min())
    best = next((clock for clock in clocks if clock.column == header and not clock.idle_side), None)
    found: RunningClock | None = None
    for clock in clocks:
        running, standing = clock.on[1:] & clock.on[:-1], ~clock.on[1:] & ~clock.on[:-1]
        if running.sum() < LEAST_ROWS or not standing.any():
            continue
        lively = np.nanmedian(step[running]) > LIVELY * (np.nanmedian(step[standing]) + digit)
        if lively and (found is None or clock.on.sum() > found.on.sum()):
            found = clock
    return found or best


def shortfall(values: Floats, on: Flags) -> Floats:
    """How much less a column rose to each reading than beside it, in robust spreads; NaN where that cannot be told.

    Parameters
    ----------
    values : ndarray, shape (n,)
    on : ndarray of bool, shape (n,)
        Under load. The first rise after a start does not count: the line is still filling.
    """
    inside = np.concatenate([[False, False], on[2:] & on[1:-1] & on[:-2]])
    rise = np.where(inside, np.concatenate([[np.nan], np.diff(values)]), np.nan)
    rows = np.flatnonzero(np.isfinite(rise))
    left = np.full(values.size, np.nan)
    if rows.size < LEAST_ROWS:
        return left
    apart = np.concatenate([np.arange(-BESIDE, 0), np.arange(1, BESIDE + 1)])
    place = rows[:, None] + apart[None, :]
    beside = np.where((place >= 0) & (place < values.size), rise[np.clip(place, 0, values.size - 1)], np.nan)
    enough = np.isfinite(beside).sum(axis=1) >= 3
    rows, beside = rows[enough], beside[enough]
    if rows.size < LEAST_ROWS:
        return left
    short = np.nanmedian(beside, axis=1) - rise[rows]
    steps = np.abs(short[short != 0])
    spread = max(1.4826 * float(np.median(np.abs(short))), 0.3 * float(steps.min()) if steps.size else 0.0)
    left[rows] = short / spread if spread > 0 else 0.0
    return left


def dips_of(values: Floats, others: Sequence[Floats], clock: RunningClock) -> Dips | None:
    """Dips of a column under load, with the support of columns that dip together with it."""
    own = shortfall(values, clock.on)
    row = np.flatnonzero(np.isfinite(own))
    if row.size < LEAST_ROWS:
        return None
    depth = np.clip(own[row], -HIGHEST, DEEPEST)
    total = depth.copy()
    for other in others:
        beside = np.nan_to_num(np.clip(shortfall(other, clock.on)[row], -HIGHEST, DEEPEST))
        if beside.std() > 0 and depth.std() > 0:
            total += max(0.0, float(np.corrcoef(depth, beside)[0, 1])) * beside
    return Dips(row, clock.run_s[row - 1], clock.run_s[row], total - total.mean())


def dip_comb(dips: Dips, interval_s: float) -> DipComb | None:
    """Comb that the dips meet beyond chance, or None.

    A clock that is read only at the log's interval when the compressor starts and stops goes astray with every run:
    within stretches of limited length the teeth keep one phase, from one to the next only their spacing.
    """
    edges = np.linspace(0, dips.row.size, max(1, dips.row.size // WINDOW_ROWS) + 1).astype(int)
    stretches = [dips.part(int(a), int(b)) for a, b in itertools.pairwise(edges)]
    stretches = stretches[:: -(-len(stretches) // MOST_STRETCHES)]
    shortest = min(float(part.at_s[-1] - part.before_s[0]) for part in stretches)
    spacing = _spacings(shortest, interval_s)
    if spacing.size == 0:
        return None
    rng = np.random.default_rng(0)
    met, by_chance = np.zeros(spacing.size), np.zeros((spacing.size, SHUFFLES))
    phases = []
    for part in stretches:
        teeth, owner, phase_s = _combs(part, spacing, interval_s)
        if np.unique(owner).size < spacing.size:
            return None
        first = np.flatnonzero(np.diff(owner, prepend=-1))
        own = teeth @ part.depth
        met += np.maximum.reduceat(own, first)
        for block in range(0, SHUFFLES, BLOCK):
            shuffled = rng.permuted(np.tile(part.depth, (BLOCK, 1)), axis=1).T
            by_chance[:, block : block + BLOCK] += np.maximum.reduceat(teeth @ shuffled, first, axis=0)
        phases.append((own, owner, phase_s))
    best = int(np.argmax(met))
    chance = _tail(by_chance.max(axis=0), float(met[best]))
    own, owner, phase_s = max(phases, key=lambda item: float(item[0][item[1] == best].max()))
    at = int(np.argmax(np.where(owner == best, own, -np.inf)))
    return DipComb(float(spacing[best]), float(phase_s[at]), chance) if chance <= FALSE_ALARM else None


def _tail(most: Floats, value: float) -> float:
    """Chance of a value this large: by count, and beyond the shuffles' reach by the Gumbel law of largest values."""
    beyond = float((most >= value).sum())
    if beyond > 0 or value <= float(most.max()):
        return (1.0 + beyond) / (1.0 + most.size)
    scale = float(most.std()) * np.sqrt(6.0) / np.pi
    location = float(most.mean()) - np.euler_gamma * scale
    return min(float(-np.expm1(-np.exp(-(value - location) / scale))), 1.0 / (1.0 + most.size))


def _spacings(total_s: float, interval_s: float) -> Floats:
    """Half-cycles worth trying: a step moves the last tooth of a stretch by a quarter of a reading."""
    least, most = LEAST_READINGS * interval_s, total_s / LEAST_TEETH
    if most <= least:
        return np.zeros(0)
    growth = np.log1p(0.25 * interval_s / total_s)
    return np.asarray(least * np.exp(growth * np.arange(int(np.log(most / least) / growth) + 1)))


def _combs(dips: Dips, spacing: Floats, interval_s: float) -> tuple[Floats, NDArray[np.intp], Floats]:
    """Which readings each comb strikes, weighted to scatter alike under chance; its spacing's number and its phase.

    A sum over teeth divided by the root of their number: half the spacing strikes as many readings between the dips,
    twice the spacing misses every other dip.
    """
    first = float(dips.before_s[0])
    rows, owners, phases = [], [], []
    for number, period_s in enumerate(spacing):
        phase = first + np.arange(0.0, float(period_s), 0.5 * interval_s)
        struck = dips.struck(float(period_s), phase[:, None])
        many = struck.sum(axis=1)
        kept = many >= 3
        rows.append(struck[kept] / np.sqrt(many[kept])[:, None])
        owners.append(np.full(int(kept.sum()), number))
        phases.append(phase[kept])
    return np.concatenate(rows), np.concatenate(owners), np.concatenate(phases)
