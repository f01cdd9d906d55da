"""Where in an average cycle the switchover stands: how well each phase explains the curve, and how surely.

What leaves a dryer after a switchover is the fresh tower's air: it may leap, spike, or bring a wave of heat and water
minutes later, so it is free to change, the sooner after the switchover the faster. Towards the end of a half-cycle
nothing is left but a slow tail. Probe and sample line follow with a lag of their own, so the trace itself does not
leap, it turns. Each of these is a random curve with a known covariance from the switchover on; the covariance is
moved round the cycle, and the phase at which the average cycle is likeliest is the switchover's. Lag and sharpness
are not estimated but averaged over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from diagnostics.cycle.folding import Folded, fold_phases
from diagnostics.log.record import Flags, Floats
from diagnostics.order_statistics import median

SIZES = (96, 64, 48, 32)
"""Cells of a half-cycle; the most that the readings fill are taken."""
MOST_SEEN, TRIALS = 32, 48
"""Cells of a half-cycle that count as few where they are not all, and phases tried then."""
LEAST_ROUGH = 16
"""Cells of a half-cycle from which the scatter of neighbours tells how well each is known."""
FINE = 384
SHARPEST, FREE, TAIL, RAMP, ANYWHERE = 0.01, 0.2, 1.0, 0.3, 0.03
"""Time after the switchover, as a share of a half-cycle, within which the trace may change at will; variances of a free
curve, of a tail and of a straight rise against that of one decay, and of slow waves that no switchover brings."""
DECAYS, TAILS = (0.04, 0.1, 0.25, 0.6), (0.12, 0.4)
"""Time constants of spikes that die away and of tails that grow, as shares of a half-cycle."""
LAGS, SECOND, WAVES = (0.004, 0.012, 0.03, 0.06, 0.1, 0.16), 0.6, 3
"""Lags of the probe as shares of a half-cycle, the sample line's against it, and slow waves a cycle."""
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


def place_break(curves: Sequence[Folded], interval_s: float, towers: int = 1) -> Break:
    """Phase of the switchover common to folded cycles of one period, finer than the log's interval.

    Parameters
    ----------
    curves : sequence of Folded
        Cycles of different load, each with its own shape but one clock.
    interval_s : float
        Usual step between readings [s].
    towers : int
        1: the period is one half-cycle; 2: it is a full cycle of two unlike halves.

    Returns
    -------
    Break
        The place near which most of the likelihood lies, near meaning half a reading or a twentieth of the half-cycle.
    """
    part = curves[0].period_s / towers
    trial = np.arange(FINE) / FINE
    total = np.zeros(FINE)
    for folded in curves:
        likely = TEMPER * _log_likelihood(folded, interval_s, towers)
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


def _log_likelihood(folded: Folded, interval_s: float, towers: int) -> Floats:
    """Of each phase, evenly from zero to one half-cycle."""
    for size in SIZES:
        value, weight = _cells(folded, size * towers)
        if _bears(np.asarray(weight > 0.0), towers):
            break
    if not weight.all():
        return _of_some_cells(value, weight, folded.noise_variance, towers)
    readings = folded.period_s / interval_s / towers
    return _of_full_cells(value.reshape(towers, size), folded.noise_variance / float(weight.mean()), readings)


def _roughness(value: Floats) -> float:
    """Variance of one cell from second differences: cells seen under unlike loads differ by more than their noise."""
    second = value - 0.5 * (np.roll(value, 1) + np.roll(value, -1))
    return median(second**2) / (0.455 * 1.5)


def _cells(folded: Folded, many: int) -> tuple[Floats, Floats]:
    """Means and numbers of readings in even cells of the folded period."""
    cell = np.minimum((folded.phase_s * (many / folded.period_s)).astype(np.int64), many - 1)
    weight = np.asarray(np.bincount(cell, folded.weight, many), dtype=np.float64)
    value = np.bincount(cell, folded.weight * folded.value, many)
    return value / np.where(weight > 0.0, weight, 1.0), weight


def _of_full_cells(halves: NDArray[np.float64], noise_variance: float, readings: float) -> Floats:
    """Log-likelihood of each phase from cells that are all filled: what both halves share, and how they differ."""
    if halves.shape[0] == 1:
        return _moved(halves[0], noise_variance, False, _lost(readings, False, 1))
    shared, unlike = 0.5 * (halves[0] + halves[1]), 0.5 * (halves[0] - halves[1])
    likely = _moved(shared, 0.5 * noise_variance, False, _lost(readings, False, 2))
    return likely + _moved(unlike, 0.5 * noise_variance, True, _lost(readings, True, 2))


def _lost(readings: float, changes_sign: bool, towers: int) -> tuple[float, ...]:
    """Harmonics of a half-cycle that its few readings fold onto the drift, which was taken off over a period."""
    harmonic = np.arange(MOST_LOST) + (0.5 if changes_sign else 0.0)
    many = np.maximum(np.rint(harmonic / readings), 1.0)
    lost = (harmonic == 0.0) | (np.abs(harmonic - many * readings) < SLOWEST / towers)
    return tuple(float(each) for each in harmonic[lost])


def _moved(curve: Floats, noise_variance: float, changes_sign: bool, lost: tuple[float, ...]) -> Floats:
    """Log-likelihood of a curve for each place of the switchover, over lags and noises; its scale is profiled out."""
    size = curve.size
    gone = _waves(size, lost)
    curve = curve - gone @ (gone.T @ curve)
    variance = float((curve**2).mean()) + 1e-300
    around = np.concatenate([curve, -curve if changes_sign else curve]) / np.sqrt(variance)
    starting = np.lib.stride_tricks.sliding_window_view(around, size)[:size].astype(np.float32)
    noise = max(noise_variance / variance, LEAST_NOISE)
    found = []
    for covariance in _covariances(size, changes_sign, lost):
        energy = (starting @ covariance.vectors) ** 2
        for times in NOISES:
            spread = covariance.values + times * noise
            misfit = np.asarray(energy @ (1.0 / spread).astype(np.float32), dtype=np.float64) / size
            found.append(-0.5 * float(np.log(spread).sum()) - 0.5 * size * np.log(misfit))
    return _averaged(np.array(found))


@lru_cache(maxsize=64)
def _waves(size: int, harmonics: tuple[float, ...]) -> Floats:
    """Cosine and sine of harmonics in even cells, of length one each."""
    angle = 2.0 * np.pi * (np.arange(size) + 0.5) / size
    waves = np.stack([f(each * angle) for each in harmonics for f in (np.cos, np.sin)] or [np.zeros(size)], axis=1)
    length = np.sqrt((waves**2).sum(axis=0))
    return np.asarray(waves[:, length > 1e-6] / length[length > 1e-6], dtype=np.float64)


def _of_some_cells(value: Floats, weight: Floats, noise_variance: float, towers: int) -> Floats:
    """Log-likelihood of each phase from the few cells that a timer of almost whole readings fills."""
    seen = np.flatnonzero(weight)
    at = value[seen] - float(np.average(value[seen], weights=weight[seen]))
    variance = float((at**2).mean()) + 1e-300
    noise = np.maximum(noise_variance / weight[seen] / variance, LEAST_NOISE)
    size = value.size // towers
    trial = np.arange(0, size, max(1, size // TRIALS))
    place = (seen[None, :] - trial[:, None]) % value.size
    cells = place[:, :, None] * value.size + place[:, None, :]
    # what is heard stands below the covariance: its factor then holds both the volume and what is left of the curve
    many = at.size
    bordered = np.empty((trial.size, many + 1, many + 1))
    bordered[:, many, :many] = at
    bordered[:, many, many] = 2.0 * float(at @ at) / LEAST_NOISE + 1.0
    diagonal = np.arange(many)
    found = []
    differ: tuple[_Covariance | None, ...] = _covariances(size, True, ()) if towers == 2 else (None,) * len(LAGS) * 2
    for shared, unlike in zip(_covariances(size, False, (0.0,)), differ, strict=True):
        # the mean of the cells seen is not the cycle's
        whole = shared.matrix + 1.0
        if unlike is not None:
            whole = np.block(
                [[whole + unlike.matrix, whole - unlike.matrix], [whole - unlike.matrix, whole + unlike.matrix]]
            )
        bordered[:, :many, :many] = whole.take(cells)
        bordered[:, diagonal, diagonal] += noise
        factor = np.linalg.cholesky(bordered)
        misfit = (factor[:, many, :many] ** 2).sum(axis=1)
        volume = np.log(factor[:, diagonal, diagonal]).sum(axis=1)
        found.append(-volume - 0.5 * many * np.log(misfit / many))
    return _averaged(np.array(found))


def _averaged(found: NDArray[np.float64]) -> Floats:
    """Logarithm of the mean likelihood over the rows."""
    most = found.max()
    return np.asarray(np.log(np.exp(found - most).mean(axis=0) + 1e-300) + most, dtype=np.float64)


@dataclass(frozen=True)
class _Covariance:
    """Of a half-cycle from its switchover on, and its eigenvectors and eigenvalues."""

    matrix: Floats
    vectors: NDArray[np.float32]
    values: Floats


@lru_cache(maxsize=32)
def _covariances(size: int, changes_sign: bool, lost: tuple[float, ...]) -> tuple[_Covariance, ...]:
    """One for each lag, of probes alone and behind a sample line; of mean variance one, some waves left out."""
    gone = _waves(size, lost)
    leaving = _leaving(size)
    waves = 2.0 * np.arange(1, WAVES + 1) - (1.0 if changes_sign else 0.0)
    apart = np.subtract.outer(np.arange(size), np.arange(size)) * (np.pi / size)
    anywhere = sum(np.cos(wave * apart) / wave**2 for wave in waves) / float((1.0 / waves**2).sum())
    found = []
    for behind_a_line in (False, True):
        for lag in LAGS:
            seen = _lagged(_lagged(leaving, lag, behind_a_line, changes_sign).T, lag, behind_a_line, changes_sign)
            seen = seen + ANYWHERE * float(np.trace(seen)) / size * anywhere
            seen = seen - gone @ (gone.T @ seen)
            seen = seen - (seen @ gone) @ gone.T
            matrix = seen * (size / float(np.trace(seen)))
            values, vectors = np.linalg.eigh(matrix)
            found.append(_Covariance(matrix, vectors.astype(np.float32), np.maximum(values, 0.0)))
    return tuple(found)


def _leaving(size: int) -> Floats:
    """Covariance of the leaving air over a half-cycle, before any lag.

    The free curve is a Matern process of order 3/2 in the logarithm of the time since the switchover.
    """
    since = (np.arange(size) + 0.5) / size
    slower = np.log1p(since / SHARPEST)
    apart = np.sqrt(3.0) * np.abs(np.subtract.outer(slower, slower))
    matrix = FREE * (1.0 + apart) * np.exp(-apart)
    for constant in DECAYS:
        matrix += np.outer(np.exp(-since / constant), np.exp(-since / constant))
    for constant in TAILS:
        matrix += TAIL * np.outer(np.exp((since - 1.0) / constant), np.exp((since - 1.0) / constant))
    return np.asarray(matrix + 4.0 * RAMP * np.outer(since - 0.5, since - 0.5), dtype=np.float64)


def _lagged(curves: Floats, lag: float, behind_a_line: bool, changes_sign: bool) -> Floats:
    """Columns seen through a first-order lag, or two in a row; what the half-cycle before left is what this one leaves,
    or its negative."""
    size = curves.shape[0]
    turn = np.exp(-1j * np.pi * np.arange(size) / size)[:, None] if changes_sign else np.ones((size, 1))
    angle = 2.0 * np.pi * (np.arange(size) + (0.5 if changes_sign else 0.0)) / size
    response = np.ones(size, dtype=np.complex128)
    for constant in (lag, lag * SECOND)[: 2 if behind_a_line else 1]:
        kept = np.exp(-1.0 / (constant * size))
        response *= (1.0 - kept) / (1.0 - kept * np.exp(-1j * angle))
    seen = np.fft.ifft(np.fft.fft(curves * turn, axis=0) * response[:, None], axis=0) * np.conj(turn)
    return np.asarray(seen.real, dtype=np.float64)
