"""Figures that carry their uncertainty along, so that a result's interval comes from every input's interval.

Question: how sure is a figure that was reckoned from unsure inputs? Input: estimates under a name. Output: values with
draws, and an `Estimate` at the end. Method: Monte Carlo after JCGM 101:2008 with stratified draws, seeded by the
input's name: the same input met in two places moves both in step, which keeps shared inputs correlated across rooms.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from diagnostics.estimate import Estimate

Floats = NDArray[np.float64]

DRAWS = 800
"""Draws per input; the 2.5th and 97.5th percentile of stratified draws are steady to about 2 % of the interval."""
_K_95 = 1.959964


@dataclass(frozen=True, slots=True, eq=False)
class Uncertain:
    """A central value and draws of what it might be.

    Parameters
    ----------
    value : float
        Reckoned from the central inputs, so that a person can follow it by hand.
    draws : ndarray, shape (DRAWS,)
    """

    value: float
    draws: Floats

    def __add__(self, other: Uncertain | float) -> Uncertain:
        return self.with_(other, np.add)

    def __sub__(self, other: Uncertain | float) -> Uncertain:
        return self.with_(other, np.subtract)

    def __mul__(self, other: Uncertain | float) -> Uncertain:
        return self.with_(other, np.multiply)

    def __truediv__(self, other: Uncertain | float) -> Uncertain:
        return self.with_(other, np.divide)

    __radd__ = __add__
    __rmul__ = __mul__

    def with_(self, other: Uncertain | float, operation: Callable[..., Floats]) -> Uncertain:
        """Combine with another figure, draw by draw."""
        right = other if isinstance(other, Uncertain) else known(other)
        return Uncertain(float(operation(self.value, right.value)), operation(self.draws, right.draws))

    def map(self, function: Callable[..., Floats]) -> Uncertain:
        """Apply a vectorised function."""
        return Uncertain(float(function(np.array([self.value]))[0]), function(self.draws))

    def estimate(self) -> Estimate:
        """Value with the 2.5th and 97.5th percentile of the draws."""
        low, high = np.quantile(self.draws, (0.025, 0.975)).tolist()
        return Estimate.ordered(self.value, low, high)


def known(value: float) -> Uncertain:
    """A figure without uncertainty."""
    return Uncertain(float(value), np.full(DRAWS, float(value)))


def uncertain(name: str, estimate: Estimate) -> Uncertain:
    """Draws of a named input whose 95 % interval is the estimate's.

    Parameters
    ----------
    name : str
        Inputs of the same name are the same quantity: their draws move in step.
    estimate : Estimate
        Each half of the interval keeps its own width; positive inputs are drawn on a log scale and stay positive.

    Returns
    -------
    Uncertain
    """
    z = _normal_draws(name)
    value, low, high = estimate.value, estimate.low, estimate.high
    if low == high:
        return known(value)
    if low > 0:
        below, above = np.log(value / low) / _K_95, np.log(high / value) / _K_95
        return Uncertain(value, value * np.exp(np.where(z < 0, below, above) * z))
    below, above = (value - low) / _K_95, (high - value) / _K_95
    draws = value + np.where(z < 0, below, above) * z
    return Uncertain(value, np.maximum(draws, 0.0) if low >= 0 else draws)


def relative(name: str, value: float, share_95: float) -> Uncertain:
    """A named input known to within a share of itself (95 %)."""
    return uncertain(name, Estimate(value, value / (1 + share_95), value * (1 + share_95)))


def anywhere(name: str) -> Uncertain:
    """A named weight that may lie anywhere from nought to one; one half as its central value."""
    from scipy.special import ndtr

    return Uncertain(0.5, ndtr(_normal_draws(name)))


@lru_cache(maxsize=256)
def _normal_draws(name: str) -> Floats:
    from scipy.special import ndtri

    rng = np.random.default_rng(zlib.crc32(name.encode()))
    return ndtri((rng.permutation(DRAWS) + 0.5) / DRAWS)
