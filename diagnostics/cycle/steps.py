"""Steps of a timer's clock too small, or too near a whole half-cycle, to be seen cycle by cycle.

A pause that ends near where the clock would have been moves the switchovers by little: one line drawn through the lags
before and after it takes the step for a longer period, and the average cycle is smeared. The lags of groups of cycles
show the step, for with it they lie on two lines of one slope far more closely than on one.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diagnostics.cycle.clock import ClockFit, Piece, fit_clock, group_lags
from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Flags, Floats

MOST_STEPS = 4
LEAST_GROUPS, LEAST_SIDE = 10, 4
LEFT = 0.5
"""Share of the lags' scatter that may be left for a step to be believed."""
LEAST_RATIO = 30.0
"""Variance ratio (F) that a step must reach: its place is chosen among many."""
LEAST_STEP = 0.03
"""Share of a half-cycle below which a step is left to the load, which moves the answer about."""


def with_steps(trace: Trace, level: Floats, fit: ClockFit, origin_s: float, half_cycle_s: float) -> ClockFit:
    """Fit whose pieces end at each step of the clock.

    Parameters
    ----------
    trace : Trace
    level : ndarray, shape (n,)
        The trace without drift.
    fit : ClockFit
    origin_s, half_cycle_s : float
        An instant at phase zero, and the length of a half-cycle [s].

    Returns
    -------
    ClockFit
        The same one where no step stands out.
    """
    for _ in range(MOST_STEPS):
        pieces = _split(trace, level, fit, origin_s, half_cycle_s)
        if pieces is None:
            return fit
        other = fit_clock(trace, level, pieces, fit.period_s, origin_s)
        if other.lag_spread_s >= fit.lag_spread_s:
            return fit
        fit = other
    return fit


def _split(
    trace: Trace, level: Floats, fit: ClockFit, origin_s: float, half_cycle_s: float
) -> tuple[Piece, ...] | None:
    """Pieces with the one cut at which the lags step most, or None."""
    at, lag, weight, owner, load = group_lags(trace, level, fit, origin_s)
    if at.size < LEAST_GROUPS + len(fit.pieces):
        return None
    own = (owner[:, None] == np.arange(len(fit.pieces))).astype(np.float64)
    root = np.sqrt(weight / weight.max())
    base = np.concatenate([own, ((at - at[0]) / max(float(np.ptp(at)), 1e-9))[:, None], load], axis=1)
    base = base[:, base.any(axis=0)] * root[:, None]
    basis, _ = np.linalg.qr(base)
    left = root * lag - basis @ (basis.T @ (root * lag))
    places = np.flatnonzero(_allowed(owner))
    if places.size == 0:
        return None
    later = ((np.arange(at.size)[:, None] >= places) & (owner[:, None] == owner[places])) * root[:, None]
    later = later - basis @ (basis.T @ later)
    size = np.maximum((later**2).sum(axis=0), 1e-9)
    inner = later.T @ left
    best = int(np.argmax(inner**2 / size))
    gained, whole = float(inner[best] ** 2 / size[best]), float((left**2).sum())
    remains = max(whole - gained, 1e-12 * whole, 1e-300)
    freedom = max(1, at.size - base.shape[1] - 1)
    step = float(inner[best] / size[best])
    if remains > LEFT * whole or gained < LEAST_RATIO * remains / freedom or abs(step) < LEAST_STEP * half_cycle_s:
        return None
    return _cut(fit, at, int(places[best]), int(owner[places[best]]), step)


def _allowed(owner: np.ndarray) -> Flags:
    """Groups before which a cut leaves enough of its piece on either side."""
    number = np.arange(owner.size)
    first = np.searchsorted(owner, owner)
    last = np.searchsorted(owner, owner, side="right")
    return np.asarray((number - first >= LEAST_SIDE) & (last - number >= LEAST_SIDE))


def _cut(fit: ClockFit, at_s: Floats, place: int, which: int, step_s: float) -> tuple[Piece, ...]:
    """Pieces with one cut before a group; where no group was heard for longer than usual, nothing is claimed."""
    piece = fit.pieces[which]
    reach = 0.5 * min(float(np.median(np.diff(at_s))), float(at_s[place] - at_s[place - 1]))
    before = replace(piece, end_s=float(at_s[place - 1]) + reach)
    after = Piece(float(at_s[place]) - reach, piece.end_s, piece.offset_s + step_s)
    return (*fit.pieces[:which], before, after, *fit.pieces[which + 1 :])
