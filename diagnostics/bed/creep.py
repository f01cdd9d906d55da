"""Where water that regeneration leaves behind ends up when it creeps from cycle to cycle.

Question: how much water does a heated bed hold once it repeats itself, if its heat barely suffices? Inputs: one cycle
as a function, the beds. Method: what moves slowly is a single figure a bed, its water; all else follows it within a
cycle or two. The wet zone is therefore moved bodily along the bed, two cycles are run, and the gain of the second is
brought to nought by false position, bed by bed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.bed.column import Array, BedState, enthalpy_of, temperature_of
from diagnostics.bed.isotherm import Desiccant
from diagnostics.bed.vessel import Dryer

_FIRST_LEAP = 8.0
_LONGEST_LEAP = 0.12
"""Longest move of the mean loading at once [kg/kg]."""


@dataclass(frozen=True)
class Gain:
    """Water a bed held when a cycle began and how much more when it ended, both as mean loading [kg/kg]."""

    held: float
    more: float


def further(beds: list[BedState], waters: list[float], dryer: Dryer) -> list[BedState]:
    """The beds with their wet zones moved along until they hold so much water.

    Parameters
    ----------
    beds : list of BedState
        Cells from the wet end on.
    waters : list of float
        Mean loading wanted of each [kg/kg].
    dryer : Dryer
    """
    return [
        _moved(bed, water, packing.desiccant) for bed, water, packing in zip(beds, waters, dryer.packings, strict=True)
    ]


def _moved(bed: BedState, water: float, desiccant: Desiccant) -> BedState:
    from scipy.optimize import brentq

    cells = np.arange(bed.loading.size, dtype=float)

    def shifted(values: Array, cells_on: float) -> Array:
        return np.interp(cells - cells_on, cells, values)

    def excess(cells_on: float) -> float:
        return float(shifted(bed.loading, cells_on).mean()) - water

    low, high = -0.9 * cells[-1], 0.9 * cells[-1]
    if excess(low) >= 0.0 or excess(high) <= 0.0:
        return bed.copy()
    on = float(brentq(excess, low, high, xtol=1e-6))
    kelvin = shifted(temperature_of(desiccant, bed.loading, bed.enthalpy), on)
    loading = shifted(bed.loading, on)
    return BedState(loading, enthalpy_of(desiccant, loading, kelvin), shifted(bed.wall_k, on))


class FalsePosition:
    """Next water of one bed, from the gains seen so far (Illinois rule, Dowell & Jarratt 1971, BIT 11, 168)."""

    def __init__(self) -> None:
        self.before: Gain | None = None
        self.low: Gain | None = None
        self.high: Gain | None = None

    def after(self, gain: Gain) -> float:
        """Water to try next [kg/kg]."""
        before, self.before = self.before, gain
        self._bracket(gain, before)
        if self.low is not None and self.high is not None:
            share = self.low.more / (self.low.more - self.high.more)
            return self.low.held + share * (self.high.held - self.low.held)
        step = _FIRST_LEAP * gain.more
        if before is not None and (gain.more - before.more) * (gain.held - before.held) < 0.0:
            step = 1.2 * gain.more * (gain.held - before.held) / (before.more - gain.more)
        size = min(max(abs(step), 2.0 * abs(gain.more)), _LONGEST_LEAP)
        return max(gain.held + float(np.sign(gain.more)) * size, 0.0)

    def _bracket(self, gain: Gain, before: Gain | None) -> None:
        """Narrow the bracket; an end that the slow rest of the profile has overtaken is given up."""
        if gain.more > 0.0:
            if self.high is not None and before is not None and before.more > 0.0:
                self.high = replace(self.high, more=0.5 * self.high.more)
            self.low = gain
            if self.high is not None and self.high.held <= gain.held:
                self.high = None
            return
        if self.low is not None and before is not None and before.more <= 0.0:
            self.low = replace(self.low, more=0.5 * self.low.more)
        self.high = gain
        if self.low is not None and self.low.held >= gain.held:
            self.low = None


def settle_creep(
    cycle: Callable[[list[BedState]], list[BedState]],
    change: Callable[[list[BedState], list[BedState]], float],
    dryer: Dryer,
    beds: list[BedState],
    tolerance: float,
    most: int,
) -> tuple[list[BedState], float, int]:
    """Move the wet zones until a cycle leaves the beds' water as it was.

    Parameters
    ----------
    cycle : callable
        Beds after a whole cycle.
    change : callable
        Of two states of the beds, in the units of `tolerance`.
    dryer : Dryer
    beds : list of BedState
    tolerance : float
    most : int
        Cycles at most.

    Returns
    -------
    beds : list of BedState
    residual : float
    cycles : int
        That were run.
    """
    hunts = [FalsePosition(), FalsePosition()]
    done, best = 0, (beds, np.inf)
    while done < most:
        for _ in range(2):
            before, beds = beds, cycle(beds)
            done += 1
            residual = change(beds, before)
            if residual < best[1]:
                best = beds, residual
            if residual <= tolerance:
                return beds, residual, done
        gains = [
            Gain(float(old.loading.mean()), float(new.loading.mean() - old.loading.mean()))
            for old, new in zip(before, beds, strict=True)
        ]
        beds = further(beds, [hunt.after(gain) for hunt, gain in zip(hunts, gains, strict=True)], dryer)
    return best[0], best[1], done
