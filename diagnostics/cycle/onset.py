"""Where the trace starts to answer a switchover, fall by fall: the kink before the highest reading.

A fresh tower often begins with a spike, and the probe follows late: the highest reading comes a little after the
switchover. The steady rise of the old tower then breaks into a steeper one. The kink is placed by a broken line through
the readings before the peak, where it stands out of the noise; where it does not, the peaks laid on top of each other
say how long the answer takes on the average.
"""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Flags, Floats

BEFORE, LATEST = 10, 6
"""Readings before a peak through which the broken line goes, and how many of them the kink may lie back."""
CLEAR = 16.0
"""Misfit in noise variances that a kink must save."""
LEAST_COMMON = 6


def answered_s(trace: Trace, peak_s: Floats, noise: float) -> Floats:
    """Instants at which the trace starts to answer.

    Parameters
    ----------
    trace : Trace
    peak_s : ndarray, shape (n,)
        Instants of the highest readings before falls [epoch s].
    noise : float
        Of one reading.

    Returns
    -------
    ndarray, shape (n,)
        Not after the peaks [epoch s].
    """
    early, clear = _kinks(trace, peak_s, noise)
    plain = peak_s[~clear]
    common = common_lead_s(trace, plain) if plain.size >= LEAST_COMMON else 0.0
    return peak_s - np.where(clear, early, common)


def _kinks(trace: Trace, peak_s: Floats, noise: float) -> tuple[Floats, Flags]:
    """How long before each peak the kink lies [s], and where there is a clear one."""
    usual = float(np.median(np.diff(peak_s)))
    reach = min(BEFORE, int(0.3 * usual / trace.interval_s))
    if reach < 6:
        return np.zeros(peak_s.size), np.zeros(peak_s.size, dtype=bool)
    index = np.searchsorted(trace.time_s, peak_s)
    place = index[:, None] + np.arange(-reach, 1)[None, :]
    inside = place[:, 0] >= 0
    place = np.clip(place, 0, trace.time_s.size - 1)
    since = trace.time_s[place] - trace.time_s[place[:, -1:]]
    inside &= np.abs(since[:, 0] + reach * trace.interval_s) <= 1.5 * trace.interval_s
    value = trace.value[place] - trace.value[place[:, -1:]]
    grid = -np.arange(0.0, min(LATEST, reach - 3) + 0.01, 0.25) * trace.interval_s
    even = np.arange(-reach, 1) * trace.interval_s
    plain = _left_over(value, np.stack([np.ones_like(even), even], axis=1))
    left = np.empty((grid.size, peak_s.size))
    steeper = np.empty((grid.size, peak_s.size))
    for i, at in enumerate(grid):
        basis = np.stack([np.ones_like(even), even, np.maximum(even - at, 0.0)], axis=1)
        if at >= 0.0:
            left[i], steeper[i] = plain, 0.0
            continue
        weight = np.linalg.pinv(basis)
        steeper[i] = value @ weight[2]
        left[i] = _left_over(value, basis)
    best = left.argmin(axis=0)
    rows = np.arange(peak_s.size)
    clear = inside & (plain - left[best, rows] > CLEAR * noise**2) & (steeper[best, rows] > 0.0)
    return np.where(clear, -grid[best], 0.0), clear


def _left_over(value: Floats, basis: Floats) -> Floats:
    """Square misfit of each row."""
    fitted = value @ np.linalg.pinv(basis).T @ basis.T
    return np.asarray(((value - fitted) ** 2).sum(axis=1))


def common_lead_s(trace: Trace, peak_s: Floats) -> float:
    """How long before its highest reading the trace starts to answer, on the average of all falls [s].

    The probe goes on rising a little after the fresh tower has taken over: around the peaks laid on top of each other,
    a curve smooth on both sides of a break is fitted, for each trial place of the break.
    """
    usual = float(np.median(np.diff(peak_s)))
    reach = 0.42 * usual
    owner = np.clip(np.searchsorted(peak_s, trace.time_s - reach), 0, peak_s.size - 1)
    since = trace.time_s - peak_s[owner]
    near = np.abs(since) < reach
    since, value, owner = since[near], trace.value[near], owner[near]
    step = max(trace.interval_s / 4.0, reach / 400.0)
    count = np.bincount(owner, minlength=peak_s.size)
    mean = np.bincount(owner, value, peak_s.size) / np.maximum(count, 1)
    cell = ((since + reach) / step).astype(np.int64)
    many = np.bincount(cell)
    full = many > 0
    at = np.bincount(cell, since)[full] / many[full]
    level = np.bincount(cell, value - mean[owner])[full] / many[full]
    root = np.sqrt(many[full])
    trial = np.linspace(-min(0.2 * usual, 12.0 * trace.interval_s), min(0.04 * usual, 2.0 * trace.interval_s), 61)
    misfit = np.array([_broken(at, level, root, u, usual, trace.interval_s) for u in trial])
    weight = (misfit / misfit.min()) ** (-0.1 * at.size)
    return -float((weight * trial).sum() / weight.sum())


def _broken(at: Floats, level: Floats, root: Floats, break_s: float, usual_s: float, interval_s: float) -> float:
    before, after = np.minimum(at - break_s, 0.0), np.maximum(at - break_s, 0.0)
    columns = [np.ones_like(at), before, np.exp(before / (0.1 * usual_s)), np.exp(before / (0.3 * usual_s))]
    for tau in np.geomspace(max(0.6 * interval_s, 0.01 * usual_s), 0.4 * usual_s, 4):
        columns.append(np.exp(-after / tau))
    basis = np.stack(columns, axis=1) * root[:, None]
    basis /= np.sqrt((basis**2).sum(axis=0)) + 1e-12
    target = level * root
    normal = basis.T @ basis
    normal[np.diag_indices_from(normal)] += 1e-7
    right = basis.T @ target
    return max(float(target @ target - right @ np.linalg.solve(normal, right)), 1e-12)
