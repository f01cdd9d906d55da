"""The timer's clock by least squares: how far groups of cycles lag the folded template, and the line through that.

A group's reading is ``y = a h(phase - s)``, so ``y = a h - a s h'`` for a small lag ``s``. The lags of all groups lie
on one straight line whose slope corrects the period; a reset gives the line a new start. Their scatter about the line,
not a model of the noise, gives the interval.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.cycle.folding import MOST_BINS, Folded, fold
from diagnostics.cycle.jackknife import jackknife_error
from diagnostics.cycle.robust_line import robust_line
from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Flags, Floats

MOST_GROUPS = 160
MOST_READINGS = 60_000
LEAST_FOR_LOAD = 30
LEAST_SWEEPS = 4.0
"""Intervals over which the logger's clock must drift against the timer's, for a fold finer than a reading."""
CAUGHT = 0.1
"""Share of an interval by which a lag may depend on where within it a cycle is caught: what the template, known at the
readings, leaves open between them."""


@dataclass(frozen=True)
class Piece:
    """A stretch in which the timer ran without a reset.

    Attributes
    ----------
    start_s, end_s : float
    offset_s : float
        Of its switchovers against the timer's clock [s].
    """

    start_s: float
    end_s: float
    offset_s: float


@dataclass(frozen=True)
class ClockFit:
    """Period and offsets with their standard errors, and how far groups of cycles lie about the clock [s]."""

    period_s: float
    period_error_s: float
    degrees_of_freedom: float
    pieces: tuple[Piece, ...]
    offset_error_s: float
    lag_spread_s: float


@dataclass(frozen=True)
class _Lags:
    """Mean time [s], lag [s], weight, piece, level and logarithm of size of each group of cycles.

    ``caught``: cosine and sine of where within an interval the logger caught the group's cycles; ``sweeps``: intervals
    by which the logger's clock drifted against the timer's.
    """

    at_s: Floats
    lag_s: Floats
    weight: Floats
    owner: np.ndarray
    load: Floats
    caught: Floats
    interval_s: float
    sweeps: float


def aligned_times(trace: Trace, pieces: tuple[Piece, ...]) -> tuple[Floats, Flags]:
    """Times on the timer's own clock, and which readings lie in a piece."""
    aligned = trace.time_s.copy()
    inside = np.zeros(trace.time_s.size, dtype=bool)
    for piece in pieces:
        a = np.searchsorted(trace.time_s, piece.start_s)
        b = np.searchsorted(trace.time_s, piece.end_s, side="right")
        aligned[a:b] -= piece.offset_s
        inside[a:b] = True
    return aligned, inside


def fit_clock(trace: Trace, level: Floats, pieces: tuple[Piece, ...], period_s: float, origin_s: float) -> ClockFit:
    """Period and offsets by least squares.

    Parameters
    ----------
    trace : Trace
    level : ndarray, shape (n,)
        The trace without drift.
    pieces : tuple of Piece
    period_s, origin_s : float
        First guess and an instant at phase zero [s].

    Returns
    -------
    ClockFit
    """
    fit = ClockFit(period_s, period_s, 1.0, pieces, period_s, period_s)
    if len(pieces) == 1 and trace.time_s.size > MOST_READINGS:
        trace, level = _condensed(trace, level, pieces[0], period_s, origin_s)
    for _ in range(5):
        lags = _lags(trace, level, fit, origin_s)
        if lags.at_s.size < np.unique(lags.owner).size + 2:
            return fit
        slope, error, freedom, starts, offset_error, spread = _line(lags, len(pieces))
        moved = tuple(
            Piece(p.start_s, p.end_s, p.offset_s + float(start)) for p, start in zip(fit.pieces, starts, strict=True)
        )
        settled = abs(slope) < 0.05 * error
        period = fit.period_s * (1.0 + slope)
        fit = ClockFit(period, error * period, freedom, moved, offset_error, spread)
        if settled:
            break
    unseen = unseen_drift_s(lags.sweeps, trace.interval_s) / max(float(np.ptp(lags.at_s)), 1e-9) * fit.period_s
    return replace(fit, period_error_s=float(np.hypot(fit.period_error_s, unseen)))


def _condensed(trace: Trace, level: Floats, piece: Piece, period_s: float, origin_s: float) -> tuple[Trace, Floats]:
    """Means of readings at about the same phase of neighbouring cycles, laid on the middle one of those cycles.

    The first guess of the period is good enough for cycles so near to each other.
    """
    position = (trace.time_s - piece.offset_s - origin_s) / period_s
    cycle = np.floor(position).astype(np.int64)
    first = int(cycle[0])
    each = max(1, int(cycle[-1] - first + 1) // MOST_GROUPS)
    bins = int(np.clip(6.0 * period_s / trace.interval_s, 60, 1500))
    group = (cycle - first) // each
    cell = np.minimum(((position - cycle) * bins).astype(np.int64), bins - 1)
    key = group * bins + cell
    many = np.bincount(key)
    full = np.flatnonzero(many)

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(key, values)[full] / many[full], dtype=np.float64)

    middle = first + (full // bins) * each + each // 2
    time_s = origin_s + piece.offset_s + (middle + mean(position - cycle)) * period_s
    inside = (time_s >= piece.start_s) & (time_s <= piece.end_s)
    thin = Trace(time_s[inside], mean(trace.value)[inside], trace.interval_s, np.zeros(0, dtype=np.int64))
    return thin, mean(level)[inside]


def group_lags(
    trace: Trace, level: Floats, fit: ClockFit, origin_s: float
) -> tuple[Floats, Floats, Floats, np.ndarray, Floats]:
    """Mean time [s], lag [s], weight, piece, and load of each group of cycles, ascending in time.

    The load is two columns, the level and the logarithm of the cycle's size, each centred and of unit spread.

    Parameters
    ----------
    trace : Trace
    level : ndarray, shape (n,)
        The trace without drift.
    fit : ClockFit
    origin_s : float
        An instant at phase zero [s].
    """
    lags = _lags(trace, level, fit, origin_s)
    order = np.argsort(lags.at_s, kind="stable")
    load = _centred(lags.load[order]) if order.size else lags.load
    return lags.at_s[order], lags.lag_s[order], lags.weight[order], lags.owner[order], load


def _lags(trace: Trace, level: Floats, fit: ClockFit, origin_s: float) -> _Lags:
    period = fit.period_s
    aligned, inside = aligned_times(trace, fit.pieces)
    aligned, time_s, y = aligned[inside], trace.time_s[inside], level[inside]
    readings = period / trace.interval_s
    cycle = np.floor((aligned - origin_s) / period).astype(np.int64)
    sweeps = abs(readings - np.rint(readings)) * int(cycle.max() - cycle.min() + 1)
    # a period of nearly whole readings shows each phase at one time only: a finer fold would follow any drift
    coarse = sweeps < LEAST_SWEEPS
    folded = fold(aligned, y, period, trace.interval_s, origin_s, round(readings) if coarse else MOST_BINS)
    shape, slope = (folded.value, _chord_slope(folded)) if coarse else template(folded, trace.interval_s)
    each = max(1, int(cycle.max() - cycle.min() + 1) // MOST_GROUPS)
    owner = np.searchsorted([p.start_s for p in fit.pieces], time_s, side="right") - 1
    key = (cycle - cycle.min()) // each * len(fit.pieces) + owner
    heard = np.bincount(key) > 0
    names, index = np.flatnonzero(heard), (np.cumsum(heard) - 1)[key]
    phase = np.mod(aligned - origin_s, period)
    around = np.concatenate([folded.phase_s[-1:] - period, folded.phase_s, folded.phase_s[:1] + period])
    h, g = (np.interp(phase, around, np.concatenate([curve[-1:], curve, curve[:1]])) for curve in (shape, slope))
    turn = 2.0 * np.pi / trace.interval_s * phase
    return _regress(
        time_s,
        trace.value[inside],
        y,
        h,
        g,
        index,
        names % len(fit.pieces),
        0.15 * period,
        turn,
        trace.interval_s,
        sweeps,
    )


def _regress(
    time_s: Floats,
    value: Floats,
    y: Floats,
    h: Floats,
    g: Floats,
    index: np.ndarray,
    owner: np.ndarray,
    limit_s: float,
    turn: Floats,
    interval_s: float,
    sweeps: float,
) -> _Lags:
    """Group-wise regression of the readings on template, slope and a constant."""

    def total(values: Floats) -> Floats:
        return np.asarray(np.bincount(index, values, owner.size), dtype=np.float64)

    count = total(np.ones_like(y))
    my, mh, mg = total(y) / count, total(h) / count, total(g) / count
    hh, gg, hg = total(h * h) - count * mh**2, total(g * g) - count * mg**2, total(h * g) - count * mh * mg
    hy, gy = total(h * y) - count * mh * my, total(g * y) - count * mg * my
    determinant = hh * gg - hg**2
    good = (count >= 4) & (determinant > 1e-3 * float(np.median(hh)) * float(np.median(gg)))
    safe = np.where(good, determinant, 1.0)
    size, tilt = (gg * hy - hg * gy) / safe, (hh * gy - hg * hy) / safe
    typical = float(np.median(size[good])) if good.any() else 0.0
    # A group that shows the template upside down, or not at all, says nothing of its lag.
    good &= size > max(0.25 * typical, 1e-9)
    lag = np.clip(-tilt / np.where(good, size, 1.0), -limit_s, limit_s)
    load = np.stack([total(value) / count, np.log(np.where(good, size, 1.0))], axis=1)
    caught = np.stack([total(np.cos(turn)) / count, total(np.sin(turn)) / count], axis=1)
    at = total(time_s) / count
    return _Lags(at[good], lag[good], count[good], owner[good], load[good], caught[good], interval_s, sweeps)


def _chord_slope(folded: Folded) -> Floats:
    """Slope from each phase's neighbour before to the one after [1/s]."""
    value, at = folded.value, folded.phase_s
    return (np.roll(value, -1) - np.roll(value, 1)) / np.mod(np.roll(at, -1) - np.roll(at, 1), folded.period_s)


def template(folded: Folded, interval_s: float) -> tuple[Floats, Floats]:
    """Smoothed average cycle at the folded bins, and its slope [1/s]."""
    period = folded.period_s
    step = period / max(folded.phase_s.size, 24)
    even = np.arange(-0.5 * period, 1.5 * period, step)
    around = np.concatenate([folded.phase_s - period, folded.phase_s, folded.phase_s + period])
    cell = np.rint((around - even[0]) / step).astype(np.int64)
    near = (cell >= 0) & (cell < even.size)
    weight = np.tile(folded.weight, 3)[near]
    heavy = np.bincount(cell[near], weight * np.tile(folded.value, 3)[near], even.size)
    many = np.bincount(cell[near], weight, even.size)
    window = np.bartlett(2 * max(1, round(0.4 * interval_s / step)) + 3)[1:-1]
    top, bottom = np.convolve(heavy, window, "same"), np.convolve(many, window, "same")
    full = bottom > 1e-9
    shape = np.interp(even, even[full], top[full] / bottom[full])
    slope = np.gradient(shape, step)
    return np.interp(folded.phase_s, even, shape), np.interp(folded.phase_s, even, slope)


def _line(lags: _Lags, pieces: int) -> tuple[float, float, float, Floats, float, float]:
    """Common slope, its standard error and degrees of freedom, each piece's start, the starts' typical error
    and the scatter.

    The shape of a cycle changes with the load, and with it the lag at equal phase: the lag is regressed on level and
    size too where there are groups enough, and on where the logger caught the cycles; where that drifts with time the
    error says what cannot be told apart. What is left is autocorrelated, which widens the error.
    """
    origin = float(lags.at_s.min())
    time, y, owner = lags.at_s - origin, lags.lag_s, lags.owner
    own = np.zeros((y.size, pieces))
    own[np.arange(y.size), owner] = 1.0
    load = _centred(lags.load) if y.size >= LEAST_FOR_LOAD else lags.load[:, :0]
    span = max(float(np.ptp(time)), 1e-9)
    caught = lags.caught - lags.caught.mean(axis=0) if y.size >= LEAST_FOR_LOAD else lags.caught[:, :0]
    design = np.concatenate([own, (time / span)[:, None], load, caught], axis=1)
    held = np.zeros(design.shape[1])
    held[design.shape[1] - caught.shape[1] :] = 1.0 / (CAUGHT * lags.interval_s) ** 2
    found = robust_line(design, y, lags.weight / lags.weight.max(), held)
    slope_error = float(found.errors[pieces])
    by_blocks = jackknife_error(design, found.weight, y, pieces, held * found.spread**2)
    if by_blocks > 0.0:
        # two ways to tell one variance: the larger of them would be too large
        slope_error = float(np.sqrt(0.5 * (slope_error**2 + by_blocks**2)))
    starts, offset_error = found.values[:pieces], float(found.errors[:pieces].min())
    slope = float(found.values[pieces]) / span
    return slope, slope_error / span, found.freedom, starts, offset_error, float(found.left.std())


def unseen_drift_s(sweeps: float, interval_s: float) -> float:
    """Standard deviation of the drift between timer and logger over a log that its readings cannot show [s].

    A switchover is known to lie between two readings. While the clocks drift by less than one interval it may stay
    between the same two all the time, and be found at the same place: each end of the log then leaves it open by an
    even spread over an interval, the drift by that of their difference, a sixth of the interval squared. From two
    intervals on the switchover has passed readings at known times, and the scatter of the lags shows the rest.

    Parameters
    ----------
    sweeps : float
        Intervals by which the clocks drifted.
    interval_s : float
        [s]
    """
    return float(interval_s * np.sqrt(1.0 / 6.0) * np.clip(2.0 - sweeps, 0.0, 1.0))


def _centred(load: Floats) -> Floats:
    spread = load.std(axis=0)
    return (load - load.mean(axis=0)) / np.where(spread > 1e-9, spread, 1.0)
