"""How well a break in a curve of exponentials explains a folded cycle, for many places of the break at once.

The bed that took over answers with decaying exponentials, the bed that is about to leave with growing ones. A break
that moves only multiplies them by constants, so the normal equations of every place follow from sums taken once over
the folded cycle, from its start up to the break and from the break on.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.record import Floats

RIDGE = 1e-6
"""Added to the normal equations, whose columns have length one: neighbouring time constants are nearly alike."""


class Answer:
    """Family of exponentials from one break of a folded cycle to the next.

    Parameters
    ----------
    phase_s, value, weight : ndarray, shape (m,)
        Folded cycle, ascending by phase [s].
    period_s, interval_s : float
        Folded period and usual step between readings [s].
    towers : int
        Breaks a period, evenly apart, each followed by its own shape.
    terms : tuple of int
        Falling and rising exponentials of the family.
    """

    def __init__(
        self,
        phase_s: Floats,
        value: Floats,
        weight: Floats,
        period_s: float,
        interval_s: float,
        towers: int,
        terms: tuple[int, int],
    ) -> None:
        self.part_s = period_s / towers
        falling, rising = _time_constants(self.part_s, interval_s, terms)
        self.rate = np.concatenate([[0.0], -1.0 / falling, 1.0 / rising])
        begins = np.concatenate([np.zeros(1 + falling.size), -self.part_s / rising])
        self.left, self.right = _pairs(self.rate.size)
        rates = (self.rate[self.left] + self.rate[self.right], self.rate, np.zeros(2))
        self.rates = np.concatenate(rates)
        block = np.minimum((phase_s / self.part_s).astype(np.int64), towers - 1)
        self.parts = [
            self._sums(phase_s[block == b] - b * self.part_s, value[block == b], weight[block == b], begins)
            for b in range(towers)
        ]

    def _sums(self, since_s: Floats, value: Floats, weight: Floats, begins: Floats) -> tuple[Floats, Floats, Floats]:
        """Phases of a part, and sums of all products up to each of them and from each of them on."""
        basis = np.exp(self.rate * since_s[:, None] + begins)
        heavy = basis * weight[:, None]
        heard = weight * value
        products = np.empty((since_s.size, self.rates.size))
        products[:, : self.left.size] = heavy[:, self.left] * basis[:, self.right]
        products[:, self.left.size : -2] = heard[:, None] * basis
        products[:, -2] = heard * value
        products[:, -1] = 1.0
        before = np.zeros((since_s.size + 1, self.rates.size))
        after = np.zeros_like(before)
        np.cumsum(products, axis=0, out=before[1:])
        np.cumsum(products[::-1], axis=0, out=after[-2::-1])
        return since_s, before, after

    def misfit(self, phases_s: Floats) -> Floats:
        """Weighted square misfit for each trial phase of the break; infinite where readings are too few.

        Parameters
        ----------
        phases_s : ndarray
            [s]
        """
        place = np.mod(phases_s, self.part_s)
        ahead, back = np.exp(-self.rates * place[:, None]), np.exp(self.rates * (self.part_s - place)[:, None])
        left = np.zeros(place.size)
        for number, (since, _, after) in enumerate(self.parts):
            following, before, _ = self.parts[(number + 1) % len(self.parts)]
            sums = after[np.searchsorted(since, place)] * ahead + before[np.searchsorted(following, place)] * back
            left += self._left(sums)
        return left

    def _left(self, sums: Floats) -> Floats:
        terms = self.rate.size
        normal: NDArray[np.float64] = np.empty((sums.shape[0], terms, terms))
        normal[:, self.left, self.right] = sums[:, : self.left.size]
        normal[:, self.right, self.left] = sums[:, : self.left.size]
        right, energy, count = sums[:, self.left.size : -2], sums[:, -2], sums[:, -1]
        scale = np.sqrt(np.diagonal(normal, axis1=1, axis2=2)) + 1e-12
        normal /= scale[:, :, None] * scale[:, None, :]
        normal += RIDGE * np.eye(terms)
        right = right / scale
        found = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
        return np.where(count > terms + 0.5, energy - (right * found).sum(axis=1), np.inf)


@lru_cache(maxsize=8)
def _pairs(terms: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    left, right = np.triu_indices(terms)
    return left, right


@lru_cache(maxsize=64)
def _time_constants(part_s: float, interval_s: float, terms: tuple[int, int]) -> tuple[Floats, Floats]:
    shortest = max(0.6 * interval_s, 0.004 * part_s)
    falling = np.geomspace(shortest, max(0.7 * part_s, 2.0 * shortest), terms[0])
    rising = np.geomspace(max(0.6 * interval_s, 0.06 * part_s), max(0.9 * part_s, 2.0 * interval_s), terms[1])
    return falling, rising
