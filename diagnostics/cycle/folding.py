"""Folding a log at its period: the average cycle, and how many breaks it has.

A switchover leaves a break in an otherwise smooth curve: the bed that took over answers with decaying exponentials (a
spike that dies away, the probe's lag), the bed that is about to leave with growing ones (the early breakthrough tail).
The instant of the break is the phase at which such a family fits the folded curve best; folding many cycles places it
far finer than the log's interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.cycle.answer import Answer
from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Floats

MOST_BINS = 1500
UNEVEN = 1e-6
"""Share of the usual step by which steps may differ to be counted off instead of looked up."""


@dataclass(frozen=True)
class Folded:
    """Average cycle.

    Attributes
    ----------
    phase_s : ndarray, shape (m,)
        Mean time since the cycle's start of the readings in each bin, ascending [s].
    value : ndarray, shape (m,)
        Trimmed mean of the readings, the cycle's own mean removed.
    weight : ndarray, shape (m,)
        Readings in the bin.
    period_s : float
    noise_variance : float
        Of one reading about its bin.
    """

    phase_s: Floats
    value: Floats
    weight: Floats
    period_s: float
    noise_variance: float


def without_drift(trace: Trace, window_s: float) -> Floats:
    """Readings less their mean over one window around each: drift and load go, the shape of a cycle stays."""
    t, x = trace.time_s, trace.value
    widths = np.diff(t)
    area = np.concatenate([[0.0], np.cumsum(0.5 * (x[1:] + x[:-1]) * widths)])
    low = np.clip(t - 0.5 * window_s, t[0], max(t[0], t[-1] - window_s))
    high = np.minimum(low + window_s, t[-1])
    step = float(widths.mean()) if widths.size else 1.0
    even = widths.size > 0 and float(np.ptp(widths)) < UNEVEN * step
    integral = _area_to(high, t, x, area, step, even) - _area_to(low, t, x, area, step, even)
    return x - integral / np.maximum(high - low, 1e-9)


def _area_to(at: Floats, t: Floats, x: Floats, area: Floats, step_s: float, even: bool) -> Floats:
    cell = ((at - t[0]) * (1.0 / step_s)).astype(np.int64) if even else np.searchsorted(t, at, side="right") - 1
    np.clip(cell, 0, t.size - 2, out=cell)
    gone, here = at - t[cell], x[cell]
    rise = x[cell + 1] - here
    slope = rise / step_s if even else rise / (t[cell + 1] - t[cell])
    return area[cell] + gone * (here + 0.5 * slope * gone)


def fold(
    time_s: Floats, level: Floats, period_s: float, interval_s: float, origin_s: float, most_bins: int = MOST_BINS
) -> Folded:
    """Average cycle of a series that has no drift.

    Parameters
    ----------
    time_s, level : ndarray, shape (n,)
    period_s, interval_s, origin_s : float
        Period, usual step between readings and an instant at phase zero [s].
    most_bins : int

    Returns
    -------
    Folded
    """
    bins = int(np.clip(6.0 * period_s / interval_s, 60, most_bins))
    return fold_phases(np.mod(time_s - origin_s, period_s), level, period_s, bins)


def fold_phases(phase: Floats, level: Floats, period_s: float, bins: int) -> Folded:
    """Average cycle of readings whose phase is known.

    Parameters
    ----------
    phase : ndarray, shape (n,)
        Time since the cycle's start, below the period [s].
    level : ndarray, shape (n,)
        Readings of a series that has no drift.
    period_s : float
        [s]
    bins : int
        Even ones; empty ones are left out.
    """
    cell = np.minimum((phase * (bins / period_s)).astype(np.int64), bins - 1)
    count = np.bincount(cell, minlength=bins).astype(float)
    full = count > 0
    spread = 1.4826 * float(np.median(np.abs(level - np.median(level)))) + 1e-12
    mean = np.bincount(cell, level, bins)[full] / count[full]
    centre = np.zeros(bins)
    centre[full] = mean
    departure = np.clip(level - centre[cell], -4.0 * spread, 4.0 * spread)
    trimmed = np.bincount(cell, departure, bins)
    at = np.bincount(cell, phase, bins)[full] / count[full]
    # a cell of readings is full, so nothing is divided by nought where it is taken
    around = departure - (trimmed / np.maximum(count, 1.0))[cell]
    variance = float((around**2).sum()) / max(1, level.size - int(full.sum()))
    return Folded(at, mean + trimmed[full] / count[full], count[full], period_s, variance)


def answer_to(folded: Folded, interval_s: float, towers: int = 1, terms: tuple[int, int] = (5, 3)) -> Answer:
    """Family of exponentials between the breaks of a folded cycle.

    Parameters
    ----------
    folded : Folded
    interval_s : float
        Usual step between readings [s].
    towers : int
        1: the period is one half-cycle; 2: it is a full cycle with a break in its middle, each half with its own
        shape.
    terms : tuple of int
        Falling and rising exponentials of the family.
    """
    return Answer(folded.phase_s, folded.value, folded.weight, folded.period_s, interval_s, towers, terms)


def breaks_ratio(folded: Folded, interval_s: float) -> float:
    """How much worse one break a period fits than two half a period apart; about one where there is one only."""
    single, double = _least_misfit(folded, interval_s, 1), _least_misfit(folded, interval_s, 2)
    if not np.isfinite(double) or folded.period_s < 8.0 * interval_s:
        return 1.0
    total = float((folded.weight * folded.value**2).sum())
    noise = min(folded.noise_variance * folded.value.size, 0.8 * double)
    floor = 0.005 * total
    return float((max(single - noise, 0.0) + floor) / (max(double - noise, 0.0) + floor))


def _least_misfit(folded: Folded, interval_s: float, towers: int) -> float:
    part = folded.period_s / towers
    trial = np.arange(0.0, part, part / 60)
    # as many terms a period with one break as with two, so that only the second break makes a difference
    terms = (9, 6) if towers == 1 and folded.value.size > 60 else (5, 3)
    family = answer_to(folded, interval_s, towers, terms)
    misfit = family.misfit(trial)
    best, least, step = float(trial[int(np.argmin(misfit))]), float(misfit.min()), part / 60
    # a jump that is placed a bin wrong costs more than a second break would save
    while step > 0.25 * folded.period_s / folded.value.size:
        near = best + np.linspace(-1.0, 1.0, 17) * step
        misfit = family.misfit(near)
        best, least, step = float(near[int(np.argmin(misfit))]), min(least, float(misfit.min())), step / 8.0
    return least
