"""The dryer's own periodic trace, taken out so that a dry-down beneath it can be fitted.

Question: how would the air have moved without the probe's dry-down? Input: time and moisture, and from when on the
trace is settled. Output: a factor per reading. Method: the settled part folded on the full cycle near the nameplate's;
the fold that explains most counts, none if it explains little.
"""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import Floats

_LEAST_EXPLAINED = 0.3
_BINS = 48


def periodic_factor(time_s: Floats, moisture: Floats, settled_s: float, half_cycle_s: float) -> Floats:
    """Moisture of the folded cycle over its median, for every reading.

    Parameters
    ----------
    time_s, moisture : ndarray, shape (n,)
        [s], [mol/mol].
    settled_s : float
        The fold is taken from readings after this.
    half_cycle_s : float
        Nameplate [s].

    Returns
    -------
    ndarray, shape (n,)
        Ones where no rhythm explains the settled part.
    """
    ones = np.ones_like(moisture)
    later = time_s >= settled_s
    period = 2.0 * half_cycle_s
    cycles = (time_s[-1] - settled_s) / period
    step = float(np.median(np.diff(time_s)))
    if cycles < 1.2 or later.sum() < 60 or half_cycle_s < 3.0 * step:
        return ones
    t, logs = time_s[later], np.log(moisture[later])
    logs = logs - _running_level(t, logs, period)
    every = max(1, t.size // 8_000)
    spread = min(0.03, 3.0 / cycles)
    candidates = period * (1.0 + np.linspace(-spread, spread, 41))
    explained = [_explained(t[::every], logs[::every], p) for p in candidates]
    best = int(np.argmax(explained))
    if explained[best] < _LEAST_EXPLAINED:
        return ones
    profile = _profile(t, logs, candidates[best])
    profile -= np.median(profile)
    phase = (time_s / candidates[best]) % 1.0
    centres = (np.arange(profile.size) + 0.5) / profile.size
    return np.exp(np.interp(phase, centres, profile, period=1.0))


def load_factor(time_s: Floats, moisture: Floats, load: Floats, settled_s: float) -> Floats:
    """Moisture that goes with the load over its median, for every reading.

    Parameters
    ----------
    time_s, moisture, load : ndarray, shape (n,)
        [s], [mol/mol], flow or moisture load [any unit].
    settled_s : float
        The coupling is taken from readings after this.

    Returns
    -------
    ndarray, shape (n,)
        Ones where the load explains little of the settled part.
    """
    ones = np.ones_like(moisture)
    bins = ((time_s - time_s[0]) / 1800.0).astype(int)
    count = np.maximum(np.bincount(bins), 1)
    drive = np.bincount(bins, np.log(np.maximum(load, 1e-3 * float(np.median(load)) + 1e-12))) / count
    answer = np.bincount(bins, np.log(moisture)) / count
    middle = np.bincount(bins, time_s) / count
    rows = np.flatnonzero((middle >= settled_s) & (np.bincount(bins) > 0))
    if rows.size < 16 or float(np.ptp(drive[rows])) < 0.05:
        return ones
    coupling = np.cov(drive[rows], answer[rows])
    share = coupling[0, 1] ** 2 / max(coupling[0, 0] * coupling[1, 1], 1e-30)
    if share < _LEAST_EXPLAINED:
        return ones
    held = np.clip(drive, drive[rows].min(), drive[rows].max()) - float(np.median(drive[rows]))
    known = np.bincount(bins) > 0
    return np.exp(coupling[0, 1] / coupling[0, 0] * np.interp(time_s, middle[known], held[known]))


def _running_level(t: Floats, logs: Floats, period: float) -> Floats:
    """Slow level: medians over full cycles, straight between them."""
    which = ((t - t[0]) / period).astype(int)
    edges = np.flatnonzero(np.diff(which)) + 1
    parts = np.split(np.arange(t.size), edges)
    parts = [p for p in parts if p.size >= 0.5 * parts[0].size]
    times = [float(t[p].mean()) for p in parts]
    return np.interp(t, times, [float(np.median(logs[p])) for p in parts])


def _bins(t: Floats, period: float) -> tuple[np.ndarray, int]:
    step = float(np.median(np.diff(t)))
    bins = int(np.clip(period / step, 6, _BINS))
    return np.minimum(((t / period) % 1.0 * bins).astype(int), bins - 1), bins


def _explained(t: Floats, logs: Floats, period: float) -> float:
    which, bins = _bins(t, period)
    count = np.bincount(which, minlength=bins)
    mean = np.bincount(which, logs, bins) / np.maximum(count, 1)
    total = float(np.var(logs))
    return 0.0 if total == 0 else 1.0 - float(np.mean((logs - mean[which]) ** 2)) / total


def _profile(t: Floats, logs: Floats, period: float) -> Floats:
    which, bins = _bins(t, period)
    order = np.argsort(which, kind="stable")
    parts = np.split(logs[order], np.searchsorted(which[order], np.arange(1, bins)))
    medians = np.array([np.median(p) if p.size else np.nan for p in parts])
    known = np.isfinite(medians)
    index = np.arange(bins)
    return np.interp(index, index[known], medians[known], period=bins)
