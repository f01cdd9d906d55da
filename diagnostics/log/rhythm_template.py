"""The shape of a long half-cycle, folded from where the probe has settled, so that a dry-down beneath it can be fitted.

Question: how would the air have moved without the probe's dry-down? Input: bins of time, what a level law leaves of the
logarithm of moisture, and from when on the trace is settled. Output: the shape at every bin. Method: the settled part
folded on a period near the nameplate's; the fold that explains most counts, none if it explains little.
"""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import Floats

_LEAST_EXPLAINED = 0.3
_LEAST_BIN_S = 600.0
_FEWEST, _MOST = 6, 48


def folded_shape(time_s: Floats, rest: Floats, settled_s: float, half_cycle_s: float) -> Floats | None:
    """Shape of the cycle about its median, in logarithms of moisture.

    Parameters
    ----------
    time_s, rest : ndarray, shape (n,)
        Bins [s]; what the level's law leaves.
    settled_s : float
        The fold is taken from bins after this.
    half_cycle_s : float
        Nameplate [s].

    Returns
    -------
    ndarray, shape (n,), or None
        None where there are too few cycles, or no rhythm explains them. Both towers share a shape where there are fewer
        than four full cycles.
    """
    later = time_s >= settled_s
    span = float(time_s[-1] - time_s[later][0]) if later.any() else 0.0
    period = 2.0 * half_cycle_s if span >= 8.0 * half_cycle_s else half_cycle_s
    if span < 1.5 * period or later.sum() < 2 * _FEWEST:
        return None
    t, values = time_s[later], rest[later] - np.median(rest[later])
    step = max(_LEAST_BIN_S, float(np.median(np.diff(t))))
    bins = int(np.clip(period / step, _FEWEST, _MOST))
    total = float(np.var(values))
    candidates = period * (1.0 + np.linspace(-0.03, 0.03, 25))
    left = [_unexplained(t, values, p, bins) for p in candidates]
    best = int(np.argmin(left))
    if total <= 0.0 or left[best] > (1.0 - _LEAST_EXPLAINED) * total:
        return None
    period = float(candidates[best])
    which = _bin(t, period, bins)
    known = np.flatnonzero(np.bincount(which, minlength=bins))
    medians = np.array([np.median(values[which == k]) for k in known])
    profile = np.interp(np.arange(bins), known, medians, period=bins)
    profile -= np.median(profile)
    return np.interp(time_s / period % 1.0, (np.arange(bins) + 0.5) / bins, profile, period=1.0)


def _bin(t: Floats, period: float, bins: int) -> np.ndarray:
    return np.minimum((t / period % 1.0 * bins).astype(int), bins - 1)


def _unexplained(t: Floats, values: Floats, period: float, bins: int) -> float:
    which = _bin(t, period, bins)
    mean = np.bincount(which, values, bins) / np.maximum(np.bincount(which, minlength=bins), 1)
    return float(np.mean((values - mean[which]) ** 2))
