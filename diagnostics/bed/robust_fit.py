"""Robust least squares with a prior, for the few numbers that the bed's room fits to a log.

Question: which values bring a model closest to the readings, outliers held down? Input: a model with its derivatives,
readings, a prior. Output: a `Fitted`. Method: Levenberg and Marquardt (MINPACK through scipy) on the square roots of
the soft-l1 loss, ``rho(z) = 2 (sqrt(1 + z) - 1)``, which has the same minimum as that loss; prior terms stay squares.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from diagnostics.log.record import Floats

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

Model = Callable[[Floats], tuple[Floats, Floats]]
"""Values, shape (p,), to predictions, shape (n,), and their derivatives, shape (n, p)."""
_TRIAL_CALLS = 12
"""Calls of the model from each start, before only the best goes on."""


@dataclass(frozen=True, eq=False)
class Fitted:
    """Values at the minimum with what the model says there.

    Attributes
    ----------
    values : ndarray, shape (p,)
    cost : float
        Half the sum of losses and prior terms [-].
    miss : ndarray, shape (n,)
        Prediction less reading.
    jacobian : ndarray, shape (n, p)
    """

    values: Floats
    cost: float
    miss: Floats
    jacobian: Floats


def fit(
    model: Model,
    observed: Floats,
    sigma: float,
    centre: Floats,
    width: Floats,
    starts: Sequence[Floats],
    bounds: tuple[Floats, Floats],
    *,
    most_calls: int = 60,
) -> Fitted:
    """Fit from several starts; the one that comes furthest in a few steps goes on.

    Parameters
    ----------
    model : callable
    observed : ndarray, shape (n,)
    sigma : float
        Scatter of a reading beyond which it counts less.
    centre, width : ndarray, shape (p,)
        Mean and standard deviation of the prior; an infinite width is no prior.
    starts : sequence of ndarray, shape (p,)
    bounds : pair of ndarray, shape (p,)
        Outside them the model is taken at the bound, and the prior alone pulls back.
    most_calls : int
        Of the model, from the best start.

    Returns
    -------
    Fitted
    """
    from scipy.optimize import least_squares

    low, high = bounds
    precision = 1.0 / width
    pull = np.diag(precision)
    seen: dict[str, Floats] = {}

    def at(values: Floats) -> None:
        if "values" not in seen or not np.array_equal(seen["values"], values):
            predicted, jacobian = model(np.clip(values, low, high))
            ratio = (predicted - observed) / sigma
            root = np.sqrt(1.0 + ratio**2)
            # sign(z) sqrt(2 (root - 1)) without cancellation at small z, and its derivative by z.
            lean = np.sqrt(2.0 / (root + 1.0))
            inside = (values > low) & (values < high)
            seen["values"] = values.copy()
            seen["terms"] = np.concatenate([ratio * lean, (values - centre) * precision])
            slopes = jacobian * inside / (sigma * root * lean)[:, None]
            seen["slopes"] = np.concatenate([slopes, pull])

    def terms(values: Floats) -> Floats:
        at(values)
        return seen["terms"]

    def slopes(values: Floats) -> Floats:
        at(values)
        return seen["slopes"]

    def run(start: Floats, calls: int) -> OptimizeResult:
        return least_squares(terms, start, jac=slopes, method="lm", x_scale="jac", max_nfev=calls, xtol=1e-6, ftol=1e-6)

    trials = [run(np.clip(start, low, high), _TRIAL_CALLS) for start in starts]
    best = run(min(trials, key=lambda trial: trial.cost).x, most_calls)
    values = np.clip(best.x, low, high)
    predicted, jacobian = model(values)
    return Fitted(values, float(best.cost), predicted - observed, jacobian)
