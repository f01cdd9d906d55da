"""The cyclic steady state: the beds repeat themselves from cycle to cycle.

Question: where does a dryer settle under constant conditions? A heatless bed needs thousands of half-cycles to get
there, since one swings less than 0.3 % of its mass. Method: the map from one cycle's start to the next is a fixed-point
problem; Anderson mixing (Walker & Ni 2011, SIAM J. Numer. Anal. 49, 1715) on logarithm of loading and on temperature.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.bed.column import Array, BedState, enthalpy_of, temperature_of
from diagnostics.bed.twin import Conditions, Outlet, Twin, first_guess
from diagnostics.bed.vessel import Dryer

_TEMPERATURE_SCALE_K = 5.0
_LEAST_LOADING = 1e-9
_WINDOW = 8
_LONGEST_LEAP = 2.5


@dataclass(frozen=True)
class Steady:
    """Beds at the switchover that makes A dry, and how far they are from repeating.

    Attributes
    ----------
    beds : tuple of BedState
    cycles : int
        Cycles that were run.
    residual : float
        Largest change over the last cycle, in units of e-fold of loading or 5 K.
    """

    beds: tuple[BedState, BedState]
    cycles: int
    residual: float


def steady_state(
    dryer: Dryer,
    conditions: Conditions,
    *,
    step_s: float,
    tolerance: float = 2e-3,
    most_cycles: int = 150,
    beds: list[BedState] | None = None,
) -> Steady:
    """Settle a dryer under a fixed timer at constant conditions.

    Parameters
    ----------
    dryer : Dryer
    conditions : Conditions
    step_s : float
        Longest time step [s].
    tolerance : float
        Accepted change per cycle, in e-folds of loading.
    most_cycles : int
    beds : list of BedState, optional
        Where to begin.

    Returns
    -------
    Steady
    """
    states = [b.copy() for b in (beds or first_guess(dryer, conditions))]
    alike = dryer.packings[0] == dryer.packings[1] and len({*dryer.purge_factor}) == len({*dryer.heater_factor}) == 1
    x = _to_vector(dryer, states)
    xs: list[Array] = []
    gs: list[Array] = []
    residual, cycles = np.inf, 0
    while cycles < most_cycles:
        cycles += 1
        image = _to_vector(dryer, _cycle(dryer, conditions, _to_beds(dryer, x), step_s, alike))
        residual = float(np.max(np.abs(image - x)))
        if residual < tolerance * (0.5 if alike else 1.0):
            x = image
            break
        xs.append(x)
        gs.append(image)
        del xs[:-_WINDOW], gs[:-_WINDOW]
        x = _mixed(xs, gs)
    first, second = _to_beds(dryer, x)
    return Steady((first, second), cycles, residual)


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
            np.log(np.maximum(bed.loading, _LEAST_LOADING)),
            kelvin / _TEMPERATURE_SCALE_K,
            bed.wall_k / _TEMPERATURE_SCALE_K,
        ]
    return np.concatenate(parts)


def _to_beds(dryer: Dryer, x: Array) -> list[BedState]:
    beds = []
    for packing, part in zip(dryer.packings, np.split(x, 2), strict=True):
        log_loading, warm, wall = np.split(part, 3)
        loading = np.exp(np.minimum(log_loading, np.log(0.5)))
        kelvin = np.clip(warm * _TEMPERATURE_SCALE_K, 240.0, 560.0)
        beds.append(BedState(loading, enthalpy_of(packing.desiccant, loading, kelvin), wall * _TEMPERATURE_SCALE_K))
    return beds
