"""How well do two instruments agree, as numbers?

Question: what are bias, limits of agreement and normalised error, and how sure are they? Input: differences in time
order. Output: figures with 95 % intervals. Method: Bland and Altman 1986, ISO 13528, the number of independent
differences instead of the number of readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats

_LEAST_INDEPENDENT = 4.0
_ROUNDS = 4
_MOST_LOST = 0.3
_BLOCKS = 100
_MEMORIES = tuple(0.005 * 50.0 ** (k / 11.0) for k in range(12))
"""Memories tried, as shares of the span: from shorter than a block to a quarter, beyond which a wandering and a drift
are one."""
_WHITE = (0.0, 0.1, 0.5)
"""Variance of a block that its neighbours do not share, over the rest."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Bias and limits of agreement (Bland and Altman 1986) [K], each with a 95 % interval."""

    bias: float
    standard_deviation: float
    lower: float
    upper: float
    independent: float


def normalised_error(difference: float, uncertainty_one: float, uncertainty_other: float) -> float:
    """E_n = (x - X) / sqrt(U_x^2 + U_X^2) with expanded uncertainties, k = 2.

    Source: ISO 13528 and ISO/IEC 17043 (from memory); \\|E_n\\| <= 1 agrees.

    Raises
    ------
    ValueError
        If both uncertainties are nought.
    """
    both = math.hypot(uncertainty_one, uncertainty_other)
    if both <= 0:
        raise ValueError("a normalised error needs an uncertainty above 0 K on at least one side, got 0 and 0")
    return difference / both


def limits_of_agreement(differences: Floats) -> Agreement:
    """Bias and limits, bias ± 1.96 s (Bland and Altman 1986), with the number of independent differences.

    Parameters
    ----------
    differences : ndarray, shape (n,)
        In time order [K]; two or more.
    """
    bias, spread = float(differences.mean()), float(differences.std(ddof=1))
    return Agreement(bias, spread, bias - 1.96 * spread, bias + 1.96 * spread, independent_number(differences))


def independent_number(values: Floats, fitted: int = 1) -> float:
    """Number of independent values that tell the mean as well as these autocorrelated ones.

    n / (1 + 2 sum of r_k), summed while pairs of neighbouring autocorrelations stay positive (Geyer 1992, from memory).
    A mean or line taken out of the series takes slow movement with it, so each r_k lies too low by about one part in
    the independent number for every coefficient; that is put back, to first order, as Bartlett's and Kendall's
    corrections do (from memory).

    Parameters
    ----------
    values : ndarray, shape (n,)
        In time order.
    fitted : int
        Coefficients that were taken out of them before, the mean counted.
    """
    n = values.size
    centred = values - values.mean()
    power = float(centred @ centred)
    if n < 4 or power <= 0:
        return float(n)
    from scipy.fft import irfft, next_fast_len, rfft

    size = next_fast_len(2 * n)
    spectrum = np.abs(rfft(centred, size)) ** 2
    sums = irfft(spectrum, size)[: n // 2] / power
    raw = sums * n / (n - np.arange(sums.size))
    number = float(n)
    for _ in range(_ROUNDS):
        lost = min(fitted / number, _MOST_LOST)
        correlation = lost + (1 - lost) * raw
        number = n / (1 + 2 * _sum_while_positive(correlation))
    return float(np.clip(number, 1.0, n))


def _sum_while_positive(correlation: Floats) -> float:
    pairs = correlation[1 : 1 + 2 * ((correlation.size - 1) // 2)].reshape(-1, 2).sum(axis=1)
    pairs = np.minimum.accumulate(pairs)
    ended = np.flatnonzero(pairs <= 0)
    return float(pairs[: ended[0] if ended.size else pairs.size].sum())


def intervals(
    agreement: Agreement, time: Floats | None = None, differences: Floats | None = None
) -> tuple[Estimate, Estimate, Estimate]:
    """Bias, lower and upper limit with 95 % intervals from the independent number.

    The standard error of a limit is sqrt(3 / n) s (Bland and Altman 1986). The independent number is itself told from
    one series, so Student's t has half its degrees of freedom (a guess that `tests.study_comparison` bears out). Where
    times and differences are given, a drift is taken out before the error of the mean is told: it has its own figure.
    """
    from scipy.special import stdtrit

    n, spread = max(agreement.independent, 2.0), agreement.standard_deviation
    if time is not None and differences is not None and differences.size > 4:
        left = _without_line(time, differences)
        n = max(independent_number(left, fitted=2), 3.0)
        spread = float(left.std()) * math.sqrt(n / (n - 2.0))
    student = float(stdtrit(max(0.5 * n - 1, 1.0), 0.975)) / math.sqrt(n)
    factor, wide = student * spread, math.sqrt(3.0) * student * max(spread, agreement.standard_deviation)
    bias = Estimate(agreement.bias, agreement.bias - factor, agreement.bias + factor)
    lower = Estimate(agreement.lower, agreement.lower - wide, agreement.lower + wide)
    return bias, lower, Estimate(agreement.upper, agreement.upper - wide, agreement.upper + wide)


def _without_line(x: Floats, values: Floats) -> Floats:
    centred = x - x.mean()
    power = float(centred @ centred)
    slope = float(centred @ values) / power if power > 0 else 0.0
    return np.asarray(values - values.mean() - slope * centred)


def slope_of(x: Floats, difference: Floats, *, least_span: float) -> Estimate | None:
    """Least-squares slope; its interval with the independent number of the residuals. None over too short a span."""
    if np.quantile(x, 0.95) - np.quantile(x, 0.05) < least_span:
        return None
    centred = x - x.mean()
    slope = float(centred @ difference / (centred @ centred))
    left = difference - difference.mean() - slope * centred
    n = independent_number(left, fitted=2)
    if n < _LEAST_INDEPENDENT:
        return None
    from scipy.special import stdtrit

    error = float(left.std()) * math.sqrt(n / (n - 2.0)) / float(centred.std()) / math.sqrt(n)
    half = float(stdtrit(max(0.5 * n - 1, 1.0), 0.975)) * error
    return Estimate(slope, slope - half, slope + half)


def drift_of(days: Floats, difference: Floats, *, least_span_d: float) -> Estimate | None:
    """Drift of a difference that wanders by itself [unit of the difference per day]; None over too short a span.

    Straight line with errors that fade exponentially plus white ones, fitted by restricted likelihood (Patterson and
    Thompson 1971, from memory). How long the memory is, a few days do not tell, so the interval is taken over all
    memories in proportion to how likely the differences make them, every order of magnitude alike beforehand: a single
    estimate of the independent number is as often twice too large.

    Parameters
    ----------
    days : ndarray, shape (n,)
        Ascending [d].
    difference : ndarray, shape (n,)
    least_span_d : float
    """
    if days.size < 5 or np.quantile(days, 0.95) - np.quantile(days, 0.05) < least_span_d:
        return None
    blocks = min(_BLOCKS, days.size // 2)
    time = np.array([part.mean() for part in np.array_split(days, blocks)])
    level = np.array([part.mean() for part in np.array_split(difference, blocks)])
    design = np.column_stack([np.ones(blocks), time - time.mean()])
    apart = np.abs(time[:, None] - time[None, :])
    fits = [
        _restricted_fit(design, level, np.exp(-apart / (share * float(days[-1] - days[0]))) + white * np.eye(blocks))
        for share in _MEMORIES
        for white in _WHITE
    ]
    slopes, variances, likelihoods = (np.array(column) for column in zip(*fits, strict=True))
    weights = np.exp(likelihoods - likelihoods.max())
    weights /= weights.sum()
    middle = float(weights @ slopes)
    half = _half_width(middle, slopes, np.sqrt(np.maximum(variances, 1e-24)), weights)
    return Estimate(middle, middle - half, middle + half)


def _restricted_fit(design: Floats, level: Floats, correlation: Floats) -> tuple[float, float, float]:
    """Slope, its variance and the logarithm of the restricted likelihood for one correlation of the errors."""
    from scipy.linalg import cholesky, solve_triangular

    root = cholesky(correlation + 1e-9 * np.eye(level.size), lower=True)
    x, y = solve_triangular(root, design, lower=True), solve_triangular(root, level, lower=True)
    normal = x.T @ x
    beta = np.linalg.solve(normal, x.T @ y)
    miss = y - x @ beta
    freedom = level.size - 2
    variance = max(float(miss @ miss) / freedom, 1e-24)
    determinants = 2.0 * float(np.log(np.diag(root)).sum()) + float(np.linalg.slogdet(normal)[1])
    return (
        float(beta[1]),
        variance * float(np.linalg.inv(normal)[1, 1]),
        -0.5 * (freedom * math.log(variance) + determinants),
    )


def _half_width(middle: float, slopes: Floats, errors: Floats, weights: Floats) -> float:
    """Half of the interval about the middle that holds 95 % of a mixture of normals."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    def outside(half: float) -> float:
        inside = ndtr((middle + half - slopes) / errors) - ndtr((middle - half - slopes) / errors)
        return float(weights @ inside) - 0.95

    return float(brentq(outside, 0.0, float(np.max(np.abs(slopes - middle) + 8.0 * errors))))
