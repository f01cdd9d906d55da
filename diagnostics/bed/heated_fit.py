"""Which heated bed stands behind half-cycles: capacity, pace, what regeneration leaves, and the driest air.

Question: how must the model's bed be changed so that its half-cycles look as read? Method: the drying bed alone is
marched through each half-cycle under the load that came, and the logarithm of leaving moisture is fitted by least
squares (scipy's trust region).

The bed starts as the dryer's own regeneration leaves it: warmth from the twin's steady cycle, and at the wet end a
stretch that the heat does not reach. It stays full, takes nothing up and shortens the bed. How long it is depends
steeply on the heat, so the twin's answer is its prior, as wide as its answer at 0.85 of the heat is apart. Capacity and
stretch mostly show as one, the water until the front arrives; the covariance says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.bed.bed_fit import NAMES, BedFit, ObservedHalfCycle, is_fixed, listed, mean_load, past_the_spike
from diagnostics.bed.column import MASS_RATIO, Array, BedState, Packing, Stream, enthalpy_of, temperature_of
from diagnostics.bed.isotherm import saturation_over_water_pa
from diagnostics.bed.march import Row
from diagnostics.bed.steady import steady_state
from diagnostics.bed.twin import Conditions
from diagnostics.bed.vessel import Dryer
from diagnostics.estimate import Estimate

_CELLS = 40
_STEP_S, _SETTLING_STEP_S = 120.0, 60.0
_LOWEST, _HIGHEST = (-2.5, -2.5, 0.0, -20.0), (1.0, 1.5, 0.9, -8.0)
_WEAK_PRIOR = (2.0, 2.0, 4.0)
_HEAT_UNSURE = 0.15
_RESIDUAL_UNSURE = 0.03
_LIGHT_SHARE = 0.4
_FIRST_SPREAD = 0.1
_PIECES = 4
_STEPS = np.array([0.03, 0.03, 0.02, 0.05])
_EVALUATIONS = (12, 6)
_MODEL_UNSURE = np.array([0.1, 0.1, 0.0, 0.0])
"""What the model itself leaves open of capacity and pace, as a standard deviation of their logarithms: published
isotherms are good to 10 %, and the fit's coarse grid smears a fast front by as much."""


@dataclass(frozen=True)
class Regenerated:
    """The bed as regeneration leaves it.

    Attributes
    ----------
    loading, kelvin : array (cells,)
        Where the heat reaches everything, cells from the wet end on.
    residual, unsure : float
        Share of the bed that stays full, and the standard deviation of that figure.
    """

    loading: Array
    kelvin: Array
    residual: float
    unsure: float


def regenerated(dryer: Dryer, conditions: Conditions) -> Regenerated:
    """What the dryer's regeneration leaves under a load, from the twin's steady cycles.

    Parameters
    ----------
    dryer : Dryer
    conditions : Conditions
        Mean load.
    """
    packing = replace(dryer.packings[0], cells=_CELLS, capacity=1.0)
    dryer = replace(dryer, packings=(packing, packing))
    light = replace(conditions, feed_kg_s=min(conditions.feed_kg_s, _LIGHT_SHARE * dryer.rated_kg_s))
    clean = steady_state(dryer, light, step_s=_SETTLING_STEP_S, most_cycles=6).beds[0]
    desiccant = packing.desiccant
    shares = []
    for heat in (1.0, 1.0 - _HEAT_UNSURE):
        changed = replace(dryer, heater_factor=(heat, heat))
        left = steady_state(changed, conditions, step_s=_SETTLING_STEP_S, tolerance=1e-3, most_cycles=36).beds[0]
        kelvin = temperature_of(desiccant, left.loading, left.enthalpy)
        full = desiccant.isotherm.loading(saturation_over_water_pa(kelvin), kelvin)
        shares.append(float(np.mean(left.loading / full)))
    return Regenerated(
        clean.loading,
        temperature_of(desiccant, clean.loading, clean.enthalpy),
        shares[0],
        max(shares[1] - shares[0], 0.0) + _RESIDUAL_UNSURE,
    )


def leaving(
    packing: Packing, half_cycle: ObservedHalfCycle, start: Regenerated, x: Sequence[float] | Array, *, step_s: float
) -> tuple[Array, Array]:
    """Times [s] and logarithm of leaving moisture of a bed that starts regenerated.

    Parameters
    ----------
    packing : Packing
        New beads.
    half_cycle : ObservedHalfCycle
        Its load alone is used.
    start : Regenerated
    x : sequence of float
        Logarithms of capacity and kinetics, residual, logarithm of the floor.
    step_s : float
    """
    times, logs = leaving_each(packing, half_cycle, start, np.asarray(x, float)[None, :], step_s=step_s)
    return times, logs[:, 0]


def leaving_each(
    packing: Packing, half_cycle: ObservedHalfCycle, start: Regenerated, xs: Array, *, step_s: float
) -> tuple[Array, Array]:
    """The same for several beds at once, `xs` (beds, 4); logarithms are (steps, beds).

    Beds with inlets of their own march as one row, which takes hardly longer than one of them.
    """
    lives = 1.0 - xs[:, 2]
    beds = [_bed_of(packing, live, x) for live, x in zip(lives.tolist(), xs, strict=True)]
    states = [_start_of(bed, start, live) for bed, live in zip(beds, lives.tolist(), strict=True)]
    state = BedState(
        np.concatenate([s.loading for s in states]),
        np.concatenate([s.enthalpy for s in states]),
        np.concatenate([s.wall_k for s in states]),
    )
    times, ratios, since = [], [], 0.0
    for duration_s, load in half_cycle.course:
        stream = Stream(load.feed_kg_s, load.inlet_ratio, load.inlet_k, load.line_pa, load.inlet_k + 5.0)
        ratio = Row(beds, [stream] * len(beds), load.room_k).march(state, duration_s, step_s).ratio
        times.append(since + duration_s * (np.arange(len(ratio)) + 0.5) / len(ratio))
        ratios.append(ratio)
        since += duration_s
    ratio = np.maximum(np.concatenate(ratios), 0.0)
    return np.concatenate(times), np.log(ratio / (ratio + MASS_RATIO) + np.exp(xs[:, 3]))


def _bed_of(packing: Packing, live: float, x: Array) -> Packing:
    return replace(
        packing,
        length_m=live * packing.length_m,
        capacity=float(np.exp(x[0])),
        kinetics=packing.kinetics * float(np.exp(x[1])),
        wall_j_k=live * packing.wall_j_k,
        wall_w_k=live * packing.wall_w_k,
        loss_w_k=live * packing.loss_w_k,
    )


def _start_of(bed: Packing, start: Regenerated, live: float) -> BedState:
    """The live stretch, as warm and clean as regeneration leaves a bed at that distance from the edge of its heat."""
    depth = live * (np.arange(bed.cells) + 0.5) / bed.cells
    known = (np.arange(start.kelvin.size) + 0.5) / start.kelvin.size
    kelvin = np.interp(depth, known, start.kelvin)
    loading = bed.capacity * np.interp(depth, known, np.maximum(start.loading, 0.0))
    return BedState(loading, enthalpy_of(bed.desiccant, loading, kelvin), kelvin.copy())


def fit_heated(
    half_cycles: Sequence[ObservedHalfCycle],
    dryer: Dryer,
    pressure_bar: float,
    least_spread: float,
    start: Regenerated | None = None,
) -> BedFit:
    """Fit capacity, pace, residual and floor of one heated tower.

    Parameters
    ----------
    half_cycles : sequence of ObservedHalfCycle
        At best of different load.
    dryer : Dryer
    pressure_bar : float
        Absolute line pressure the dew points refer to [bar].
    least_spread : float
        Scatter of one reading's logarithm of moisture that is assumed at least [e-folds].
    start : Regenerated, optional
        What regeneration leaves in either tower; reckoned from the half-cycles' mean load if not given.

    Raises
    ------
    ValueError
        With less than two readings a figure.
    """
    from scipy.optimize import least_squares

    seen = [past_the_spike(half_cycle, pressure_bar) for half_cycle in half_cycles]
    count = sum(times.size for times, _ in seen)
    if count < 2 * len(NAMES):
        raise ValueError(f"a fit needs {2 * len(NAMES)} readings or more past the spike, got {count}")
    packing = replace(dryer.packings[0], cells=_CELLS, capacity=1.0)
    start = start or regenerated(dryer, mean_load(half_cycles))
    floor = float(np.clip(min(float(logs.min()) for _, logs in seen), _LOWEST[3] + 0.1, _HIGHEST[3] - 0.1))
    prior = np.array([0.0, 0.0, start.residual, floor])
    width = np.array([*_WEAK_PRIOR[:2], start.unsure, _WEAK_PRIOR[2]])
    # Misses within a half-cycle go together, so it is half-cycles, a few pieces each, that count and not readings.
    inflation = max(count / (_PIECES * len(half_cycles)), 1.0)

    def misses_each(xs: Array) -> Array:
        """Differences at the readings (beds, readings)."""
        found = []
        for half_cycle, (times, logs) in zip(half_cycles, seen, strict=True):
            ends, curves = leaving_each(packing, half_cycle, start, xs, step_s=_STEP_S)
            found.append([np.interp(times, ends, curve) - logs for curve in curves.T])
        return np.array([np.concatenate(own) for own in zip(*found, strict=True)])

    def misses(x: Array) -> Array:
        there: Array = misses_each(x[None, :])[0]
        return there

    def slopes(x: Array) -> Array:
        # Steps of a size of their own: relative ones vanish where a logarithm is nought.
        steps = np.where(x + _STEPS < _HIGHEST, _STEPS, -_STEPS)
        found = misses_each(np.vstack((x, x + np.diag(steps))))
        return (found[1:] - found[0]).T / steps

    x, spread = np.clip(prior, np.add(_LOWEST, 0.01), np.subtract(_HIGHEST, 0.01)), max(_FIRST_SPREAD, least_spread)
    for most in _EVALUATIONS:
        weight = 1.0 / (spread * np.sqrt(inflation))
        found = least_squares(
            lambda x, weight=weight: np.concatenate((weight * misses(x), (x - prior) / width)),
            x,
            jac=lambda x, weight=weight: np.vstack((weight * slopes(x), np.diag(1.0 / width))),
            bounds=(_LOWEST, _HIGHEST),
            x_scale=(0.2, 0.2, 0.1, 0.5),
            max_nfev=most,
            xtol=1e-3,
            ftol=1e-3,
        )
        x = found.x
        misfit = float(np.sqrt(np.mean((found.fun[:count] / weight) ** 2)))
        spread = max(misfit, least_spread)
    scale = np.r_[np.full(count, 1.0 / (weight * spread * np.sqrt(inflation))), np.ones(4)]
    jacobian = found.jac * scale[:, None]
    covariance = np.linalg.inv(jacobian.T @ jacobian) + np.diag(_MODEL_UNSURE**2)
    return _report(x, covariance, misfit)


def _report(x: Array, covariance: Array, misfit: float) -> BedFit:
    sigma = np.sqrt(np.diag(covariance))
    low, high = x - 1.96 * sigma, x + 1.96 * sigma
    values = {
        name: Estimate.ordered(*np.exp([x[i], low[i], high[i]]).tolist())
        for i, name in enumerate(NAMES)
        if name != "residual"
    }
    residual = Estimate.ordered(float(x[2]), max(float(low[2]), 0.0), min(float(high[2]), 1.0))
    values = {name: values.get(name, residual) for name in NAMES}
    fixed = tuple(name for name in NAMES if is_fixed(name, values[name]))
    free = tuple(name for name in NAMES if name not in fixed)
    return BedFit(values, covariance / np.outer(sigma, sigma), misfit, fixed, free, _word(fixed, free))


def _word(fixed: tuple[str, ...], free: tuple[str, ...]) -> str:
    if not free:
        return f"The log's half-cycles fix {listed(fixed)} of the bed."
    why = "; no front shows in its half-cycles" if "capacity" in free and "kinetics" in free else ""
    if not fixed:
        return f"The log's half-cycles leave {listed(free)} of the bed open{why}."
    return f"The log's half-cycles fix the bed's {listed(fixed)} and leave {listed(free)} open{why}."
