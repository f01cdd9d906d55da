"""How much do the two towers differ, load and drift set aside?

Question: by how many kelvin is one tower's peak or floor above the other's at equal load? Input: half-cycles in time
order. Output: a `Contrast`. Method: each half-cycle against the mean of its two neighbours, which belong to the other
tower (what drifts slowly cancels), regressed on the tower's sign and on the same contrast of the load; Huber weights;
standard error by Newey and West with the weights' scores.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnostics.health.steps import sigma
from diagnostics.log.record import Flags, Floats

_HUBER_K = 1.345
"""Tuning constant for 95 % efficiency at the normal (Huber 1964, from memory)."""


@dataclass(frozen=True, slots=True)
class Contrast:
    """Tower B less tower A.

    Attributes
    ----------
    difference : float
        Unit of the values.
    error : float
        Its standard error.
    p_value : float
        Two-sided, of no difference.
    first_part, last_part : float
        The difference in the first and the last half of the log.
    contrasts : int
        Half-cycles that could be held against both neighbours.
    load_adjusted : bool
    """

    difference: float
    error: float
    p_value: float
    first_part: float
    last_part: float
    contrasts: int
    load_adjusted: bool

    def probability_beyond(self, threshold: float) -> float:
        """Probability that the size of the difference exceeds a threshold in the same unit."""
        return 0.5 * math.erfc((threshold - abs(self.difference)) / max(self.error, 1e-9) / math.sqrt(2))


def contrast_towers(
    values: Floats, is_b: Flags, follows: Flags, covariates: Floats | None = None, *, at_least: int = 6
) -> Contrast | None:
    """Estimate how far tower B lies above tower A.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One per half-cycle, in time order.
    is_b : ndarray of bool, shape (n,)
    follows : ndarray of bool, shape (n,)
        Whether the half-cycle begins where the one before ends, with the other tower.
    covariates : ndarray, shape (n, p), optional
        Load and the like.
    at_least : int
        Contrasts needed beyond the number of coefficients.

    Returns
    -------
    Contrast or None
        None where too few half-cycles stand between two neighbours.
    """
    middle = np.flatnonzero(follows[1:-1] & follows[2:]) + 1
    middle = middle[np.isfinite(values[middle - 1] + values[middle] + values[middle + 1])]
    if covariates is not None:
        known = np.isfinite(covariates.sum(axis=1))
        middle = middle[known[middle - 1] & known[middle] & known[middle + 1]]
    columns = [np.where(is_b[middle], 1.0, -1.0), np.ones(middle.size)]
    if covariates is not None:
        columns += [c for c in _against_neighbours(covariates, middle).T if c.std() > 1e-9 * (1 + abs(c.mean()))]
    design = np.column_stack(columns)
    if middle.size < at_least + design.shape[1]:
        return None
    response = _against_neighbours(values[:, None], middle)[:, 0]
    beta, error = _robust_fit(design, response)
    freedom = max(middle.size // 2 - design.shape[1], 1)
    left = response - design[:, 1:] @ beta[1:]
    half = middle.size // 2
    parts = [float(np.median(part)) for part in (left[:half] * design[:half, 0], left[half:] * design[half:, 0])]
    return Contrast(
        difference=float(beta[0]),
        error=error,
        p_value=_two_sided(beta[0] / max(error, 1e-9), freedom),
        first_part=parts[0],
        last_part=parts[1],
        contrasts=int(middle.size),
        load_adjusted=covariates is not None,
    )


def _against_neighbours(values: Floats, middle: np.ndarray) -> Floats:
    return values[middle] - 0.5 * (values[middle - 1] + values[middle + 1])


def _robust_fit(design: Floats, response: Floats) -> tuple[Floats, float]:
    """Huber regression; coefficients and the Newey-West standard error of the first."""
    weights = np.ones(response.size)
    beta: Floats = np.zeros(design.shape[1])
    left: Floats = response
    for _ in range(8):
        root = np.sqrt(weights)
        beta[:] = np.linalg.lstsq(design * root[:, None], response * root, rcond=None)[0]
        left = response - design @ beta
        scale = max(sigma(left), 1e-9)
        weights = np.minimum(1.0, _HUBER_K * scale / np.maximum(np.abs(left), 1e-12))
    scores = design * (weights * left)[:, None]
    meat = scores.T @ scores
    lags = max(3, round(4 * (response.size / 100) ** (2 / 9)))
    for lag in range(1, min(lags, response.size - 1) + 1):
        cross = scores[lag:].T @ scores[:-lag]
        meat += (1 - lag / (lags + 1)) * (cross + cross.T)
    bread = np.linalg.pinv((design * weights[:, None]).T @ design)
    freedom = response.size / max(response.size - design.shape[1], 1)
    return beta, math.sqrt(max(float((bread @ meat @ bread)[0, 0]) * freedom, 0.0))


def _two_sided(t: float, freedom: int) -> float:
    from scipy.special import stdtr

    return float(min(1.0, 2 * stdtr(freedom, -abs(t))))
