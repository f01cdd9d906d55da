"""A timer followed by its dips: where in each run under load its teeth stand, and how long a half-cycle is.

The log sees a start and a stop of the compressor only at its own interval, so that the running time reckoned from it
goes astray by a fraction of the interval with each run. The teeth are followed from run to run by the likeliest path
of phases, and each switchover is laid on the reading that shows its dip.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.cycle.dips import DIP, DipComb, Dips
from diagnostics.cycle.running import RunningClock
from diagnostics.log.record import Floats

ASTRAY = 0.41
"""Standard error of one run's length as a share of the interval: both ends lie anywhere within one (2 x 1/12)."""
LEAST_DEEPER = 1.0
"""Standardised depth by which the teeth must be deeper than the other readings for a part to count as followed."""
PART = 8
FAINT = 0.5
"""Share of `DIP` from which a reading under a tooth says where it stands."""


@dataclass(frozen=True)
class DipCourse:
    """A timer's switchovers.

    Attributes
    ----------
    half_cycle_s, half_cycle_error_s : float
        In running time, and its standard error [s].
    degrees_of_freedom : float
    switchovers_s : ndarray
        Each not after the reading that shows it and after the one before [epoch s].
    start_s, end_s : float
        Between them they are known [epoch s].
    """

    half_cycle_s: float
    half_cycle_error_s: float
    degrees_of_freedom: float
    switchovers_s: Floats
    start_s: float
    end_s: float


def follow_dips(dips: Dips, comb: DipComb, clock: RunningClock, time_s: Floats, interval_s: float) -> DipCourse | None:
    """Switchovers of a timer from its dips.

    Parameters
    ----------
    dips : Dips
    comb : DipComb
    clock : RunningClock
    time_s : ndarray
        Wall clock of the log's readings [epoch s].
    interval_s : float

    Returns
    -------
    DipCourse or None
        None where the dips do not bear the comb out.
    """
    starts, stops = _runs(clock)
    period, error, freedom = comb.half_cycle_s, 0.0, 1.0
    for _ in range(2):
        phase = _path(dips, starts, period, comb.phase_s, interval_s)
        number, at, following = _teeth(dips, starts, stops, clock.run_s, period, phase, interval_s)
        line = _line(dips, number, at, clock.run_s, interval_s)
        if line is None:
            return None
        period, error, freedom = line
    known = _followed(dips, at)
    if known is None:
        return None
    first, last = known
    wall = clock.to_wall(time_s, on_their_dips(dips, at, interval_s))
    wall = np.where(following >= 0, time_s[starts[np.maximum(following, 0)]], wall)
    start = time_s[0] if first == 0 else wall[first]
    end = time_s[-1] if last == at.size else wall[last - 1]
    return DipCourse(period, error, freedom, wall[first:last], float(start), float(end))


def _runs(clock: RunningClock) -> tuple[np.ndarray, np.ndarray]:
    """First and last reading of each run, the reading that ends it included."""
    on = np.concatenate([[False], clock.on[:-1], [False]])
    return np.flatnonzero(on[1:] & ~on[:-1]), np.flatnonzero(on[:-1] & ~on[1:])


def _path(dips: Dips, starts: np.ndarray, period_s: float, phase_s: float, interval_s: float) -> Floats:
    """Likeliest phase of each run's teeth: near that of the run before, and on deep dips (Viterbi)."""
    grid = np.arange(0.0, period_s, period_s / max(12, round(4.0 * period_s / interval_s)))
    apart = np.abs(grid[:, None] - grid[None, :])
    apart = np.minimum(apart, period_s - apart)
    cost = 0.5 * (apart / (ASTRAY * interval_s)) ** 2
    owner = np.searchsorted(starts, dips.row, side="right") - 1
    gain = np.zeros((starts.size, grid.size))
    for column, phase in enumerate(grid):
        gain[:, column] = np.bincount(owner, dips.depth * dips.struck(period_s, phase_s + phase), starts.size)
    score = gain[0]
    source = np.zeros(gain.shape, dtype=np.int64)
    for run in range(1, starts.size):
        value = score[:, None] - cost
        source[run] = value.argmax(axis=0)
        score = value.max(axis=0) + gain[run]
    state = int(score.argmax())
    way = np.empty(starts.size)
    for run in range(starts.size - 1, -1, -1):
        way[run] = grid[state]
        state = int(source[run][state])
    return phase_s + np.unwrap(way, period=period_s)


def _teeth(
    dips: Dips,
    starts: np.ndarray,
    stops: np.ndarray,
    run_s: Floats,
    period_s: float,
    phase_s: Floats,
    interval_s: float,
) -> tuple[np.ndarray, Floats, np.ndarray]:
    """Number and running time of every tooth, in order, none twice, and the run at whose start it must have come.

    One that is due near the last reading of a run but does not show there came with the next start; -1 for the others.
    """
    numbers, instants = [], []
    for first, last, phase in zip(starts, stops, phase_s, strict=True):
        low, high = run_s[first], run_s[last]
        number = np.arange(np.floor((low - phase) / period_s) + 1.0, np.floor((high - phase) / period_s) + 1.0)
        numbers.append(number)
        instants.append(phase + number * period_s)
    number, at = np.concatenate(numbers), np.concatenate(instants)
    run = np.clip(np.searchsorted(run_s[starts], at, side="right") - 1, 0, starts.size - 1)
    unseen = (at > run_s[stops[run]] - 1.5 * interval_s) & (_nearest(dips, at, interval_s) < 0)
    following = np.where(unseen, run + 1, -1)
    kept = following < starts.size
    number, at, following = number[kept], at[kept], following[kept]
    order = np.argsort(number, kind="stable")
    number, at, following = number[order], at[order], following[order]
    fresh = np.concatenate([[True], (np.diff(number) > 0) & (np.diff(at) > 0.4 * period_s)])
    return number[fresh], at[fresh], following[fresh]


def _line(
    dips: Dips, number: np.ndarray, at: Floats, run_s: Floats, interval_s: float
) -> tuple[float, float, float] | None:
    """Half-cycle [s] from the numbered dips, its standard error and degrees of freedom.

    What goes astray at each run adds up like a random walk: the two ends of the log bound the slope.
    """
    place = _nearest(dips, at, interval_s, FAINT * DIP)
    seen = place >= 0
    if seen.sum() < 4:
        return None
    middle = 0.5 * (dips.before_s[place[seen]] + dips.at_s[place[seen]])
    n, y = number[seen], middle
    n_mean, y_mean = n.mean(), y.mean()
    spread = float(((n - n_mean) ** 2).sum())
    slope = float(((n - n_mean) * (y - y_mean)).sum() / spread)
    left = y - y_mean - slope * (n - n_mean)
    freedom = max(1.0, n.size - 2.0)
    plain = np.sqrt(max(float((left**2).sum()) / freedom, interval_s**2 / 12.0) / spread)
    jumps = int(np.unique(np.searchsorted(run_s, y) - np.arange(y.size)).size)
    walked = ASTRAY * interval_s * np.sqrt(min(jumps, n.size)) / max(float(np.ptp(n)), 1.0)
    return slope, float(np.hypot(plain, walked)), freedom


def _nearest(dips: Dips, at: Floats, interval_s: float, least: float = DIP) -> np.ndarray:
    """For each tooth the deep dip at its reading or next to it, else -1."""
    found = np.full(at.size, -1)
    for i, instant in enumerate(at):
        a, b = np.searchsorted(dips.at_s, (instant - interval_s, instant + 2.0 * interval_s))
        a = max(0, a)
        if b > a:
            deepest = a + int(np.argmax(dips.depth[a:b]))
            if dips.depth[deepest] >= least:
                found[i] = deepest
    return found


def on_their_dips(dips: Dips, at: Floats, interval_s: float) -> Floats:
    """Teeth laid into the reading that shows the dip, where one stands out."""
    place = _nearest(dips, at, interval_s)
    inside = np.where(place >= 0, place, 0)
    low, high = dips.before_s[inside], dips.at_s[inside]
    return np.where(place >= 0, np.clip(at, low + 0.25 * (high - low), high), at)


def _followed(dips: Dips, at: Floats) -> tuple[int, int] | None:
    """Range of teeth whose readings are deeper than the others', part by part from the first to the last."""
    place = np.clip(np.searchsorted(dips.at_s, at), 0, dips.at_s.size - 1)
    scored = (dips.before_s[place] < at) & (at <= dips.at_s[place])
    deep = np.where(scored, dips.depth[place], np.nan)
    parts = np.array_split(np.arange(at.size), max(1, at.size // PART))
    good = [part for part in parts if np.isfinite(deep[part]).any() and float(np.nanmean(deep[part])) > LEAST_DEEPER]
    return (int(good[0][0]), int(good[-1][-1]) + 1) if good else None
