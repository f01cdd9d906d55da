"""How heavily the dryer is loaded against its rating, and the reserve that stands in where a log shows no rise.

Question: how many nameplate half-cycles can a bed repeat at rated load? Input: conditions and nameplate. Output: the
load ratio reading by reading and the prior. Heatless dryers count in actual volume, because the purge leaves saturated
at bed temperature whatever the inlet brought; heated ones count in water.
"""

from __future__ import annotations

import numpy as np

from diagnostics.air.humidity import mixing_ratio_g_kg, moisture_fraction
from diagnostics.estimate import Estimate
from diagnostics.log.conditions import DRY_AIR_KG_M3
from diagnostics.log.record import Conditions, Floats
from diagnostics.plant import Plant

PRIOR_RESERVE = Estimate(1.25, 1.0, 1.5)
"""Half-cycles a dryer holds at full rating, in nameplate half-cycles (common practice, no published source)."""


def load_ratio(conditions: Conditions, plant: Plant) -> Floats | None:
    """Load against the rating, reading by reading.

    Parameters
    ----------
    conditions : Conditions
    plant : Plant

    Returns
    -------
    ndarray, shape (n,), or None
        Actual volume flow over its rating for heatless dryers, moisture load over its rating for heated ones [-]; None
        where flow, inlet moisture or rating are unknown.
    """
    dryer = plant.dryer
    if dryer.rated_flow_m3_min is None:
        return None
    if plant.heated:
        if conditions.moisture_load_g_min is None:
            return None
        return conditions.moisture_load_g_min / rated_moisture_load_g_min(plant)
    if conditions.flow_m3_min is None:
        return None
    rated_m3_min_bar = dryer.rated_flow_m3_min / plant.rated_pressure_bar
    return conditions.flow_m3_min / np.maximum(conditions.pressure_bar, 1.0) / rated_m3_min_bar


def rated_moisture_load_g_min(plant: Plant) -> float:
    """Water entering at the rating: rated flow, saturated at rated inlet temperature and pressure [g/min]."""
    dryer = plant.dryer
    assert dryer.rated_flow_m3_min is not None
    moisture = moisture_fraction(dryer.rated_inlet_temperature_c, plant.rated_pressure_bar)
    return dryer.rated_flow_m3_min * DRY_AIR_KG_M3 * float(mixing_ratio_g_kg(moisture))
