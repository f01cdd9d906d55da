"""The timer's clock by the breaks themselves, where each cycle shows its own.

In a heated dryer the shape of a half-cycle changes from one to the next (spike and tail follow load and season of the
bed), and a common template would take that for a shift. The break stays: it is placed in every cycle alone, and a line
through the breaks is the clock.
"""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.clock import ClockFit, Piece, aligned_times, unseen_drift_s
from diagnostics.cycle.folding import answer_to, fold
from diagnostics.cycle.robust_line import robust_line
from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Floats

MOST_CYCLES = 60
SHARP = 0.02
"""Share of a half-cycle within which a single cycle must place its break."""


def fit_breaks(
    trace: Trace, level: Floats, fit: ClockFit, origin_s: float, break_s: float, towers: int
) -> ClockFit | None:
    """Period and offsets from the break of every cycle.

    Parameters
    ----------
    trace : Trace
    level : ndarray, shape (n,)
        The trace without drift.
    fit : ClockFit
        First guess.
    origin_s, break_s : float
        Instant at phase zero and phase of the (first) break [s].
    towers : int
        Breaks a period.

    Returns
    -------
    ClockFit or None
        None where single cycles do not place their breaks sharply, or where there are so many that a common template
        does better.
    """
    period = fit.period_s
    aligned, inside = aligned_times(trace, fit.pieces)
    start = origin_s + break_s - 0.5 * period / towers
    cycle = np.floor((aligned - start) / period).astype(np.int64)
    owner = np.searchsorted([p.start_s for p in fit.pieces], trace.time_s, side="right") - 1
    key = np.where(inside, (cycle - cycle.min()) * len(fit.pieces) + owner, -1)
    names = np.unique(key[key >= 0])
    if names.size > MOST_CYCLES:
        return None
    found = []
    for name in names:
        mine = key == name
        if mine.sum() < 0.6 * period / trace.interval_s:
            continue
        shift, error = _shift(aligned[mine], level[mine], period, start, trace.interval_s, towers)
        found.append((float(trace.time_s[mine].mean()), shift, error, int(name % len(fit.pieces))))
    if len(found) < len(fit.pieces) + 3:
        return None
    columns = np.array(found)
    if np.median(columns[:, 2]) > SHARP * period / towers:
        return None
    pieces = columns[:, 3].astype(np.int64)
    return _line_through(columns[:, 0], columns[:, 1], columns[:, 2], pieces, fit, trace.interval_s)


def _shift(
    aligned: Floats, level: Floats, period_s: float, start_s: float, interval_s: float, towers: int
) -> tuple[float, float]:
    """How far one cycle's break stands from its place, and how sharply it is placed [s]."""
    folded = fold(aligned, level, period_s, interval_s, start_s)
    part = period_s / towers
    family = answer_to(folded, interval_s, towers)
    centre, width, spread = 0.0, 0.12 * part, 0.0
    for _ in range(3):
        trial = centre + np.linspace(-width, width, 25)
        misfit = np.maximum(family.misfit(0.5 * part + trial), 1e-300)
        if not np.isfinite(misfit).all():
            return 0.0, part
        weight = (misfit / misfit.min()) ** (-0.125 * folded.value.size)
        centre = float((weight * trial).sum() / weight.sum())
        spread = float(np.sqrt((weight * (trial - centre) ** 2).sum() / weight.sum()))
        if spread > width / 6.0:
            break
        width /= 4.0
    return centre, spread


def _line_through(
    at: Floats, shift: Floats, error: Floats, owner: np.ndarray, fit: ClockFit, interval_s: float
) -> ClockFit:
    pieces = len(fit.pieces)
    first, span = float(at.min()), max(float(np.ptp(at)), 1e-9)
    own = np.zeros((at.size, pieces))
    own[np.arange(at.size), owner] = 1.0
    design = np.concatenate([own, ((at - first) / span)[:, None]], axis=1)
    found = robust_line(design, shift, 1.0 / (error**2 + (0.3 * interval_s) ** 2))
    period = fit.period_s * (1.0 + float(found.values[pieces]) / span)
    readings = period / interval_s
    sweeps = abs(readings - np.rint(readings)) * span / period
    slope_error = float(np.hypot(found.errors[pieces], unseen_drift_s(sweeps, interval_s)))
    moved = tuple(
        Piece(p.start_s, p.end_s, p.offset_s + float(late))
        for p, late in zip(fit.pieces, found.values[:pieces], strict=True)
    )
    return ClockFit(
        period,
        slope_error / span * period,
        found.freedom,
        moved,
        float(found.errors[:pieces].min()),
        float(found.left.std()),
    )
