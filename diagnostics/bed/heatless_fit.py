"""What a heatless tower's half-cycles tell of its bed: the level of its leaving air, and how slow it cannot be.

Question: which level, and which pace of the beads goes with it? Method: the level is the mean over half-cycles, with
neighbours counted as they go together. The twin's steady cycles at the log's mean load, for beads of several paces,
give the level of a tight dryer; what leaks past its bed can only add to that. So a log as dry as it is rules slow beads
out, and only where the level comes and goes with the load is the pace bounded from above. How much water the beds hold
does not show: a half-cycle moves less than 0.3 % of their mass, and the purge balance sets the level.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diagnostics.bed.bed_fit import SPIKE_SHARE, BedFit, ObservedHalfCycle, is_fixed, mean_load, past_the_spike
from diagnostics.bed.column import MASS_RATIO, Array
from diagnostics.bed.steady import steady_state
from diagnostics.bed.twin import Conditions, Outlet, Twin
from diagnostics.bed.vessel import Dryer
from diagnostics.estimate import Estimate

_CELLS, _STEPS = 40, 20
_PACES = tuple(2.0 ** (0.5 * k) for k in range(-5, 5))
_PURGE_UNSURE = 0.1
"""Half-width of the nameplate's purge, relative; common practice, no published source."""
_TOLERANCE, _MOST_CYCLES = 1e-3, 500
_BED_SHARE = 0.3
"""Least share of the level that comes and goes for the bed to show in it."""


@dataclass
class PaceCurve:
    """Level of a tight dryer's leaving air by the pace of its beads; reckoned when asked for.

    Attributes
    ----------
    dryer : Dryer
    conditions : Conditions
        Mean load.
    """

    dryer: Dryer
    conditions: Conditions
    known: dict[tuple[int, float], float] = field(default_factory=dict)

    def slowest(self, level: float, purge: float) -> float | None:
        """Slowest pace that still dries to a level (logarithm of moisture) with so much of the plate's purge.

        None where the slowest of the search does, and the fastest of the search where none does.
        """
        # The ends of the search cost as much as any other pace and are reckoned only where it leads there.
        low, high = -1, len(_PACES)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self._level(middle, purge) <= level else (middle, high)
        if low < 0:
            return None
        if high == len(_PACES):
            return _PACES[-1]
        wetter, drier = self._level(low, purge), self._level(high, purge)
        share = (wetter - level) / (wetter - drier)
        return float(_PACES[low] * (_PACES[high] / _PACES[low]) ** share)

    def _level(self, index: int, purge: float) -> float:
        key = index, purge
        if key not in self.known:
            self.known[key] = self._settled_level(_PACES[index], purge)
        return self.known[key]

    def _settled_level(self, pace: float, purge: float) -> float:
        packing = replace(self.dryer.packings[0], cells=_CELLS).with_faults(kinetics=pace)
        dryer = replace(
            self.dryer, packings=(packing, packing), purge_kg_s=purge * self.dryer.purge_kg_s, seat_leak_share=0.0
        )
        step_s = dryer.half_cycle_s / _STEPS
        settled = steady_state(dryer, self.conditions, step_s=step_s, tolerance=_TOLERANCE, most_cycles=_MOST_CYCLES)
        twin, outlet = Twin(dryer, [bed.copy() for bed in settled.beds], step_s=step_s), Outlet()
        twin.advance(self.conditions, dryer.half_cycle_s, outlet, 0.0)
        ends, ratio, _ = outlet.joined()
        late = np.maximum(ratio[ends > SPIKE_SHARE * dryer.half_cycle_s], 1e-12)
        return float(np.log(late / (late + MASS_RATIO)).mean())


def fit_heatless(
    half_cycles: Sequence[ObservedHalfCycle],
    dryer: Dryer,
    pressure_bar: float,
    least_spread: float,
    curve: PaceCurve | None = None,
) -> BedFit:
    """Level of one heatless tower, and the pace its beads must have.

    Parameters
    ----------
    half_cycles : sequence of ObservedHalfCycle
    dryer : Dryer
    pressure_bar : float
        Absolute line pressure the dew points refer to [bar].
    least_spread : float
        Standard error of the level that is assumed at least [e-folds].
    curve : PaceCurve, optional
        Of both towers; the tower's own mean load if not given.

    Raises
    ------
    ValueError
        With less than two half-cycles.
    """
    logarithms = [past_the_spike(half_cycle, pressure_bar)[1] for half_cycle in half_cycles]
    means = np.array([values.mean() for values in logarithms if values.size])
    if means.size < 2:
        raise ValueError(f"a heatless tower's level needs 2 half-cycles or more with readings, got {means.size}")
    curve = curve or PaceCurve(dryer, mean_load(half_cycles))
    level, sigma = _level_of(means, least_spread)
    floor = Estimate.ordered(*np.exp([level, level - 1.96 * sigma, level + 1.96 * sigma]).tolist())
    values = {"floor": floor}
    at_least = curve.slowest(level + 1.96 * sigma, 1.0 + _PURGE_UNSURE)
    from_bed = float(np.exp(means).mean() - np.exp(means).min()) / float(np.exp(means).mean())
    if from_bed >= _BED_SHARE and at_least is not None:
        # What comes and goes with the load is the bed's, so the air cannot be wet by leaks alone.
        fastest = curve.slowest(level + np.log(from_bed) - 1.96 * sigma, 1.0 - _PURGE_UNSURE)
        likely = curve.slowest(level, 1.0)
        if fastest is not None and likely is not None and fastest < _PACES[-1]:
            values = {"kinetics": Estimate.ordered(likely, at_least, fastest), "floor": floor}
    misfit = float(np.sqrt(np.mean((np.concatenate(logarithms) - level) ** 2)))
    fixed = tuple(name for name in values if is_fixed(name, values[name]))
    free = tuple(name for name in ("capacity", "kinetics", "residual", "floor") if name not in fixed)
    bounds = {} if at_least is None or "kinetics" in values else {"kinetics": at_least}
    return BedFit(values, np.eye(len(values)), misfit, fixed, free, _word(fixed, values, bounds), bounds)


def _level_of(means: Array, least_spread: float) -> tuple[float, float]:
    """Mean of the half-cycles' means and its standard error, neighbours counted as they go together.

    The effective number of half-cycles is n (1 - r) / (1 + r), r being the correlation of neighbours (first-order
    autoregression); the load moves the level over hours, so r is seldom small.
    """
    apart = means - means.mean()
    scatter = float(apart @ apart)
    together = float(np.clip(apart[1:] @ apart[:-1] / scatter, 0.0, 0.98)) if scatter > 0.0 else 0.0
    pieces = max(1.0, means.size * (1.0 - together) / (1.0 + together))
    return float(means.mean()), max(float(np.sqrt(scatter / (means.size - 1) / pieces)), least_spread)


def _word(fixed: tuple[str, ...], values: dict[str, Estimate], at_least: dict[str, float]) -> str:
    level = "fix the level of the leaving air" if "floor" in fixed else "do not fix the level of the leaving air"
    if "kinetics" in values:
        low, high = values["kinetics"].low, values["kinetics"].high
        pace = f"; the beads' pace is {low:.2g} to {high:.2g} of new ones', if the plate's purge is right"
    elif at_least:
        pace = (
            f"; the beads' pace is at least {at_least['kinetics']:.2g} of new ones', if the plate's purge is right, and"
            " has no upper bound, since leaks alone may set the level"
        )
    else:
        pace = "; the beads' pace does not show, since leaks alone may set the level"
    return (
        f"The log's half-cycles {level}{pace}; a heatless bed's capacity and residual water do not show, since the"
        " purge balance sets its level."
    )
