"""The timer's period from the whole stretch at once, for ripples too weak to be followed from cycle to cycle.

The period at which the folded trace explains most is the maximum-likelihood one for any shape in white noise; it needs
no cycle to be seen by itself. Its error follows from leaving out a tenth of the stretch at a time, which feels slow
noise too.
"""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.clock import ClockFit, Piece, unseen_drift_s
from diagnostics.cycle.rhythm import folded_energy
from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Floats

BLOCKS = 10
REACH = 0.6
"""Cycles over the stretch by which the period may differ from the first guess."""
TRIALS, FINE_TRIALS = 31, 11
MOST_READINGS = 40_000
CLEARLY_MORE = 0.01


def coherent_fit(trace: Trace, level: Floats, piece: Piece, period_s: float, origin_s: float) -> ClockFit:
    """Clock of one unbroken piece.

    Parameters
    ----------
    trace : Trace
    level : ndarray, shape (n,)
        The trace without drift.
    piece : Piece
        Its offset is kept.
    period_s, origin_s : float
        First guess, good to half a cycle over the piece, and an instant at phase zero [s].
    """
    inside = (trace.time_s >= piece.start_s) & (trace.time_s <= piece.end_s)
    since, heard = trace.time_s[inside] - piece.offset_s - origin_s, level[inside]
    cycles = max((piece.end_s - piece.start_s) / period_s, 1.0)
    thin = max(1, since.size // MOST_READINGS)
    since, heard = since[::thin], heard[::thin]
    near_s = 0.15 * period_s / cycles
    best = _best(since, heard, trace.interval_s, period_s, REACH * period_s / cycles, TRIALS)
    best = _best(since, heard, trace.interval_s, best, near_s, FINE_TRIALS)
    block = np.arange(since.size) * BLOCKS // max(since.size, 1)
    near = [
        _best(since[block != b], heard[block != b], trace.interval_s, best, near_s, FINE_TRIALS) for b in range(BLOCKS)
    ]
    left_out = np.array(near) - np.mean(near)
    readings = best / trace.interval_s
    unseen_s = unseen_drift_s(abs(readings - np.rint(readings)) * cycles, trace.interval_s) / cycles
    error = float(np.hypot(np.sqrt((BLOCKS - 1.0) / BLOCKS * (left_out**2).sum()), unseen_s))
    return ClockFit(best, error, BLOCKS - 1.0, (piece,), 0.5 * error * cycles, error * cycles)


def explains_more(trace: Trace, level: Floats, period_s: float, than_s: float, by: float) -> bool:
    """Whether a fold of the whole trace at one period explains more than at another by this share."""
    thin = max(1, level.size // MOST_READINGS)
    since, heard = trace.time_s[::thin] - trace.time_s[0], level[::thin]
    one, other = (folded_energy(since, heard, trace.interval_s, period) for period in (period_s, than_s))
    return one > (1.0 + by) * other


def _best(since_s: Floats, heard: Floats, interval_s: float, period_s: float, reach_s: float, trials: int) -> float:
    """Period within reach at which a fold explains most, between the trials by the parabola through the best three."""
    trial = period_s + np.linspace(-reach_s, reach_s, trials)
    energy = np.array([folded_energy(since_s, heard, interval_s, period) for period in trial])
    i = int(np.clip(np.argmax(energy), 1, trials - 2))
    before, at, after = energy[i - 1 : i + 2]
    curve = before - 2.0 * at + after
    shift = 0.5 * (before - after) / curve if curve < 0.0 else 0.0
    return float(trial[i] + np.clip(shift, -1.0, 1.0) * (trial[1] - trial[0]))
