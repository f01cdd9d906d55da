"""What a half-cycle may look like from its switchover on: random curves of known mean and covariance, and lags.

A fresh tower may leap, spike or bring a wave of heat and water: free curves, of no known sign. Of more usual kinds are
spikes that die away and tails that grow. Both are wet, so their size is positive: such a half-cycle falls early and
rises late, never the other way round, and a smooth ripple tells its switchover by that. Where towers differ, the
difference has no known sign.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.record import Floats

SHARPEST = 0.01
"""Time after the switchover, as a share of a half-cycle, within which a free curve may change at will."""
DECAYS, TAILS = (0.04, 0.1, 0.25, 0.6), (0.12, 0.4)
"""Time constants of spikes that die away and of tails that grow, as shares of a half-cycle."""
LAGS, SECOND, WAVES = (0.004, 0.012, 0.03, 0.06, 0.1, 0.16), 0.6, 3
"""Lags of the probe as shares of a half-cycle, the sample line's against it, and slow waves a cycle."""
SLOW_LAG = 0.25
"""A lag that only a curve of a known kind is told through."""
LEAST_VALUE = 1e-3
"""Variance of one wave, against the curve's mean one, below which it counts as none."""


@dataclass(frozen=True)
class Kind:
    """A kind of curve: usual sizes of each spike, each tail and a straight rise, and how far they may differ from them.

    ``free`` and ``anywhere`` are the variances of a free curve and, as a share of all, of slow waves that no switchover
    brings.
    """

    spike: float
    tail: float
    rise: float
    spread: tuple[float, float, float]
    free: float
    anywhere: float
    lags: tuple[float, ...]

    @property
    def has_sign(self) -> bool:
        """Whether the curve is not as likely as its mirror image."""
        return self.spike > 0.0


def _positive(spike: float, tail: float, rise: float) -> Kind:
    spread = (spike + 0.05, tail + 0.05, rise + 0.05)
    return Kind(spike, tail, rise, spread, 0.02, 0.003, (*LAGS, SLOW_LAG))


FREE = Kind(0.0, 0.0, 0.0, (1.0, 1.0, 1.1), 0.2, 0.03, LAGS)
SHARED = (FREE, _positive(1.0, 1.0, 1.0), _positive(0.1, 1.0, 1.0), _positive(1.0, 0.1, 0.1))
"""Kinds of what both halves share: free, spikes with tails, tails alone, spikes alone."""


@dataclass(frozen=True)
class Shape:
    """Mean and covariance of a half-cycle from its switchover on, both of mean square one together."""

    mean: Floats
    matrix: Floats


@dataclass(frozen=True)
class Shapes:
    """All shapes at once, on the waves that carry them.

    Attributes
    ----------
    vectors : ndarray, shape (size, waves)
        Eigenvectors of one shape after another.
    values, along : ndarray, shape (waves,)
        Variance of each wave, and the mean's share of it.
    first : ndarray, shape (shapes,)
        Of each shape's waves.
    many : ndarray, shape (shapes,)
        Waves of each shape.
    aside : ndarray, shape (size, shapes)
        What is left of each mean.
    has_sign : ndarray of bool, shape (shapes,)
    """

    vectors: NDArray[np.float32]
    values: Floats
    along: Floats
    first: NDArray[np.int64]
    many: Floats
    aside: NDArray[np.float32]
    has_sign: NDArray[np.bool_]


@lru_cache(maxsize=64)
def waves_of(size: int, harmonics: tuple[float, ...]) -> Floats:
    """Cosine and sine of harmonics in even cells, of length one each, shape (size, waves)."""
    angle = 2.0 * np.pi * (np.arange(size) + 0.5) / size
    waves = np.stack([f(each * angle) for each in harmonics for f in (np.cos, np.sin)] or [np.zeros(size)], axis=1)
    length = np.sqrt((waves**2).sum(axis=0))
    return np.asarray(waves[:, length > 1e-6] / length[length > 1e-6], dtype=np.float64)


@lru_cache(maxsize=64)
def shapes_on_waves(size: int, kinds: tuple[Kind, ...], changes_sign: bool, lost: tuple[float, ...]) -> Shapes:
    """Every kind through every lag, on few waves."""
    vectors, values, along, many, aside, has_sign = [], [], [], [], [], []
    for kind in kinds:
        for shape in shapes_of(size, kind, changes_sign, lost):
            value, vector = np.linalg.eigh(shape.matrix)
            vector, value = vector[:, value > LEAST_VALUE], value[value > LEAST_VALUE]
            vectors.append(vector)
            values.append(value)
            along.append(vector.T @ shape.mean)
            many.append(value.size)
            aside.append(shape.mean - vector @ along[-1])
            has_sign.append(kind.has_sign)
    return Shapes(
        np.concatenate(vectors, axis=1).astype(np.float32),
        np.concatenate(values),
        np.concatenate(along),
        np.cumsum([0, *many[:-1]]),
        np.array(many, dtype=np.float64),
        np.stack(aside, axis=1).astype(np.float32),
        np.array(has_sign),
    )


@lru_cache(maxsize=256)
def shapes_of(size: int, kind: Kind, changes_sign: bool, lost: tuple[float, ...]) -> tuple[Shape, ...]:
    """One for each lag, of probes alone and behind a sample line; some waves left out.

    Parameters
    ----------
    size : int
        Cells of a half-cycle.
    kind : Kind
    changes_sign : bool
        Whether the next half-cycle is the negative of this one.
    lost : tuple of float
        Harmonics of a half-cycle that are left out.
    """
    gone = waves_of(size, lost)
    usual, leaving = _leaving(size, kind)
    waves = 2.0 * np.arange(1, WAVES + 1) - (1.0 if changes_sign else 0.0)
    apart = np.subtract.outer(np.arange(size), np.arange(size)) * (np.pi / size)
    anywhere = sum(np.cos(wave * apart) / wave**2 for wave in waves) / float((1.0 / waves**2).sum())
    found = []
    for behind_a_line in (False, True):
        for lag in kind.lags:
            seen = _lagged(_lagged(leaving, lag, behind_a_line, changes_sign).T, lag, behind_a_line, changes_sign)
            seen = seen + kind.anywhere * float(np.trace(seen)) / size * anywhere
            seen = seen - gone @ (gone.T @ seen)
            seen = seen - (seen @ gone) @ gone.T
            mean = _lagged(usual[:, None], lag, behind_a_line, changes_sign)[:, 0]
            mean = mean - gone @ (gone.T @ mean)
            scale = size / (float(np.trace(seen)) + float(mean @ mean))
            found.append(Shape(mean * np.sqrt(scale), seen * scale))
    return tuple(found)


def _leaving(size: int, kind: Kind) -> tuple[Floats, Floats]:
    """Mean and covariance of the leaving air over a half-cycle, before any lag.

    The free curve is a Matern process of order 3/2 in the logarithm of the time since the switchover.
    """
    since = (np.arange(size) + 0.5) / size
    slower = np.log1p(since / SHARPEST)
    apart = np.sqrt(3.0) * np.abs(np.subtract.outer(slower, slower))
    matrix = kind.free * (1.0 + apart) * np.exp(-apart)
    mean = np.zeros(size)
    terms = [(np.exp(-since / constant), kind.spike, kind.spread[0]) for constant in DECAYS]
    terms += [(np.exp((since - 1.0) / constant), kind.tail, kind.spread[1]) for constant in TAILS]
    for curve, usual, spread in [*terms, (since - 0.5, kind.rise, kind.spread[2])]:
        mean += usual * curve
        matrix += spread**2 * np.outer(curve, curve)
    return mean, np.asarray(matrix, dtype=np.float64)


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
