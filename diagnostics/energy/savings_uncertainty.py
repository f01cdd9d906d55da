"""How well a saving is proven: fit of the baseline and fractional savings uncertainty.

Method: ASHRAE Guideline 14 (fractional savings uncertainty with the correction for autocorrelated residuals), daily
polynomial of Sun and Baltazar 2013 as published in the CalTRACK methods, section 4.3.2.4.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MODEL_FACTOR = 1.26
"""Factor for the error of a baseline model that is applied to other loads [-] (Guideline 14)."""


def cv_rmse(observed: Floats, modelled: Floats, parameters: int) -> float:
    """Coefficient of variation of the root mean square error.

    Parameters
    ----------
    observed, modelled : ndarray, shape (n,)
    parameters : int
        Of the model; the divisor is n less these.

    Returns
    -------
    float
        [-]
    """
    residual = observed - modelled
    return math.sqrt(float(residual @ residual) / (observed.size - parameters)) / abs(float(observed.mean()))


def nmbe(observed: Floats, modelled: Floats, parameters: int) -> float:
    """Normalised mean bias error, positive where the model is too low.

    Parameters
    ----------
    observed, modelled : ndarray, shape (n,)
    parameters : int
        Of the model; the divisor is n less these.

    Returns
    -------
    float
        [-]
    """
    return float(np.sum(observed - modelled)) / ((observed.size - parameters) * float(observed.mean()))


def effective_count(count: int, autocorrelation: float) -> float:
    """Independent readings that ``count`` autocorrelated ones are worth [-].

    Parameters
    ----------
    count : int
    autocorrelation : float
        Lag-one autocorrelation; below nought counts as nought.

    Returns
    -------
    float
        ``count (1 - rho) / (1 + rho)``
    """
    rho = min(max(autocorrelation, 0.0), 0.999)
    return count * (1.0 - rho) / (1.0 + rho)


def lag_one(residual: Floats) -> float:
    """Correlation of each residual with the next [-]; nought for fewer than three or all equal."""
    if residual.size < 3:
        return 0.0
    centred = residual - residual.mean()
    whole = float(centred @ centred)
    return 0.0 if whole <= 1e-12 * max(1.0, float(residual @ residual)) else float(centred[1:] @ centred[:-1]) / whole


def t_value(confidence: float, degrees: int) -> float:
    """Two-sided quantile of Student's t."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + confidence / 2.0))


def daily_factor(months: float) -> float:
    """Factor that takes the place of `MODEL_FACTOR` for daily models, by months of reporting (Sun and Baltazar)."""
    return -0.00024 * months**2 + 0.03535 * months + 1.00286


def fractional_uncertainty(
    t: float,
    cv: float,
    count: int,
    autocorrelation: float,
    reported: int,
    saved_share: float,
    *,
    factor: float = MODEL_FACTOR,
) -> float:
    """Uncertainty of a saving as a share of the saving.

    Parameters
    ----------
    t : float
        Student's t at the wanted confidence.
    cv : float
        CV(RMSE) of the baseline [-].
    count, reported : int
        Readings (days, blocks) of the baseline and of the reporting period.
    autocorrelation : float
        Lag-one autocorrelation of the baseline's residuals [-].
    saved_share : float
        Saving over baseline, above nought [-].
    factor : float
        Model factor [-].

    Returns
    -------
    float
        ``t factor cv sqrt(n/n' (1 + 2/n') / m) / F`` [-]
    """
    independent = effective_count(count, autocorrelation)
    spread = math.sqrt(count / independent * (1.0 + 2.0 / independent) / reported)
    return t * factor * cv * spread / saved_share
