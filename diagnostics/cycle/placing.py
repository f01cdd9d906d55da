"""Where in an average cycle the switchover stands: how well each phase explains the curve, and how surely.

What leaves a dryer after a switchover is the fresh tower's air: it may leap, spike, or bring a wave of heat and water
minutes later, so it is free to change, the sooner after the switchover the faster. Towards the end of a half-cycle
nothing is left but a slow tail. Probe and sample line follow with a lag of their own, so the trace itself does not
leap, it turns. Each of these is a random curve with a known mean and covariance from the switchover on
(`likely_shapes`); both are moved round the cycle, and the phase at which the average cycle is likeliest is the
switchover's. Kind of curve, lag and noise are not estimated but averaged over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from diagnostics.cycle.folding import Folded, fold_phases
from diagnostics.cycle.likely_shapes import FREE, SHARED, Kind, shapes_of, shapes_on_waves, waves_of
from diagnostics.log.record import Flags, Floats

SIZES = (96, 64, 48, 32)
"""Cells of a half-cycle; the most that the readings fill are taken."""
MOST_SEEN, TRIALS = 32, 48
"""Cells of a half-cycle that count as few where they are not all, and phases tried then."""
LEAST_ROUGH = 16
"""Cells of a half-cycle from which the scatter of neighbours tells how well each is known."""
FINE = 384
NOISES, LEAST_NOISE = (1.0, 3.0, 10.0), 3e-3
"""Times by which the cells may scatter more than their readings say, and the least share of the curve's variance."""
MOST_LOST, SLOWEST = 13, 0.6
"""Harmonics looked at, and cycles of a folded wave while drift is averaged, below which it is lost with the drift."""
TEMPER = 0.35
"""Share of the cells that count as independent: load and drift move neighbours together, lags smooth them."""
NEAR, WIDE = 0.05, 2.0
"""Share of a half-cycle within which a switchover counts as placed, and times that over which it is looked about."""


@dataclass(frozen=True)
class Break:
    """Phase of the switchover in a folded cycle and its standard uncertainty [s]."""

    phase_s: float
    error_s: float


def place_break(curves: Sequence[Folded], interval_s: float, towers: int = 1, roughly: bool = False) -> Break:
    """Phase of the switchover common to folded cycles of one period, finer than the log's interval.

    Parameters
    ----------
    curves : sequence of Folded
        Cycles of different load, each with its own shape but one clock.
    interval_s : float
        Usual step between readings [s].
    towers : int
        1: the period is one half-cycle; 2: it is a full cycle of two unlike halves.
    roughly : bool
        Whether free curves are enough, at a third of the time.

    Returns
    -------
    Break
        The place near which most of the likelihood lies, near meaning half a reading or a twentieth of the half-cycle.
    """
    part = curves[0].period_s / towers
    trial = np.arange(FINE) / FINE
    total = np.zeros(FINE)
    for folded in curves:
        likely = TEMPER * _log_likelihood(folded, interval_s, towers, (FREE,) if roughly else SHARED)
        total += np.interp(trial, np.arange(likely.size) / likely.size, likely, period=1.0)
    weight = np.exp(total - total.max())
    weight /= weight.sum()
    reach = min(max(round(WIDE * max(NEAR, 0.5 * interval_s / part) * FINE), 2), FINE // 2 - 1)
    # a place midway between two likely ones that both lie near is better than either of them
    kernel = (1.0 - (np.arange(-reach, reach + 1) / reach) ** 2) ** 2
    around = np.concatenate([weight[-reach:], weight, weight[:reach]])
    gathered = np.convolve(around, kernel, "valid")
    best = int(np.argmax(gathered))
    before, at, after = gathered[best - 1], gathered[best], gathered[(best + 1) % FINE]
    curve = 2.0 * at - before - after
    centre = trial[best] + (0.5 * (after - before) / curve / FINE if curve > 0.0 else 0.0)
    away = (trial - centre + 0.5) % 1.0 - 0.5
    spread = float(np.sqrt((weight * away**2).sum()))
    return Break(float(centre % 1.0) * part, float(np.hypot(spread, 0.3 / FINE)) * part)


def fold_to_place(phase: Floats, level: Floats, period_s: float, interval_s: float, cycles: int, towers: int) -> Folded:
    """Average cycle in as many even cells as its readings fill.

    Where the logger's clock hardly drifts against the timer's, each phase is seen at a time of its own and under the
    load of that time: neighbours scatter more than their readings do, and readings of a few phases count once a visit.

    Parameters
    ----------
    phase : ndarray, shape (n,)
        Time since the cycle's start, below the period [s].
    level : ndarray, shape (n,)
    period_s, interval_s : float
        [s]
    cycles : int
        From the first reading to the last.
    towers : int
        As in `place_break`.
    """
    finest = FINE * towers
    filled = np.bincount(np.minimum((phase * (finest / period_s)).astype(np.int64), finest - 1), minlength=finest) > 0
    size = next(size for size in SIZES if _bears(np.asarray(filled.reshape(size * towers, -1).any(axis=1)), towers))
    folded = fold_phases(phase, level, period_s, size * towers)
    usual = float(folded.weight.mean())
    if folded.value.size >= LEAST_ROUGH * towers:
        return replace(folded, noise_variance=max(folded.noise_variance, _roughness(folded.value) * usual))
    readings = period_s / interval_s
    visits = 1.0 + abs(readings - np.rint(readings)) * cycles
    return replace(folded, weight=folded.weight * min(1.0, visits / usual))


def _bears(filled: Flags, towers: int) -> bool:
    """Whether cells of this size are all filled, or few of them, or cannot be larger."""
    return bool(filled.all()) or int(filled.sum()) <= MOST_SEEN * towers or filled.size <= SIZES[-1] * towers


def _log_likelihood(folded: Folded, interval_s: float, towers: int, kinds: tuple[Kind, ...]) -> Floats:
    """Of each phase, evenly from zero to one half-cycle."""
    for size in SIZES:
        value, weight = _cells(folded, size * towers)
        if _bears(np.asarray(weight > 0.0), towers):
            break
    if not weight.all():
        return _of_some_cells(value, weight, folded.noise_variance, towers, kinds)
    readings = folded.period_s / interval_s / towers
    return _of_full_cells(value.reshape(towers, size), folded.noise_variance / float(weight.mean()), readings, kinds)


def _roughness(value: Floats) -> float:
    """Variance of one cell from second differences: cells seen under unlike loads differ by more than their noise."""
    second = value - 0.5 * (np.roll(value, 1) + np.roll(value, -1))
    return float(np.median(second**2)) / (0.455 * 1.5)


def _cells(folded: Folded, many: int) -> tuple[Floats, Floats]:
    """Means and numbers of readings in even cells of the folded period."""
    cell = np.minimum((folded.phase_s * (many / folded.period_s)).astype(np.int64), many - 1)
    weight = np.asarray(np.bincount(cell, folded.weight, many), dtype=np.float64)
    value = np.bincount(cell, folded.weight * folded.value, many)
    return value / np.where(weight > 0.0, weight, 1.0), weight


def _of_full_cells(
    halves: NDArray[np.float64], noise_variance: float, readings: float, kinds: tuple[Kind, ...]
) -> Floats:
    """Log-likelihood of each phase from cells that are all filled: what both halves share, and how they differ."""
    if halves.shape[0] == 1:
        return _moved(halves[0], noise_variance, kinds, False, _lost(readings, False, 1))
    shared, unlike = 0.5 * (halves[0] + halves[1]), 0.5 * (halves[0] - halves[1])
    likely = _moved(shared, 0.5 * noise_variance, kinds, False, _lost(readings, False, 2))
    return likely + _moved(unlike, 0.5 * noise_variance, (FREE,), True, _lost(readings, True, 2))


def _lost(readings: float, changes_sign: bool, towers: int) -> tuple[float, ...]:
    """Harmonics of a half-cycle that its few readings fold onto the drift, which was taken off over a period."""
    harmonic = np.arange(MOST_LOST) + (0.5 if changes_sign else 0.0)
    many = np.maximum(np.rint(harmonic / readings), 1.0)
    lost = (harmonic == 0.0) | (np.abs(harmonic - many * readings) < SLOWEST / towers)
    return tuple(float(each) for each in harmonic[lost])


def _moved(
    curve: Floats, noise_variance: float, kinds: tuple[Kind, ...], changes_sign: bool, lost: tuple[float, ...]
) -> Floats:
    """Log-likelihood of a curve for each place of the switchover, over kinds, lags and noises."""
    size = curve.size
    gone = waves_of(size, lost)
    curve = curve - gone @ (gone.T @ curve)
    variance = float((curve**2).mean()) + 1e-300
    around = np.concatenate([curve, -curve if changes_sign else curve]) / np.sqrt(variance)
    starting = np.lib.stride_tricks.sliding_window_view(around, size)[:size].astype(np.float32)
    noise = max(noise_variance / variance, LEAST_NOISE)
    shapes = shapes_on_waves(size, kinds, changes_sign, lost)
    on = starting @ shapes.vectors
    energy, with_mean = on**2, on * shapes.along.astype(np.float32)
    rest = np.maximum(size - np.add.reduceat(energy, shapes.first, axis=1).astype(np.float64), 0.0)
    aside, length = (starting @ shapes.aside).astype(np.float64), (shapes.aside.astype(np.float64) ** 2).sum(axis=0)
    found = []
    for each in NOISES:
        spread = shapes.values + each * noise
        weight = (1.0 / spread).astype(np.float32)
        misfit = np.add.reduceat(energy * weight, shapes.first, axis=1) + rest / (each * noise)
        likeness = np.add.reduceat(with_mean * weight, shapes.first, axis=1) + aside / (each * noise)
        mean = np.add.reduceat(shapes.along**2 / spread, shapes.first) + length / (each * noise)
        volume = np.add.reduceat(np.log(spread), shapes.first) + (size - shapes.many) * np.log(each * noise)
        scaled = _of_any_size(misfit, np.where(shapes.has_sign, likeness, 0.0), mean, size)
        found.append((scaled - 0.5 * volume).T)
    return _averaged(np.concatenate(found))


def _of_any_size(misfit: Floats, likeness: Floats, mean: Floats | float, size: int) -> Floats:
    """Log-likelihood of a curve whose size is the likeliest positive one.

    Parameters
    ----------
    misfit, likeness, mean : ndarray
        Square of the curve, its product with the mean shape and the square of that, all against the covariance.
    size : int
        Readings of the curve.
    """
    shrunk = (likeness + np.sqrt(likeness**2 + 4.0 * size * misfit)) / (2.0 * misfit)
    return np.asarray(size * np.log(shrunk) - 0.5 * (misfit * shrunk**2 - 2.0 * likeness * shrunk + mean))


def _of_some_cells(
    value: Floats, weight: Floats, noise_variance: float, towers: int, kinds: tuple[Kind, ...]
) -> Floats:
    """Log-likelihood of each phase from the few cells that a timer of almost whole readings fills."""
    seen = np.flatnonzero(weight)
    at = value[seen] - float(np.average(value[seen], weights=weight[seen]))
    variance = float((at**2).mean()) + 1e-300
    at = at / np.sqrt(variance)
    noise = np.maximum(noise_variance / weight[seen] / variance, LEAST_NOISE)
    size = value.size // towers
    trial = np.arange(0, size, max(1, size // TRIALS))
    place = (seen[None, :] - trial[:, None]) % value.size
    cells = place[:, :, None] * value.size + place[:, None, :]
    # what is heard and the mean stand below the covariance: its factor then holds the volume and all products with it
    many, diagonal = at.size, np.arange(at.size)
    bordered = np.zeros((trial.size, many + 2, many + 2))
    bordered[:, many, :many] = at
    bordered[:, many, many] = 2.0 * many / LEAST_NOISE + 1.0
    differ = shapes_of(size, FREE, True, ()) if towers == 2 else ()
    found = []
    for kind in kinds:
        for number, shape in enumerate(shapes_of(size, kind, False, (0.0,))):
            # the mean of the cells seen is not the cycle's
            whole, mean = shape.matrix + 1.0, shape.mean
            if towers == 2:
                unlike = differ[number % len(differ)].matrix
                whole = np.block([[whole + unlike, whole - unlike], [whole - unlike, whole + unlike]])
                mean = np.concatenate([mean, mean])
            bordered[:, :many, :many] = whole.take(cells)
            bordered[:, diagonal, diagonal] += noise
            bordered[:, many + 1, :many] = mean[place] if kind.has_sign else 0.0
            bordered[:, many + 1, many + 1] = 2.0 * float(mean @ mean) / LEAST_NOISE + 1.0
            factor = np.linalg.cholesky(bordered)
            heard, usual = factor[:, many, :many], factor[:, many + 1, :many]
            misfit, square = (heard**2).sum(axis=1), (usual**2).sum(axis=1)
            volume = np.log(factor[:, diagonal, diagonal]).sum(axis=1)
            found.append(_of_any_size(misfit, (heard * usual).sum(axis=1), square, many) - volume)
    return _averaged(np.array(found))


def _averaged(found: NDArray[np.float64]) -> Floats:
    """Logarithm of the mean likelihood over the rows."""
    most = found.max()
    return np.asarray(np.log(np.exp(found - most).mean(axis=0) + 1e-300) + most, dtype=np.float64)
