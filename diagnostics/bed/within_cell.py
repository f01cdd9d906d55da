"""What happens inside one cell of a bed, where neither beads nor gas are the same from face to face.

Question: how wet is the gas that leaves a cell, given the mean of its beads? Method: the beads' equilibrium is rebuilt
as a straight line from the means of the neighbours, limited so that no new extreme appears (monotonized central
limiter, van Leer 1977, J. Comput. Phys. 23, 276), and the gas is integrated exactly along it: dY/dn = -(Y - a - b n)
over n transfer units gives, beside the even beads' answer, b n^2 (coth(n/2)/2 - 1/n) / n. With the curvature of the
isotherm inside the cell that is fourth order in the cell's length where the front is smooth.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from diagnostics.bed.column import MASS_RATIO, Array
from diagnostics.bed.isotherm import Isotherm

Places = NDArray[np.signedinteger]

_STEEPEST = 0.5
_MOST_PARTS = 60
_TRACE_PA = 1e-6
_TINY = 1e-300


def tilt_of(units: Array) -> Array:
    """Weight of a cell's slope of equilibrium in its leaving gas: coth(n/2)/2 - 1/n of the transfer units n."""
    n = np.maximum(units, 1e-3)
    tilt: Array = 0.5 / np.tanh(0.5 * n) - 1.0 / n
    return tilt


def beside(cells: Array, first: Places, last: Places, positive: NDArray[np.bool_] | bool = True) -> tuple[Array, Array]:
    """Differences to the cell before and the cell after.

    Beyond a bed's ends the cells are taken to go on: straight, or by the same ratio once more where they fall towards
    nought, as the foot of a front does (a straight line would fall below it).

    Parameters
    ----------
    cells : array (..., cells)
        Beds one after the other.
    first, last : array of int
        End cells of each bed.
    positive : bool or array of bool
        Whether nought is the least there can be, as for water and unlike temperature.
    """
    apart = np.empty((*cells.shape[:-1], cells.shape[-1] + 1))
    np.subtract(cells[..., 1:], cells[..., :-1], out=apart[..., 1:-1])
    after = apart[..., 1:].copy()
    ends = np.concatenate((first, last))
    inner = np.concatenate((first + 1, last - 1))
    end, beyond = cells[..., ends], cells[..., inner]
    apart_there = end - beyond
    ratio = np.where(positive & (end > 0.0) & (apart_there < 0.0), end / (beyond + _TINY), 1.0)
    on = apart_there * ratio
    beds = len(first)
    apart[..., first] = -on[..., :beds]
    after[..., last] = on[..., beds:]
    return apart[..., :-1], after


def sharpened(
    star: Array,
    tilt: Array,
    first: Places,
    last: Places,
    bend: Array | float = 0.0,
    positive: NDArray[np.bool_] | bool = True,
) -> Array:
    """Equilibrium that even beads would need for the gas to leave as it does over beads that vary along the cell.

    Parameters
    ----------
    star : array (..., cells)
        Equilibrium of each cell's mean.
    tilt : array
        As of `tilt_of`.
    first, last : array of int
    bend : array or float
        Mean of the equilibrium less the equilibrium of the mean.
    positive : bool or array of bool
        As for `beside`.
    """
    before, after = beside(star, first, last, positive)
    steepest = 2.0 * np.minimum(np.abs(before), np.abs(after))
    slope = np.clip(0.5 * (before + after), -steepest, steepest)
    answer: Array = star + np.where(before * after > 0.0, bend + tilt * slope, 0.0)
    return answer


def bend_of(star: Array, q: Array, steep: Array, first: Places, last: Places) -> Array:
    """Mean equilibrium of beads that vary along a cell less the equilibrium of their mean, one temperature."""
    before, after = beside(np.array((star, q)), first, last)
    bend: Array = (after[0] - before[0] - steep * (after[1] - before[1])) / 24.0
    return bend


def solid_sweep(
    isotherm: Isotherm, q: Array, inlet: float, units: float, pressure_pa: float, kelvin: float, capacity: float
) -> Array:
    """Gas at each cell's leaving face [kg/kg] where the solid's driving force is linear: dY/dz ~ -(q*(Y) - q(z)).

    Classical Runge-Kutta along the bed over beads that vary linearly within a cell, in as many parts as the isotherm's
    steep foot asks for.

    Parameters
    ----------
    isotherm : Isotherm
    q : array (cells,)
        One bed's loading [kg/kg].
    inlet : float
        Mixing ratio [kg/kg].
    units : float
        k x desiccant / flow of one cell [-].
    pressure_pa, kelvin, capacity : float
    """
    ends = np.array([0]), np.array([q.size - 1])
    before, after = beside(q, *ends)
    steepest = 2.0 * np.minimum(np.abs(before), np.abs(after)) * (before * after > 0.0)
    slope = np.clip(0.5 * (before + after), -steepest, steepest).tolist()
    foot = capacity * float(isotherm.loading(_TRACE_PA, kelvin)) / _TRACE_PA * pressure_pa / MASS_RATIO
    parts = min(max(1, math.ceil(units * foot / _STEEPEST)), _MOST_PARTS)
    step = units / parts

    def taken(gas: float, held: float) -> float:
        pa = pressure_pa * gas / (MASS_RATIO + gas)
        return capacity * float(isotherm.loading(pa, kelvin)) - held

    faces, gas = [], inlet
    for mean, tilt in zip(q.tolist(), slope, strict=True):
        for part in range(parts):
            held = mean + tilt * (part / parts - 0.5)
            half, full = held + 0.5 * tilt / parts, held + tilt / parts
            k1 = taken(gas, held)
            k2 = taken(gas - 0.5 * step * k1, half)
            k3 = taken(gas - 0.5 * step * k2, half)
            k4 = taken(gas - step * k3, full)
            gas -= step / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
        faces.append(gas)
    return np.array(faces)
