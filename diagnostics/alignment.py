"""How far apart do two clocks stand, and how much slower is one instrument than the other?

Question: by what time and what first-order lag must the reference be moved to look like the installed instrument?
Input: both traces on one grid. Output: an `Alignment`. Method: cross-correlation of the traces, slow drift taken out,
by FFT with missing readings masked; the lag by the filter that correlates best; the interval from parts of the log
taken alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats

_LAGS_IN_STEPS = (0.0, 0.7, 1.5, 3.0, 6.0, 12.0, 25.0)
_PARTS = 8
_LEAST_CORRELATION = 0.3


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
    filters = [0.0] + [sign * k * step_s for k in _LAGS_IN_STEPS[1:] for sign in (1, -1)]
    tried = {lag: _best_shift(*_lagged(reference, installed, lag, step_s), reach) for lag in filters}
    lag_s = max(tried, key=lambda lag: tried[lag][1] - 1e-4 * abs(lag) / step_s)
    shift, correlation = tried[lag_s]
    if correlation < _LEAST_CORRELATION:
        return Alignment(None, None, correlation)
    return Alignment(
        offset_s=_with_interval(shift * step_s, _parts(reference, installed, lag_s, step_s, shift), step_s),
        lag_s=_lag_interval(tried, lag_s, step_s, reference.size),
        correlation=correlation,
    )


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
    """Shift in steps (fractional) and its correlation; positive where the installed trace comes later."""
    correlation = _correlate(_without_drift(reference), _without_drift(installed), reach)
    best = int(np.argmax(correlation))
    shift = float(best - reach)
    if 0 < best < correlation.size - 1:
        left, middle, right = correlation[best - 1 : best + 2]
        bend = left - 2 * middle + right
        if bend < 0:
            shift += float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
    return shift, float(correlation[best])


def _without_drift(values: Floats) -> Floats:
    """Less a straight line and the mean, so that bias and drift do not pose as correlation."""
    known = np.flatnonzero(np.isfinite(values))
    if known.size < 3:
        return values
    line = np.polynomial.Polynomial.fit(known, values[known], 1)
    return values - line(np.arange(values.size))


def _correlate(reference: Floats, installed: Floats, reach: int) -> Floats:
    """Normalised cross-correlation at shifts -reach..reach, each over the readings both have."""
    from scipy.fft import irfft, next_fast_len, rfft

    size = next_fast_len(2 * reference.size)
    known_r, known_i = np.isfinite(reference), np.isfinite(installed)
    r, i = np.where(known_r, reference, 0.0), np.where(known_i, installed, 0.0)

    def cross(one: Floats, other: Floats) -> Floats:
        product = irfft(np.conj(rfft(one, size)) * rfft(other, size), size)
        return np.r_[product[-reach:], product[: reach + 1]]

    mask_r, mask_i = known_r.astype(float), known_i.astype(float)
    count = np.maximum(cross(mask_r, mask_i), 1.0)
    mean_r, mean_i = cross(r, mask_i) / count, cross(mask_r, i) / count
    spread_r = np.maximum(cross(r**2, mask_i) / count - mean_r**2, 1e-12)
    spread_i = np.maximum(cross(mask_r, i**2) / count - mean_i**2, 1e-12)
    correlation = (cross(r, i) / count - mean_r * mean_i) / np.sqrt(spread_r * spread_i)
    return np.where(count >= 0.3 * max(count.max(), 1.0), correlation, -1.0)


def _parts(reference: Floats, installed: Floats, lag_s: float, step_s: float, shift: float) -> Floats:
    """Shift of each eighth of the log taken alone, near the whole log's."""
    ref, inst = _lagged(reference, installed, lag_s, step_s)
    whole = round(shift)
    moved = np.full(inst.size, np.nan)
    if whole >= 0:
        moved[: inst.size - whole] = inst[whole:]
    else:
        moved[-whole:] = inst[:whole]
    found = []
    for part in np.array_split(np.arange(ref.size), _PARTS):
        one, other = ref[part], moved[part]
        reach = min(20, part.size // 4)
        if reach < 1 or (np.isfinite(one) & np.isfinite(other)).sum() < 20:
            continue
        here, correlation = _best_shift(one, other, reach)
        if correlation >= _LEAST_CORRELATION:
            found.append(whole + here)
    return np.array(found) * step_s


def _with_interval(value_s: float, parts_s: Floats, step_s: float) -> Estimate:
    half = step_s
    if parts_s.size >= 3:
        from scipy.special import stdtrit

        spread = 1.4826 * float(np.median(np.abs(parts_s - np.median(parts_s))))
        half = float(stdtrit(parts_s.size - 1, 0.975)) * max(spread, 0.1 * step_s) / math.sqrt(parts_s.size)
    return Estimate(value_s, value_s - half, value_s + half)


def _lag_interval(tried: dict[float, tuple[float, float]], best_s: float, step_s: float, n: int) -> Estimate:
    """Lags whose unexplained variance is within what chance allows of the best one's, and their neighbours."""
    lags = sorted(tried)
    least = 1 - tried[best_s][1] ** 2
    allowed = least * (1 + 4 / max(math.sqrt(n), 2.0)) + 1e-6
    near = [lag for lag in lags if 1 - max(tried[lag][1], 0.0) ** 2 <= allowed]
    at = lags.index(best_s)
    low = min([*near, lags[max(at - 1, 0)]])
    high = max([*near, lags[min(at + 1, len(lags) - 1)]])
    return Estimate.ordered(best_s, low, high)
