"""A straight line through values in time's order, some of them wrong, and how sure it is where neighbours are alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.log.record import Floats

LEAST_CORRELATED, LONG_RUN, LEAST_LONG_RUN, MOST_KEPT = 8, 8.0, 0.4, 0.95
"""Residuals from which their correlation is told, share of them over which it is summed, the least sum, and the most
that one keeps of the one before."""


@dataclass(frozen=True)
class RobustLine:
    """Coefficients with their standard errors, residuals, their robust spread, last weights and degrees of freedom."""

    values: Floats
    errors: Floats
    left: Floats
    spread: float
    weight: Floats
    freedom: float


def robust_line(design: Floats, y: Floats, base: Floats, held: Floats | None = None) -> RobustLine:
    """Weighted fit by Tukey's biweight whose errors are widened for what neighbours have in common.

    Parameters
    ----------
    design : ndarray, shape (n, m)
    y, base : ndarray, shape (n,)
        Values in time's order and their weights.
    held : ndarray, shape (m,), optional
        Inverse variance about zero within which each coefficient is known beforehand.
    """
    held = np.zeros(design.shape[1]) if held is None else held
    spread = 1.4826 * float(np.median(np.abs(y - np.median(y)))) + 1e-9
    weight = base
    for _ in range(6):
        inverse = np.linalg.pinv(design.T @ (design * weight[:, None]) + np.diag(held * spread**2), hermitian=True)
        found = inverse @ (design.T @ (weight * y))
        left = y - design @ found
        spread = 1.4826 * float(np.median(np.abs(left))) + 1e-9
        trust = np.clip(1.0 - (left / (6.0 * spread)) ** 2, 0.0, None) ** 2
        weight = np.maximum(base * trust, 1e-9 * base.max())
    used = trust > 0.01
    widened, independent = long_run(left[used])
    freedom = max(1.0, min(independent, float(used.sum()) / max(widened, 1.0) - float(np.linalg.matrix_rank(design))))
    variance = robust_variance(left, spread, base, design.shape[1]) * widened
    plain = np.linalg.pinv(design.T @ (design * base[:, None]) + np.diag(held * spread**2), hermitian=True)
    errors = np.sqrt(np.maximum(np.diag(plain), 0.0) * variance)
    return RobustLine(found, errors, left, spread, weight, freedom)


def robust_variance(left: Floats, spread: float, base: Floats, columns: int) -> float:
    """Variance of unit weight that goes with the unweighted normal equations of a fit by Tukey's biweight.

    Weighing down large residuals makes them look small: the asymptotic variance of an M-estimator is the mean square of
    the influence over the square of its mean slope (P. J. Huber, Robust Statistics, 1981, eq. 7.6.5, from memory).

    Parameters
    ----------
    left : ndarray
        Residuals.
    spread : float
        Their robust standard deviation; the biweight ends at six of it.
    base : ndarray
        Weights before the biweight.
    columns : int
        Coefficients fitted.
    """
    u = np.minimum((left / (6.0 * spread)) ** 2, 1.0)
    slope = float(np.mean((1.0 - u) * (1.0 - 5.0 * u)))
    freedom = max(1.0, float((u < 0.9).sum()) - columns)
    return float((base * (left * (1.0 - u) ** 2) ** 2).sum()) / freedom / max(slope, 0.1) ** 2


def long_run(left: Floats) -> tuple[float, float]:
    """Variance of a slow mean of residuals against that of as many unrelated ones, and how many it is known from.

    What each residual keeps of the one before is taken off, the autocovariances of the rest are summed under Bartlett's
    window, and what was taken off is put back (D. W. K. Andrews, J. C. Monahan, Econometrica 60, 1992, 953;
    W. K. Newey, K. D. West, Econometrica 55, 1987, 703; from memory): wander adds, while what swings to and fro, as
    where the logger catches a cycle does, takes off.
    """
    n = left.size
    if n < LEAST_CORRELATED:
        return 1.0, float(n)
    kept = float(np.clip(_likeness(left, 1), -MOST_KEPT, MOST_KEPT))
    fresh = left[1:] - kept * left[:-1]
    reach = max(1, round(n / LONG_RUN))
    lag = np.arange(1, reach + 1)
    like = np.array([_likeness(fresh, int(k)) for k in lag])
    summed = max(1.0 + 2.0 * float(((1.0 - lag / (reach + 1.0)) * like).sum()), LEAST_LONG_RUN)
    widened = summed * float((fresh**2).mean()) / ((1.0 - kept) ** 2 * float((left**2).mean()) + 1e-30)
    return max(widened, LEAST_LONG_RUN), 1.5 * n / reach


def _likeness(left: Floats, apart: int) -> float:
    """Autocorrelation, corrected for that residuals of a fit are less alike than what they stand for."""
    like = float((left[apart:] * left[:-apart]).sum()) / (float((left**2).sum()) + 1e-30)
    return like + (1.0 + 3.0 * like) / left.size


def autocorrelation(left: Floats) -> float:
    """Correlation of neighbours, corrected for the bias of short series, between 0 and 0.95."""
    if left.size < LEAST_CORRELATED:
        return 0.0
    return float(np.clip(_likeness(left, 1), 0.0, MOST_KEPT))
