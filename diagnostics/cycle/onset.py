"""Where the trace starts to answer a switchover, fall by fall: the kink before the highest reading.

A fresh tower often begins with a spike, and the probe follows late: the highest reading comes a little after the
switchover. The steady rise of the old tower then breaks into a steeper one. The kink is placed by a broken line through
the readings before the peak, where it stands out of the noise; where it does not, the rise and the fall drawn on meet
at the switchover.
"""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Flags, Floats

BEFORE, LATEST, LEAST_REACH = 10, 6, 9
"""Readings before a peak through which the broken line goes, how many of them the kink may lie back, and how many it
takes to place it better than a single reading's leap does."""
CLEAR = 16.0
"""Misfit in noise variances that a kink must save against a rise that only curves."""
RISE, FALL, STRAIGHT = 5, 5, 6
"""Readings before and after a peak that tell how the trace rose to it and fell from it, and before a leap."""
SPIKE, LEAST_TOGETHER = 4.0, 8
"""Spreads by which a reading must pass the rise before it to belong to the next half-cycle already, and peaks that
are laid on top of each other."""


def answered_s(trace: Trace, peak_s: Floats) -> Floats:
    """Instants at which the trace starts to answer.

    Parameters
    ----------
    trace : Trace
    peak_s : ndarray, shape (n,)
        Instants of the highest readings before falls [epoch s].

    Returns
    -------
    ndarray, shape (n,)
        At most a reading after the peaks [epoch s].
    """
    noise = _fine_noise(trace.value)
    early, clear = _kinks(trace, peak_s, noise)
    leaps, leapt = _leaps(trace, peak_s, noise)
    unclear = ~clear & ~leapt
    together = _leap_together(trace, peak_s[unclear], noise) if int(unclear.sum()) >= LEAST_TOGETHER else None
    if together is not None:
        leaps, leapt = np.where(unclear, together, leaps), leapt | unclear
    return peak_s - np.where(clear, early, np.where(leapt, leaps, _turns(trace, peak_s)))


def _fine_noise(value: Floats) -> float:
    """Scatter of one reading from third differences, which no slope or curve enters; by the last digit at least."""
    change = np.abs(np.diff(value))
    digit = float(change[change > 0].min()) if (change > 0).any() else 0.0
    third = np.abs(np.diff(value, 3))
    return max(1.4826 * float(np.median(third)) / np.sqrt(20.0), digit / np.sqrt(12.0)) + 1e-9


def _kinks(trace: Trace, peak_s: Floats, noise: float) -> tuple[Floats, Flags]:
    """How long before each peak the kink lies [s], and where there is a clear one."""
    usual = float(np.median(np.diff(peak_s)))
    reach = min(BEFORE, int(0.3 * usual / trace.interval_s))
    if reach < LEAST_REACH:
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
    curved = _left_over(value, np.stack([np.ones_like(even), even, even**2], axis=1))
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
    clear = inside & (curved - left[best, rows] > CLEAR * noise**2) & (steeper[best, rows] > 0.0)
    return np.where(clear, -grid[best], 0.0), clear


def _left_over(value: Floats, basis: Floats) -> Floats:
    """Square misfit of each row."""
    fitted = value @ np.linalg.pinv(basis).T @ basis.T
    return np.asarray(((value - fitted) ** 2).sum(axis=1))


def _leaps(trace: Trace, peak_s: Floats, noise: float) -> tuple[Floats, Flags]:
    """How long before each peak the first reading leaps off the straight rise before it [s], and where one does.

    The switchover lies between that reading and the one before: by how the leap grows, or half way.
    """
    index = np.searchsorted(trace.time_s, peak_s)
    last, step = trace.time_s.size - 1, trace.interval_s
    even = np.arange(-STRAIGHT, 0) * step
    weight = np.linalg.pinv(np.stack([np.ones_like(even), even], axis=1))
    ahead = weight[0] + step * weight[1]
    scatter = noise * float(np.sqrt(1.0 + (weight[0] ** 2).sum()))
    wider = noise * float(np.sqrt(1.0 + (ahead**2).sum()))
    lead, leapt = np.zeros(peak_s.size), np.zeros(peak_s.size, dtype=bool)
    for later in (-2, -1, 0, 1):
        at = index + later
        before = trace.value[np.clip(at[:, None] + np.arange(-STRAIGHT, 0)[None, :], 0, last)]
        over = trace.value[np.clip(at, 0, last)] - before @ weight[0]
        then = trace.value[np.clip(at + 1, 0, last)] - before @ ahead
        bent = 0.5 * np.abs(before @ weight[1]) * step
        leaps = over > SPIKE * scatter + bent
        leaps |= (over > 0.5 * SPIKE * scatter + 0.5 * bent) & (then > SPIKE * wider + 2.0 * bent)
        leaps &= ~leapt & (at >= STRAIGHT) & (at <= last)
        grows = then > 2.0 * np.maximum(over, 0.0)
        back = np.where(grows, over / np.where(grows, then - over, 1.0), 0.5)
        lead = np.where(leaps, (back - later) * step, lead)
        leapt |= leaps
    return lead, leapt


def _leap_together(trace: Trace, peak_s: Floats, noise: float) -> float | None:
    """Lead of the leap in peaks laid on top of each other [s], where none is clear of noise alone; None without one."""
    index = np.searchsorted(trace.time_s, peak_s)
    index = index[(index >= 2 * STRAIGHT) & (index < trace.time_s.size - FALL)]
    if index.size < LEAST_TOGETHER:
        return None
    around = np.arange(-2 * STRAIGHT, FALL)
    window = trace.value[index[:, None] + around[None, :]] - trace.value[index][:, None]
    mean = Trace(
        np.asarray(around * trace.interval_s, dtype=np.float64),
        np.asarray(np.median(window, axis=0), dtype=np.float64),
        trace.interval_s,
        np.zeros(0, dtype=np.int64),
    )
    lead, leapt = _leaps(mean, np.zeros(1), 1.25 * noise / float(np.sqrt(index.size)))
    return float(lead[0]) if leapt[0] else None


def _turns(trace: Trace, peak_s: Floats) -> Floats:
    """How long before each peak the rise and the fall meet, both drawn on straight; within a reading of the peak [s].

    The last reading on the rise is the highest one, the switchover comes between it and the next.
    """
    index = np.searchsorted(trace.time_s, peak_s)
    step = trace.interval_s
    last = trace.time_s.size - 1
    rise_at = np.clip(index[:, None] + np.arange(-RISE, 1)[None, :], 0, last)
    fall_at = np.clip(index[:, None] + np.arange(0, FALL + 1)[None, :], 0, last)
    even = np.arange(-RISE, 1) * step
    value = trace.value[rise_at] - trace.value[rise_at[:, -1:]]
    weight = np.linalg.pinv(np.stack([np.ones_like(even), even], axis=1))
    top, slope = value @ weight[0], np.maximum(value @ weight[1], 0.0)
    after = trace.value[fall_at] - trace.value[fall_at[:, :1]]
    change = np.diff(after, axis=1) / step
    steepest = change.argmin(axis=1)
    rows = np.arange(peak_s.size)
    fall = np.minimum(change[rows, steepest], -1e-12)
    # top + slope u = after + fall (u - u1): the lines meet at u
    meet = (after[rows, steepest] - fall * steepest * step - top) / (slope - fall)
    return -np.clip(meet, -step, step)
