"""The cyclic steady state: the beds repeat themselves from cycle to cycle.

Question: where does a dryer settle under constant conditions? A heatless bed needs thousands of half-cycles to get
there, since one swings less than 0.3 % of its mass. Method: the map from one cycle's start to the next is a fixed-point
problem in the logarithm of loading and in temperature. Some cycles with Anderson mixing (Walker & Ni 2011, SIAM J.
Numer. Anal. 49, 1715) smooth the guess; Newton steps whose linear systems are solved by GMRES on differences of the
map finish it (Knoll & Keyes 2004, J. Comput. Phys. 193, 357). A heated bed forgets within a few cycles all but the
water its heat does not reach; `creep` finds how much of that stays.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.bed.column import Array, BedState, enthalpy_of, temperature_of
from diagnostics.bed.creep import settle_creep
from diagnostics.bed.twin import Conditions, Outlet, Twin, first_guess
from diagnostics.bed.vessel import Dryer

_TEMPERATURE_SCALE_K = 5.0
_LEAST_LOADING = 3e-7
_WINDOW = 8
_LONGEST_LEAP = 2.5
_MOST_HEATED_CYCLES = 80
_HEATED_WINDOW, _PLAIN_CYCLES, _FORGETTING_CYCLES = 6, 3, 12
_LOADING_SCALE, _WARMTH_SCALE_K, _LEAST_SCALED = 0.05, 50.0, 1e-5
_COARSE_TOLERANCE, _COARSEST_SHARE, _LEAST_FOR_COARSE = 1e-3, 0.01, 20
_MIXED_CYCLES = 20
_KRYLOV = 25
_NUDGE = 1e-3
_LONGEST_WARMING = 1.5
_LONGEST_WETTING = 4.0


@dataclass(frozen=True)
class Steady:
    """Beds at the switchover that makes A dry, and how far they are from repeating.

    Attributes
    ----------
    beds : tuple of BedState
    cycles : int
        Cycles that were run, those in longer steps included.
    residual : float
        Change over the last cycle, in the units of `tolerance`.
    """

    beds: tuple[BedState, BedState]
    cycles: int
    residual: float


def steady_state(
    dryer: Dryer,
    conditions: Conditions,
    *,
    step_s: float,
    tolerance: float | None = None,
    most_cycles: int = 600,
    beds: list[BedState] | None = None,
) -> Steady:
    """Settle a dryer under a fixed timer at constant conditions.

    Parameters
    ----------
    dryer : Dryer
    conditions : Conditions
    step_s : float
        Longest time step [s].
    tolerance : float, optional
        Accepted change per cycle, 1e-4: heatless in e-folds of loading or 5 K, since it adds up over hundreds of
        cycles; heated of the mean loading as a share of the cycle's swing and of the mean temperature as one of 100 K.
    most_cycles : int
    beds : list of BedState, optional
        Where to begin.

    Returns
    -------
    Steady
    """
    if tolerance is None:
        tolerance = 1e-4
    states = [b.copy() for b in (beds or first_guess(dryer, conditions))]
    alike = dryer.packings[0] == dryer.packings[1] and len({*dryer.purge_factor}) == len({*dryer.heater_factor}) == 1
    cycles = 0

    def image_of(x: Array) -> Array:
        nonlocal cycles
        cycles += 1
        return _to_vector(dryer, _cycle(dryer, conditions, _to_beds(dryer, x), step_s, alike))

    if dryer.heated:
        return _heated_steady(
            dryer, conditions, states, step_s, alike, tolerance, min(most_cycles, _MOST_HEATED_CYCLES)
        )
    x, residual = _mix(image_of, _to_vector(dryer, states), tolerance)
    while residual > tolerance and cycles < most_cycles:
        x, residual = _newton_step(image_of, x, _is_loading(dryer))
    first, second = _to_beds(dryer, x)
    return Steady((first, second), cycles, residual)


def _heated_steady(
    dryer: Dryer, conditions: Conditions, beds: list[BedState], step_s: float, alike: bool, tolerance: float, most: int
) -> Steady:
    """Settle a heated dryer in steps of twice the length first: they tell where the water ends up nearly as well."""
    if most < _LEAST_FOR_COARSE or 2.0 * step_s > _COARSEST_SHARE * dryer.half_cycle_s:
        return _repeat(dryer, conditions, beds, step_s, alike, tolerance, most)
    roughly = max(_COARSE_TOLERANCE, tolerance)
    coarse = _repeat(dryer, conditions, beds, 2.0 * step_s, alike, roughly, most // 2)
    fine = _repeat(dryer, conditions, list(coarse.beds), step_s, alike, tolerance, most)
    return replace(fine, cycles=coarse.cycles + fine.cycles)


def _repeat(
    dryer: Dryer, conditions: Conditions, beds: list[BedState], step_s: float, alike: bool, tolerance: float, most: int
) -> Steady:
    """Run cycle after cycle, with mixing: regeneration by heat wipes out most; water that stays behind creeps."""
    residual, cycles = np.inf, 0
    xs: list[Array] = []
    gs: list[Array] = []
    x, worst = _linear_vector(dryer, beds), np.inf
    while residual > tolerance and cycles < min(most, _FORGETTING_CYCLES):
        beds = _cycle(dryer, conditions, beds, step_s, alike)
        cycles += 1
        image = _linear_vector(dryer, beds)
        residual = _change_of_means(dryer, image, x, float(np.mean(beds[0].loading) - np.mean(beds[1].loading)))
        if residual > 3.0 * worst:
            xs.clear()
            gs.clear()
        worst = min(worst, residual)
        xs.append(x)
        gs.append(image)
        del xs[:-_HEATED_WINDOW], gs[:-_HEATED_WINDOW]
        x = image
        if residual > tolerance and cycles > _PLAIN_CYCLES:
            x = _mixed(xs, gs)
            beds = _from_linear(dryer, x)
            x = _linear_vector(dryer, beds)
    if residual > tolerance and cycles < most:
        beds, residual, more = _end_of_creep(dryer, conditions, beds, step_s, alike, tolerance, most - cycles)
        cycles += more
    return Steady((beds[0], beds[1]), cycles, residual)


def _end_of_creep(
    dryer: Dryer, conditions: Conditions, beds: list[BedState], step_s: float, alike: bool, tolerance: float, most: int
) -> tuple[list[BedState], float, int]:
    """Beds, residual and cycles run; two half cycles with exchanged roles count as two."""
    turns = 2 if alike else 1

    def whole_cycle(now: list[BedState]) -> list[BedState]:
        for _ in range(turns):
            now = _cycle(dryer, conditions, list(now), step_s, alike)
        return now

    def change(now: list[BedState], before: list[BedState]) -> float:
        swing = float(np.mean(now[0].loading) - np.mean(now[1].loading))
        return _change_of_means(dryer, _linear_vector(dryer, now), _linear_vector(dryer, before), swing)

    beds, residual, cycles = settle_creep(whole_cycle, change, dryer, beds, tolerance, max(most // turns, 1))
    return beds, residual, cycles * turns


def _change_of_means(dryer: Dryer, image: Array, before: Array, swing: float) -> float:
    """Change over a cycle: mean loading as a share of the swing, mean temperature of that of the heat, driest bead."""
    worst = 0.0
    for new, old in zip(np.split(image, 2), np.split(before, 2), strict=True):
        (q, t, _), (q0, t0, _) = np.split(new, 3), np.split(old, 3)
        water = abs(float(np.mean(q - q0))) * _LOADING_SCALE / max(abs(swing), 1e-9)
        warmth = abs(float(np.mean(t - t0))) * _WARMTH_SCALE_K / 100.0
        dry = abs(float(np.log((max(q[-1], 0.0) + _LEAST_SCALED) / (max(q0[-1], 0.0) + _LEAST_SCALED))))
        worst = max(worst, water, warmth, 0.01 * dry)
    return worst


def _linear_vector(dryer: Dryer, beds: list[BedState]) -> Array:
    parts = []
    for packing, bed in zip(dryer.packings, beds, strict=True):
        kelvin = temperature_of(packing.desiccant, bed.loading, bed.enthalpy)
        parts += [bed.loading / _LOADING_SCALE, kelvin / _WARMTH_SCALE_K, bed.wall_k / _WARMTH_SCALE_K]
    return np.concatenate(parts)


def _from_linear(dryer: Dryer, x: Array) -> list[BedState]:
    beds = []
    for packing, part in zip(dryer.packings, np.split(x, 2), strict=True):
        scaled, warm, wall = np.split(part, 3)
        loading = np.clip(scaled * _LOADING_SCALE, 0.0, 0.6)
        kelvin = np.clip(warm * _WARMTH_SCALE_K, 260.0, 560.0)
        beds.append(BedState(loading, enthalpy_of(packing.desiccant, loading, kelvin), wall * _WARMTH_SCALE_K))
    return beds


def _mix(image_of: Callable[[Array], Array], x: Array, tolerance: float) -> tuple[Array, float]:
    xs: list[Array] = []
    gs: list[Array] = []
    residual = np.inf
    for _ in range(_MIXED_CYCLES):
        image = image_of(x)
        residual = float(np.max(np.abs(image - x)))
        if residual < tolerance:
            return image, residual
        xs.append(x)
        gs.append(image)
        del xs[:-_WINDOW], gs[:-_WINDOW]
        x = _mixed(xs, gs)
    return x, residual


def _newton_step(image_of: Callable[[Array], Array], x: Array, loading: Array) -> tuple[Array, float]:
    from scipy.sparse.linalg import LinearOperator, gmres

    image = image_of(x)
    miss = image - x

    def without_map(v: Array) -> Array:
        size = float(np.max(np.abs(v)))
        if size == 0.0:
            return v
        nudge = _NUDGE / size
        return v - (image_of(x + nudge * v) - image) / nudge

    operator = LinearOperator((x.size, x.size), without_map, dtype=float)
    leap = gmres(operator, miss, rtol=0.05, restart=_KRYLOV, maxiter=1)[0]
    # Loading is the linear quantity, its logarithm the vector's: a growth by 1 + d is a step of log(1 + d).
    wetter = (loading > 0.0) & (leap > 0.0)
    leap[wetter] = np.log1p(leap[wetter])
    size = np.abs(leap) / np.where(loading > 0.0, _LONGEST_WETTING, _LONGEST_WARMING)
    return x + leap / max(1.0, float(size.max())), float(np.max(np.abs(miss)))


def _is_loading(dryer: Dryer) -> Array:
    parts = [np.repeat((1.0, 0.0, 0.0), packing.cells) for packing in dryer.packings]
    return np.concatenate(parts)


def _cycle(dryer: Dryer, conditions: Conditions, beds: list[BedState], step_s: float, alike: bool) -> list[BedState]:
    """One full cycle; half a one with exchanged roles where the towers are alike."""
    twin = Twin(replace(dryer, control="fixed"), beds, step_s=step_s)
    twin.advance(conditions, dryer.half_cycle_s, Outlet(), 0.0)
    if alike:
        return [twin.beds[1], twin.beds[0]]
    twin.switch()
    twin.advance(conditions, dryer.half_cycle_s, Outlet(), 0.0)
    return twin.beds


def _mixed(xs: list[Array], gs: list[Array]) -> Array:
    latest = gs[-1]
    if len(xs) < 3:
        return latest
    misses = np.array(gs) - np.array(xs)
    steps = np.diff(misses, axis=0).T
    weights = np.linalg.lstsq(steps, misses[-1], rcond=1e-6)[0]
    leap = -np.diff(np.array(gs), axis=0).T @ weights
    size = float(np.max(np.abs(leap)))
    return latest + leap * min(1.0, _LONGEST_LEAP / max(size, 1e-12))


def _to_vector(dryer: Dryer, beds: list[BedState]) -> Array:
    parts = []
    for packing, bed in zip(dryer.packings, beds, strict=True):
        kelvin = temperature_of(packing.desiccant, bed.loading, bed.enthalpy)
        parts += [
            np.log(np.maximum(bed.loading, 0.0) + _LEAST_LOADING),
            kelvin / _TEMPERATURE_SCALE_K,
            bed.wall_k / _TEMPERATURE_SCALE_K,
        ]
    return np.concatenate(parts)


def _to_beds(dryer: Dryer, x: Array) -> list[BedState]:
    beds = []
    for packing, part in zip(dryer.packings, np.split(x, 2), strict=True):
        log_loading, warm, wall = np.split(part, 3)
        loading = np.maximum(np.exp(np.minimum(log_loading, np.log(0.5))) - _LEAST_LOADING, 0.0)
        kelvin = np.clip(warm * _TEMPERATURE_SCALE_K, 240.0, 560.0)
        beds.append(BedState(loading, enthalpy_of(packing.desiccant, loading, kelvin), wall * _TEMPERATURE_SCALE_K))
    return beds
