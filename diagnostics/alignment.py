"""How far apart do two clocks stand, and how much slower is one instrument than the other?

Question: by what time and what first-order lag must the reference be moved to look like the installed instrument?
Input: both traces on one grid. Output: an `Alignment`. Method: a first guess by cross-correlation of the traces, slow
drift taken out; then least squares over clock and lag together, both traces whitened by the autoregression of what the
first guess leaves, so that the likelihood may be believed: everything it does not tell from the best is in the interval
(a trace that repeats itself every half-cycle may leave several). All shifts at once by FFT, missing readings masked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats

_LAGS_IN_STEPS = (0.0, 0.35, 0.7, 1.0, 1.5, 2.1, 3.0, 4.2, 6.0, 8.5, 12.0, 17.0, 25.0, 35.0, 50.0)
_COARSE = (0, 2, 4, 6, 8, 10, 12)
_LEAST_CORRELATION = 0.3
_ORDER = 12
_CHI_SQUARE_95 = 3.84
_ALLOWED = 1.5 * _CHI_SQUARE_95
"""A half more than the 95 % point, for the whitening is estimated and the reference has noise too."""
_ROUNDS = 2
_UNSEEN_LAG = 0.35
"""Steps within which a first-order lag has answered fully before the next reading, so that it cannot be told."""


@dataclass(frozen=True)
class Alignment:
    """How the installed trace follows the reference.

    Attributes
    ----------
    offset_s : Estimate or None
        Installed clock less reference clock [s]; None where the traces hold no common movement.
    lag_s : Estimate or None
        First-order time constant by which the installed instrument is slower [s]; negative where it is faster.
    correlation : float
        Of the two after moving and lagging, from -1 to 1.
    """

    offset_s: Estimate | None
    lag_s: Estimate | None
    correlation: float


@dataclass(frozen=True)
class _Fit:
    """Twice the fall of the log-likelihood from the best shift at one lag, over all shifts, and where it is least."""

    deviance: Floats
    shift: float
    least: float
    half_width: float


def align(reference: Floats, installed: Floats, step_s: float, longest_offset_s: float) -> Alignment:
    """Find clock offset and lag.

    Parameters
    ----------
    reference, installed : ndarray, shape (n,)
        Dew point on a common grid [degC]; NaN where missing.
    step_s : float
        Of the grid [s].
    longest_offset_s : float
        Offsets sought [s].

    Returns
    -------
    Alignment
    """
    reach = int(min(longest_offset_s / step_s, reference.size // 3))
    if reach < 1 or np.isfinite(reference).sum() < 30 or np.isfinite(installed).sum() < 30:
        return Alignment(None, None, math.nan)
    coarse = [_LAGS_IN_STEPS[k] for k in _COARSE]
    filters = [0.0] + [sign * k * step_s for k in coarse[1:] for sign in (1, -1)]
    tried = {lag: _best_shift(*_lagged(reference, installed, lag, step_s), reach) for lag in filters}
    lag_s = max(tried, key=lambda lag: tried[lag][1] - 1e-4 * abs(lag) / step_s)
    shift, correlation = tried[lag_s]
    if correlation < _LEAST_CORRELATION:
        return Alignment(None, None, correlation)
    fits: dict[float, _Fit] = {}
    for _ in range(_ROUNDS):
        weights = _whitening(_left(reference, installed, lag_s, shift, step_s))
        fits = _search(reference, installed, weights, step_s, reach, lag_s)
        lag_s = min(fits, key=lambda lag: fits[lag].least)
        shift = fits[lag_s].shift
    return Alignment(_offset(fits, lag_s, reach, step_s), _lag(fits, lag_s, step_s), correlation)


def lagged(values: Floats, time_constant_s: float, step_s: float) -> Floats:
    """First-order lag of a trace; a gap starts the filter anew."""
    if time_constant_s <= 0:
        return values
    from scipy.signal import lfilter

    share = 1 - math.exp(-step_s / time_constant_s)
    result = np.full(values.size, np.nan)
    known = np.isfinite(values)
    edges = np.flatnonzero(np.diff(np.r_[False, known, False]))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        part = values[first:last]
        result[first:last] = lfilter([share], [1, share - 1], part, zi=[part[0] * (1 - share)])[0]
    return result


def _lagged(reference: Floats, installed: Floats, lag_s: float, step_s: float) -> tuple[Floats, Floats]:
    if lag_s >= 0:
        return lagged(reference, lag_s, step_s), installed
    return reference, lagged(installed, -lag_s, step_s)


def _best_shift(reference: Floats, installed: Floats, reach: int) -> tuple[float, float]:
    """Shift in steps and its correlation; positive where the installed trace comes later."""
    sums = _sums(_without_drift(reference), _without_drift(installed), reach)
    correlation = np.where(sums.enough, sums.covariance / np.sqrt(sums.variance_r * sums.variance_i), -1.0)
    best = int(np.argmax(correlation))
    return float(best - reach), float(correlation[best])


def _without_drift(values: Floats) -> Floats:
    """Less a straight line and the mean, so that bias and drift do not pose as correlation."""
    known = np.flatnonzero(np.isfinite(values))
    if known.size < 3:
        return values
    line = np.polynomial.Polynomial.fit(known, values[known], 1)
    return values - line(np.arange(values.size))


@dataclass(frozen=True)
class _Sums:
    """Variances and covariance of both traces at shifts -reach..reach, each over the readings both have."""

    count: Floats
    variance_r: Floats
    variance_i: Floats
    covariance: Floats
    enough: np.ndarray


def _sums(reference: Floats, installed: Floats, reach: int) -> _Sums:
    from scipy.fft import irfft, next_fast_len, rfft

    size = next_fast_len(2 * reference.size)
    known_r, known_i = np.isfinite(reference), np.isfinite(installed)
    r, i = np.where(known_r, reference, 0.0), np.where(known_i, installed, 0.0)
    of_r = [np.conj(rfft(x, size)) for x in (known_r.astype(float), r, r**2)]
    of_i = [rfft(x, size) for x in (known_i.astype(float), i, i**2)]

    def cross(one: int, other: int) -> Floats:
        product = irfft(of_r[one] * of_i[other], size)
        return np.r_[product[-reach:], product[: reach + 1]]

    count = np.maximum(cross(0, 0), 1.0)
    mean_r, mean_i = cross(1, 0) / count, cross(0, 1) / count
    return _Sums(
        count=count,
        variance_r=np.maximum(cross(2, 0) / count - mean_r**2, 1e-12),
        variance_i=np.maximum(cross(0, 2) / count - mean_i**2, 1e-12),
        covariance=cross(1, 1) / count - mean_r * mean_i,
        enough=count >= 0.3 * max(float(count.max()), 1.0),
    )


def _left(reference: Floats, installed: Floats, lag_s: float, shift: float, step_s: float) -> Floats:
    """What a shift by whole steps and a lag leave between the two, line and mean taken out."""
    ref, inst = _lagged(reference, installed, lag_s, step_s)
    whole = round(shift)
    moved = np.full(inst.size, np.nan)
    if whole >= 0:
        moved[: inst.size - whole] = inst[whole:]
    else:
        moved[-whole:] = inst[:whole]
    return _without_drift(moved - ref)


def _whitening(left: Floats) -> Floats:
    """Weights of a filter that makes a series like this one white: Yule and Walker's autoregression."""
    from scipy.linalg import solve_toeplitz

    known = np.isfinite(left)
    x = np.where(known, left, 0.0)
    if known.sum() < 10 * _ORDER or not np.any(x):
        return np.ones(1)
    pairs = np.array([known[k:] @ known[: known.size - k] for k in range(_ORDER + 1)], dtype=float)
    covariance = np.array([x[k:] @ x[: x.size - k] for k in range(_ORDER + 1)]) / np.maximum(pairs, 1.0)
    covariance[0] *= 1.0 + 1e-6
    return np.r_[1.0, -solve_toeplitz(covariance[:-1], covariance[1:])]


def _whitened(values: Floats, weights: Floats) -> Floats:
    """Filtered trace; NaN where the filter would reach over the start or a missing reading."""
    from scipy.signal import lfilter

    known = np.isfinite(values)
    result = np.asarray(lfilter(weights, [1.0], np.where(known, values, 0.0)), dtype=np.float64)
    reached = np.convolve(~known, np.ones(weights.size))[: values.size] > 0.5
    reached[: weights.size - 1] = True
    return np.where(reached, np.nan, result)


def _search(
    reference: Floats, installed: Floats, weights: Floats, step_s: float, reach: int, about_s: float
) -> dict[float, _Fit]:
    """Fit at lags on a coarse net, then ever nearer to the best one."""
    sign = 1.0 if about_s >= 0 else -1.0
    fits: dict[float, _Fit] = {}

    def look(lag_s: float) -> None:
        if lag_s not in fits:
            fits[lag_s] = _fit(reference, installed, lag_s, weights, step_s, reach)

    for k in _LAGS_IN_STEPS:
        look(sign * k * step_s)
    for k in _LAGS_IN_STEPS[1:3]:
        look(-sign * k * step_s)
    for _ in range(4):
        lags = sorted(fits)
        at = lags.index(min(fits, key=lambda lag: fits[lag].least))
        for near in (at - 1, at):
            if 0 <= near < len(lags) - 1:
                look(0.5 * (lags[near] + lags[near + 1]))
    return fits


def _fit(reference: Floats, installed: Floats, lag_s: float, weights: Floats, step_s: float, reach: int) -> _Fit:
    ref, inst = _lagged(_without_drift(reference), _without_drift(installed), lag_s, step_s)
    sums = _sums(_whitened(ref, weights), _whitened(inst, weights), reach)
    left = np.maximum(sums.variance_r + sums.variance_i - 2 * sums.covariance, 1e-12)
    deviance = np.where(sums.enough, float(np.median(sums.count[sums.enough])) * np.log(left), np.inf)
    best = int(np.argmin(deviance))
    shift, least, half = float(best - reach), float(deviance[best]), 1.0
    if 0 < best < deviance.size - 1 and np.isfinite(deviance[best - 1 : best + 2]).all():
        before, middle, after = deviance[best - 1 : best + 2]
        bend = before - 2 * middle + after
        if bend > 0:
            apart = float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5))
            shift += apart
            least -= 0.5 * bend * apart**2
            half = math.sqrt(2 * _ALLOWED / bend)
    return _Fit(deviance, shift, least, half)


def _offset(fits: dict[float, _Fit], best_s: float, reach: int, step_s: float) -> Estimate:
    """Every shift, at any lag, that is not told from the best."""
    best = fits[best_s]
    low, high = best.shift, best.shift
    for fit in fits.values():
        room = best.least + _ALLOWED - fit.least
        if room < 0:
            continue
        own = fit.half_width * math.sqrt(room / _ALLOWED)
        as_well = np.flatnonzero(fit.deviance <= best.least + _ALLOWED) - float(reach)
        low, high = min(low, fit.shift - own, *as_well), max(high, fit.shift + own, *as_well)
    value = best.shift * step_s
    return Estimate.ordered(value, min(low, best.shift - 0.1) * step_s, max(high, best.shift + 0.1) * step_s)


def _lag(fits: dict[float, _Fit], best_s: float, step_s: float) -> Estimate:
    """Lags that are not told from the best, their edges between the lags tried."""
    lags = sorted(fits)
    rise = np.array([fits[lag].least for lag in lags]) - fits[best_s].least
    at = lags.index(best_s)
    edges = []
    for way in (-1, 1):
        k = at
        while 0 <= k + way < len(lags) and rise[k + way] <= _ALLOWED:
            k += way
        edge = lags[k]
        if 0 <= k + way < len(lags):
            edge += (lags[k + way] - lags[k]) * math.sqrt((_ALLOWED - rise[k]) / max(rise[k + way] - rise[k], 1e-9))
            edge = float(np.clip(edge, min(lags[k], lags[k + way]), max(lags[k], lags[k + way])))
        edges.append(edge)
    least = (0.1 if abs(best_s) > _UNSEEN_LAG * step_s else _UNSEEN_LAG) * step_s
    return Estimate.ordered(best_s, min(edges[0], best_s - least), max(edges[1], best_s + least))
