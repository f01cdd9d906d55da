"""Runs a bed of one sort of bead under constant feed, in the dimensionless terms of the closed forms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.bed.column import AIR_GAS_CONSTANT_J_KG_K, Packing, Stream, mixing_ratio, uniform_state
from diagnostics.bed.isotherm import VAPOUR_GAS_CONSTANT_J_KG_K, Desiccant, Isotherm
from diagnostics.bed.march import Row

KELVIN = 308.15
PRESSURE_PA = 8.01325e5
DENSITY = PRESSURE_PA / (AIR_GAS_CONSTANT_J_KG_K * KELVIN)
SPEED_M_S = 0.2
LENGTH_M = 1.2
BULK_KG_M3 = 770.0


@dataclass
class Front:
    """Outlet of an isothermal bed against time, and the bed at the end."""

    time_s: np.ndarray
    share: np.ndarray
    loading: np.ndarray
    feed_kg: float
    left_kg: float
    stored_kg: float


def concentration(vapour_pa: float) -> float:
    """Vapour [kg/m3] at the bed's temperature."""
    return vapour_pa / (VAPOUR_GAS_CONSTANT_J_KG_K * KELVIN)


def packing_of(isotherm: Isotherm, **settings: object) -> Packing:
    """Bed of 1 m2 whose beads follow an isotherm."""
    desiccant = Desiccant("check", isotherm, BULK_KG_M3, 0.38, 0.5, 3.0, 2.8e6, 1000.0, 0.0)
    return Packing(desiccant, LENGTH_M, 1.0, heat="isothermal", **settings)  # type: ignore[arg-type]


def isothermal_front(packing: Packing, feed_pa: float, duration_s: float, steps: int) -> Front:
    """Feed an empty bed; times are the middles of the steps, counted from when the gas front passes each place."""
    ratio = float(mixing_ratio(np.array(feed_pa), PRESSURE_PA))
    row = Row([packing], [Stream(SPEED_M_S * DENSITY, ratio, KELVIN, PRESSURE_PA, KELVIN)])
    state = uniform_state(packing, 0.0, KELVIN)
    passage = row.march(state, duration_s, duration_s / steps)
    return Front(
        (np.arange(steps) + 0.5) * duration_s / steps,
        passage.ratio[:, 0] / ratio,
        state.loading,
        float(passage.water_in_kg[0]),
        float(passage.water_out_kg[0]),
        float(state.loading.sum() * packing.cell_kg),
    )
