"""From when on is a series of half-cycles different?

Question: does a series step to another level, when, and is a straight climb the better description? Input: one value
per half-cycle, optionally with covariates. Output: a `Step`. Method: least-squares change point with the covariates
taken out of both series and step (Frisch-Waugh-Lovell), the error widened for autocorrelation, the probability
corrected for the search over all instants; then walked back to the first departure from the level before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnostics.log.record import Floats

_MAD_TO_SIGMA = 1.4826


@dataclass(frozen=True, slots=True)
class Step:
    """A lasting change of level.

    Attributes
    ----------
    index : int
        First value that departs from the level before.
    size : float
        Level after less level before, covariates taken out; unit of the values.
    before, after : float
        Medians of the values as they are.
    noise : float
        Robust standard deviation around the level before.
    p_value : float
        Of a step this large without one, corrected for autocorrelation and for the search.
    line_explains : float
        Share of variance that a straight climb explains beyond the covariates.
    step_explains : float
        The same of the step.
    """

    index: int
    size: float
    before: float
    after: float
    noise: float
    p_value: float
    line_explains: float
    step_explains: float


def sigma(values: Floats) -> float:
    """Robust standard deviation from the median absolute deviation; 0 for fewer than two values."""
    if values.size < 2:
        return 0.0
    return float(_MAD_TO_SIGMA * np.median(np.abs(values - np.median(values))))


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
    """Find the one instant that best divides a series into two levels.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Finite, in time order.
    covariates : ndarray, shape (n, p), optional
        What may explain the values without any step.
    before, after : int
        Values needed on either side.

    Returns
    -------
    Step or None
        None where the series is too short or flat. Whether the step counts is for the caller to judge.
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
    after_basis = basis.sum(axis=0) - np.cumsum(basis, axis=0)[cuts - 1]
    after_residual = residual.sum() - np.cumsum(residual)[cuts - 1]
    norm = np.maximum((n - cuts) - np.sum(after_basis**2, axis=1), 1e-9)
    gain = after_residual**2 / norm
    best = int(np.argmax(gain))
    size = float(after_residual[best] / norm[best])
    cut = int(cuts[best])
    ramp = np.linspace(-1.0, 1.0, n)
    ramp = ramp - basis @ (basis.T @ ramp)
    line = float(ramp @ residual) ** 2 / max(float(ramp @ ramp), 1e-9)
    return Step(
        index=_first_departure(values, cut, size, before),
        size=size,
        before=float(np.median(values[:cut])),
        after=float(np.median(values[cut:])),
        noise=sigma(values[:cut]),
        p_value=_p_value(residual, basis, cut, size, float(norm[best]), cuts.size),
        line_explains=min(line / power, 1.0),
        step_explains=min(float(gain[best]) / power, 1.0),
    )


def _p_value(residual: Floats, basis: Floats, cut: int, size: float, norm: float, searched: int) -> float:
    """Two-sided t-test of the step, Bonferroni over the instants searched."""
    from scipy.special import stdtr

    n = residual.size
    shape = np.zeros(n)
    shape[cut:] = 1.0
    shape -= basis @ (basis.T @ shape)
    left = residual - size * shape
    freedom = n - basis.shape[1] - 2
    if freedom < 1:
        return 1.0
    error = math.sqrt(max(float(left @ left), 1e-18) / freedom / norm) * inflation(left)
    return float(min(1.0, 2 * stdtr(freedom, -abs(size) / error) * searched))


def _first_departure(values: Floats, cut: int, size: float, kept: int) -> int:
    """Walk back from the change point, which a gradual climb puts late, to the first value off the level before."""
    quiet = values[: max(cut - 1, kept)]
    level, noise = float(np.median(quiet)), sigma(quiet)
    allowed = max(4 * noise, 0.15 * abs(size))
    index = cut
    while index > kept and (values[index - 1] - level) * math.copysign(1.0, size) > allowed:
        index -= 1
    return index
