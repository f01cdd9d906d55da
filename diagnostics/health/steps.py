"""From when on is a series of half-cycles different?

Question: does a series step to another level or begin to climb, when, and is one straight climb over the whole series
the better description? Input: one value per half-cycle, optionally with covariates. Output: a `Step`. Method:
least-squares search over all instants for a step and for a hinge, the covariates taken out of series and shape
(Frisch-Waugh-Lovell), the error widened for autocorrelation, the probability corrected for the search.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.record import Floats

_MAD_TO_SIGMA = 1.4826


@dataclass(frozen=True, slots=True)
class Step:
    """A lasting change from some value on.

    Attributes
    ----------
    index : int
        First value that departs from the level before.
    size : float
        Change by the end of the series for a climb, at once for a step, covariates taken out; unit of the values.
    climbs : bool
        Whether a climb from ``index`` on describes the series better than a step.
    before, after : float
        Medians of the values as they are before ``index`` and in the last half after it.
    noise : float
        Robust standard deviation around the level before.
    p_value : float
        Of a change this large without one, corrected for autocorrelation and for the search.
    explains : float
        Share of variance that the change explains beyond the covariates.
    line_explains : float
        The same of one straight climb over the whole series.
    """

    index: int
    size: float
    climbs: bool
    before: float
    after: float
    noise: float
    p_value: float
    explains: float
    line_explains: float


def sigma(values: Floats) -> float:
    """Robust standard deviation from the median absolute deviation; 0 for fewer than two values."""
    if values.size < 2:
        return 0.0
    return _MAD_TO_SIGMA * float(np.median(np.abs(values - np.median(values))))


def inflation(residual: Floats) -> float:
    """Factor on a standard error of a mean for first-order autocorrelation: sqrt((1 + r) / (1 - r)), r from 0 to 0.95.

    Source: n_eff = n (1 - r) / (1 + r), e.g. Wilks, Statistical Methods in the Atmospheric Sciences (from memory).
    """
    if residual.size < 4:
        return 1.0
    centred = residual - residual.mean()
    power = float(centred @ centred)
    if power <= 0:
        return 1.0
    r = min(max(float(centred[1:] @ centred[:-1]) / power, 0.0), 0.95)
    return math.sqrt((1 + r) / (1 - r))


def find_step(values: Floats, covariates: Floats | None = None, *, before: int = 3, after: int = 2) -> Step | None:
    """Find the one instant from which on a series is best described by another level or by a climb.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Finite, in time order.
    covariates : ndarray, shape (n, p), optional
        What may explain the values without any change.
    before, after : int
        Values needed on either side.

    Returns
    -------
    Step or None
        None where the series is too short or flat. Whether the change counts is for the caller to judge.
    """
    n = values.size
    if n < before + after + 1:
        return None
    design = np.ones((n, 1)) if covariates is None else np.column_stack([np.ones(n), covariates])
    basis, _ = np.linalg.qr(design)
    residual = values - basis @ (basis.T @ values)
    power = float(residual @ residual)
    if power <= 1e-12 * max(1.0, float(values @ values)):
        return None
    cuts = np.arange(before, n - after + 1)
    cut, gain = _best_level(residual, basis, cuts)
    bend, bend_gain = _best_climb(residual, basis, cuts)
    line = _gain(np.linspace(-1.0, 1.0, n), residual, basis)
    climbs = bend_gain > gain
    shape = np.maximum(0.0, np.arange(n) - bend + 1.0) / (n - bend) if climbs else (np.arange(n) >= cut).astype(float)
    size, p_value = _test(residual, basis, shape, cuts.size)
    index = bend if climbs else _first_departure(values, cut, size, before)
    return Step(
        index=index,
        size=size,
        climbs=climbs,
        before=float(np.median(values[:index])),
        after=float(np.median(values[index + (n - index) // 2 :])),
        noise=sigma(values[:index]),
        p_value=p_value,
        explains=min(max(gain, bend_gain) / power, 1.0),
        line_explains=min(line / power, 1.0),
    )


def _best_level(residual: Floats, basis: Floats, cuts: NDArray[np.int64]) -> tuple[int, float]:
    """Cut whose step takes most out of the residual sum of squares, and how much."""
    n = residual.size
    after_basis = basis.sum(axis=0) - np.cumsum(basis, axis=0)[cuts - 1]
    after_residual = residual.sum() - np.cumsum(residual)[cuts - 1]
    gain = after_residual**2 / np.maximum((n - cuts) - np.sum(after_basis**2, axis=1), 1e-9)
    best = int(np.argmax(gain))
    return int(cuts[best]), float(gain[best])


def _best_climb(residual: Floats, basis: Floats, cuts: NDArray[np.int64]) -> tuple[int, float]:
    """The same for a climb max(0, i - cut + 1); its products with any series are double sums from the end."""

    def product(series: Floats) -> Floats:
        return np.cumsum(np.cumsum(series[::-1], axis=0), axis=0)[::-1][cuts]

    left = (residual.size - cuts).astype(float)
    power = left * (left + 1) * (2 * left + 1) / 6
    gain = product(residual) ** 2 / np.maximum(power - np.sum(product(basis) ** 2, axis=1), 1e-9 * power)
    best = int(np.argmax(gain))
    return int(cuts[best]), float(gain[best])


def _gain(shape: Floats, residual: Floats, basis: Floats) -> float:
    """Sum of squares that a shape takes out of the residual."""
    shape = shape - basis @ (basis.T @ shape)
    return float(shape @ residual) ** 2 / max(float(shape @ shape), 1e-9)


def _test(residual: Floats, basis: Floats, shape: Floats, searched: int) -> tuple[float, float]:
    """Size of the shape and its two-sided t-test, Bonferroni over the instants searched."""
    from scipy.special import stdtr

    shape = shape - basis @ (basis.T @ shape)
    norm = max(float(shape @ shape), 1e-9)
    size = float(shape @ residual) / norm
    left = residual - size * shape
    freedom = residual.size - basis.shape[1] - 2
    if freedom < 1:
        return size, 1.0
    error = math.sqrt(max(float(left @ left), 1e-18) / freedom / norm) * inflation(left)
    return size, float(min(1.0, 2 * stdtr(freedom, -abs(size) / error) * searched))


def _first_departure(values: Floats, cut: int, size: float, kept: int) -> int:
    """Walk back from the change point, which a gradual climb puts late, to the first value off the level before."""
    quiet = values[: max(cut - 1, kept)]
    level, noise = float(np.median(quiet)), sigma(quiet)
    allowed = max(4 * noise, 0.15 * abs(size))
    index = cut
    while index > kept and (values[index - 1] - level) * math.copysign(1.0, size) > allowed:
        index -= 1
    return index
