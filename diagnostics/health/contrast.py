"""How much do the two towers differ, load and drift set aside?

Question: by how many kelvin is one tower's peak or floor above the other's at equal load? Input: half-cycles in time
order. Output: a `Contrast`. Method: each half-cycle against the mean of its two neighbours, which belong to the other
tower (what drifts slowly cancels), regressed on the tower's sign and on the same contrast of the load; Huber weights;
standard error by batch means, for neighbouring contrasts are not independent.
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
    if middle.size < at_least + 2:
        return None
    columns = [np.where(is_b[middle], 1.0, -1.0), np.ones(middle.size)]
    if covariates is not None:
        columns += [c for c in _against_neighbours(covariates, middle).T if c.std() > 1e-9 * (1 + abs(c.mean()))]
    design = np.column_stack(columns)
    if middle.size < at_least + design.shape[1]:
        return None
    response = _against_neighbours(values[:, None], middle)[:, 0]
    beta = _robust_fit(design, response)
    left = (response - design[:, 1:] @ beta[1:]) * design[:, 0]
    spread = 4 * max(sigma(left), 1e-9)
    error, freedom = _error_of_batches(np.clip(left, np.median(left) - spread, np.median(left) + spread))
    error *= math.sqrt(middle.size / max(middle.size - design.shape[1], 1)) * _student_factor(freedom)
    half = middle.size // 2
    parts = [float(np.median(part)) for part in (left[:half], left[half:])]
    return Contrast(
        difference=float(beta[0]),
        error=error,
        p_value=math.erfc(abs(float(beta[0])) / max(error, 1e-9) / math.sqrt(2)),
        first_part=parts[0],
        last_part=parts[1],
        contrasts=int(middle.size),
        load_adjusted=covariates is not None,
    )


def _against_neighbours(values: Floats, middle: np.ndarray) -> Floats:
    return values[middle] - 0.5 * (values[middle - 1] + values[middle + 1])


def _robust_fit(design: Floats, response: Floats) -> Floats:
    """Coefficients of a Huber regression."""
    weights = np.ones(response.size)
    beta: Floats = np.zeros(design.shape[1])
    left: Floats = response
    for _ in range(8):
        root = np.sqrt(weights)
        beta[:] = np.linalg.lstsq(design * root[:, None], response * root, rcond=None)[0]
        left = response - design @ beta
        scale = max(sigma(left), 1e-9)
        weights = np.minimum(1.0, _HUBER_K * scale / np.maximum(np.abs(left), 1e-12))
    return beta


def _error_of_batches(values: Floats) -> tuple[float, int]:
    """Standard error of the level of an autocorrelated series by batch means, and its degrees of freedom.

    Source: non-overlapping batch means, e.g. Law and Kelton, Simulation Modeling and Analysis (from memory). Batches of
    six or more contrasts are taken as independent; neighbouring contrasts share half-cycles.
    """
    batches = int(np.clip(values.size // 6, 3, 20))
    means = np.array([part.mean() for part in np.array_split(values, batches)])
    return float(means.std(ddof=1)) / math.sqrt(batches), batches - 1


def _student_factor(freedom: int) -> float:
    """Widens a standard error from few batches so that twice it is a 95 % interval."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.975)) / 1.96
