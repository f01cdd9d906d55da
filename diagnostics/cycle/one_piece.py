"""One clock for the whole stretch, unless its parts stand out: resets that only follow the noise are not believed.

A weak ripple lets the likeliest path wander from one offset to the next, and a period that is fitted to such pieces
drifts from the true one. What the pieces explain more than one unbroken clock must stand out of how it varies from
cycle to cycle.
"""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.clock import ClockFit, Piece, aligned_times, template
from diagnostics.cycle.coherent import coherent_fit
from diagnostics.cycle.folding import fold
from diagnostics.cycle.robust_line import autocorrelation
from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Flags, Floats

CLEARLY = 4.0
"""Standard errors by which pieces must explain more."""
LEAST_CYCLES = 8


def unbroken_unless_clear(trace: Trace, level: Floats, fit: ClockFit, period_s: float, origin_s: float) -> ClockFit:
    """The fit, or one piece over the same stretch where the fit does not explain clearly more.

    Parameters
    ----------
    trace : Trace
    level : ndarray, shape (n,)
        The trace as it was fitted.
    fit : ClockFit
    period_s : float
        Period at which the whole stretch stands out [s].
    origin_s : float
        An instant at phase zero [epoch s].
    """
    start_s, end_s = fit.pieces[0].start_s, fit.pieces[-1].end_s
    hull = (trace.time_s >= start_s) & (trace.time_s <= end_s)
    cycle = np.floor((trace.time_s[hull] - origin_s) / period_s).astype(np.int64)
    cycle -= cycle[0]
    if cycle[-1] + 1 < LEAST_CYCLES:
        return fit
    single = coherent_fit(trace, level, Piece(start_s, end_s, 0.0), period_s, origin_s)
    count = np.bincount(cycle)
    gained = np.bincount(cycle, (_left(trace, level, single, origin_s) - _left(trace, level, fit, origin_s))[hull])
    gained = gained[count >= 0.5 * np.median(count)]
    memory = autocorrelation(gained - gained.mean())
    error = float(gained.std(ddof=1)) * np.sqrt((1.0 + memory) / (1.0 - memory) / gained.size)
    return fit if float(gained.mean()) > CLEARLY * error else single


def _left(trace: Trace, level: Floats, fit: ClockFit, origin_s: float) -> Floats:
    """Square of what the average cycle leaves of each reading."""
    aligned, inside = aligned_times(trace, fit.pieces)
    folded = fold(aligned[inside], level[inside], fit.period_s, trace.interval_s, origin_s)
    shape, _ = template(folded, trace.interval_s)
    expected = _expected(aligned, inside, folded.phase_s, shape, fit.period_s, origin_s)
    return np.asarray((level - expected) ** 2, dtype=np.float64)


def _expected(
    aligned: Floats, inside: Flags, phase_s: Floats, shape: Floats, period_s: float, origin_s: float
) -> Floats:
    phase = np.mod(aligned - origin_s, period_s)
    return np.where(inside, np.interp(phase, phase_s, shape, period=period_s), 0.0)
