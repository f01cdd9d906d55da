"""The same bed as one stiff system for a general integrator: slow, obvious, nothing shared with the marching scheme.

The finite volumes are the same (exact gas sweep over beads that vary linearly along a cell), written as a plain loop;
time is left to Radau with a dense Jacobian and tight tolerances.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.integrate import solve_ivp

from diagnostics.bed.column import Packing, Stream, exchange_rates, heat_at_reference


def _beyond(end: float, inner: float, positive: bool) -> float:
    """A cell past the bed's end: what falls towards nought goes on by its ratio, all else straight."""
    return end * end / inner if positive and 0.0 < end < inner else 2.0 * end - inner


def _tilted(middles: np.ndarray, passed: float, positive: bool) -> list[float]:
    """What even beads would have to offer for the gas to leave as it does over beads that vary along the cell."""
    units = -math.log(passed)
    weight = 0.5 * (1.0 + passed) / (1.0 - passed) - 1.0 / units
    offered = []
    for i, here in enumerate(middles):
        before = here - (middles[i - 1] if i else _beyond(here, middles[1], positive))
        after = (middles[i + 1] if i + 1 < len(middles) else _beyond(here, middles[-2], positive)) - here
        slope = 0.0
        if before * after > 0.0:
            slope = math.copysign(min(2.0 * abs(before), 2.0 * abs(after), 0.5 * abs(before + after)), after)
        offered.append(here + weight * slope)
    return offered


def integrate_bed(
    packing: Packing, stream: Stream, loading: np.ndarray, kelvin: np.ndarray, times_s: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Leaving mixing ratio and temperature at `times_s`, and the loading at the end, adiabatic."""
    n, d = packing.cells, packing.desiccant
    flow, kg = float(np.asarray(stream.flow_kg_s)), packing.cell_kg
    mass, heat = exchange_rates(packing, flow, stream.pressure_pa, stream.exchange_k)
    volume = packing.length_m * packing.area_m2 / n
    density = stream.pressure_pa / (287.05 * stream.exchange_k)
    pass_y, pass_t = math.exp(-mass * density * volume / flow), math.exp(-heat * volume / (flow * 1007.0))
    heat0 = heat_at_reference(d)

    def sweep(y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        q, h = y[:n], y[n:]
        theta = (h * 1e3 + heat0 * q) / (d.specific_heat_j_kg_k + d.water_specific_heat_j_kg_k * q)
        p = np.asarray(d.isotherm.pressure(q, theta + 273.15))
        star = 0.62198 * p / (stream.pressure_pa - p)
        gas, warm = float(stream.ratio or 0.0), float(stream.temperature_k or 0.0) - 273.15
        ratios, warmths = [gas], [warm]
        stars, thetas = _tilted(star, pass_y, True), _tilted(theta, pass_t, False)
        for i in range(n):
            gas = pass_y * gas + (1.0 - pass_y) * stars[i]
            warm = pass_t * warm + (1.0 - pass_t) * thetas[i]
            ratios.append(gas)
            warmths.append(warm)
        return np.array(ratios), np.array(warmths), theta

    def rates(_: float, y: np.ndarray) -> np.ndarray:
        ratios, warmths, _ = sweep(y)
        enthalpy = (1007.0 + 1860.0 * ratios) * warmths
        return np.concatenate((flow * -np.diff(ratios) / kg, flow * -np.diff(enthalpy) / kg / 1e3))

    heat_now = d.specific_heat_j_kg_k + d.water_specific_heat_j_kg_k * loading
    start = np.concatenate((loading, (heat_now * (kelvin - 273.15) - heat0 * loading) / 1e3))
    done = solve_ivp(
        rates, (0.0, float(times_s[-1])), start, method="Radau", rtol=1e-7, atol=1e-11, t_eval=times_s, max_step=60.0
    )
    assert done.success
    ends = [sweep(y) for y in done.y.T]
    return np.array([e[0][-1] for e in ends]), np.array([e[1][-1] + 273.15 for e in ends]), done.y[:n, -1]
