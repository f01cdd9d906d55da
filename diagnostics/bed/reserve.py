"""How heavily the dryer is loaded against its rating, and the reserve that stands in where a log shows no rise.

Question: how many nameplate half-cycles can a bed repeat at rated load? Input: conditions and nameplate. Output: the
load ratio reading by reading and the prior. Heatless dryers count in actual volume, because the purge leaves saturated
at bed temperature whatever the inlet brought; heated ones count in water.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import mixing_ratio_g_kg, moisture_fraction
from diagnostics.estimate import Estimate
from diagnostics.log.conditions import DRY_AIR_KG_M3
from diagnostics.log.record import Conditions, Floats
from diagnostics.plant import Plant

PRIOR_RESERVE = Estimate(math.sqrt(1.5), 1.0, 1.5)
"""Half-cycles a dryer holds at full rating, in nameplate half-cycles (common practice, no published source)."""
_Z, _Z_BOUND, _Z_BOUND_EVEN = 1.96, 1.645, 1.826
"""Normal deviates of a two-sided interval of 95 % and of a one-sided bound; and where a twentieth of an even spread
ends that has the same interval (1.025 of 1.0 to 1.5)."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one source says of a reserve: mean and standard deviation of its natural logarithm."""

    mean: float
    deviation: float

    def estimate(self) -> Estimate:
        """Reserve with its 95 % interval [-]."""
        low, high = self.mean - _Z * self.deviation, self.mean + _Z * self.deviation
        return Estimate(math.exp(self.mean), math.exp(low), math.exp(high))

    def vouched(self, *, by_rating: bool) -> Estimate:
        """Reserve with the low end of a one-sided bound of 95 % and its two-sided interval's high end [-].

        Parameters
        ----------
        by_rating : bool
            Whether the prior decides: an even spread, whose twentieth part ends further out than a normal one's.
        """
        below = (_Z_BOUND_EVEN if by_rating else _Z_BOUND) * self.deviation
        return Estimate(math.exp(self.mean), math.exp(self.mean - below), self.estimate().high)

    def shifted(self, by: float, deviation: float = 0.0) -> Evidence:
        """Evidence on another reserve that lies ``by`` higher in ln, known to ``deviation``."""
        return Evidence(self.mean + by, math.hypot(self.deviation, deviation))


PRIOR = Evidence(0.5 * math.log(1.5), 0.0975)
"""`PRIOR_RESERVE` as evidence, for logs without a rise; its 95 % interval is that of an even spread from 1.0 to 1.5."""
PART_LOAD = 1.13
"""By which factor what is held at part load may exceed what the rating foretells in proportion: longer contact sharpens
the front and the same regeneration meets less water (common practice, no published source)."""
OPEN_PRIOR = Evidence(0.5 * math.log(1.5), 0.5)
"""Where a rise shows, the log decides: older, undersized and oversized beds hold from less than half to three times."""


def prior_above(held: float) -> Evidence:
    """Prior where no rise shows and ``held`` nameplate half-cycles at rated load were held all along.

    What was held cuts the rating's even spread off from below. A dryer that holds more than its rating may be larger
    than its plate, so the upper end moves with it: from 1.5 to half as much again as what is held.
    """
    low, high = max(held, 1.0), max(PRIOR_RESERVE.high, min(held, PRIOR_RESERVE.high) * held)
    width = math.log(high / low) / math.log(PRIOR_RESERVE.high / PRIOR_RESERVE.low)
    return Evidence(0.5 * math.log(low * high), PRIOR.deviation * width)


def weigh(*sources: Evidence) -> Evidence:
    """Evidence of several sources together; sources that contradict each other widen it (Birge ratio)."""
    weights = [1.0 / max(source.deviation, 1e-6) ** 2 for source in sources]
    total = sum(weights)
    mean = sum(w * source.mean for w, source in zip(weights, sources, strict=True)) / total
    strain = sum(w * (source.mean - mean) ** 2 for w, source in zip(weights, sources, strict=True))
    birge = math.sqrt(max(1.0, strain / max(len(sources) - 1, 1)))
    return Evidence(mean, birge / math.sqrt(total))


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
