"""A number with its 95 % interval: the only form in which an estimate leaves the engine."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with a 95 % interval.

    Parameters
    ----------
    value, low, high : float
        Same unit, given by the name of the field that holds the estimate; ``low <= value <= high``.

    Raises
    ------
    ValueError
        If a bound is not finite or the three are out of order.
    """

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not all(map(math.isfinite, (self.value, self.low, self.high))):
            raise ValueError(f"an estimate needs finite numbers, got {self.value}, {self.low}, {self.high}")
        if not self.low <= self.value <= self.high:
            raise ValueError(f"an estimate needs low <= value <= high, got {self.low}, {self.value}, {self.high}")

    @classmethod
    def ordered(cls, value: float, one: float, other: float) -> Estimate:
        """Estimate from two bounds in any order, widened to hold the value."""
        return cls(float(value), float(min(one, other, value)), float(max(one, other, value)))

    @classmethod
    def exact(cls, value: float) -> Estimate:
        """Estimate that is known, as a number the user entered is."""
        return cls(float(value), float(value), float(value))

    def map(self, monotone: Callable[[float], float]) -> Estimate:
        """Estimate of a monotone function of this one."""
        return Estimate.ordered(monotone(self.value), monotone(self.low), monotone(self.high))

    def scaled(self, factor: float) -> Estimate:
        """Estimate times a known factor."""
        return self.map(lambda x: x * factor)
