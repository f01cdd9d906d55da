"""From regenerations avoided to air, kilowatt-hours, money and carbon dioxide over a year.

Question: what is a saved share of the regenerations worth? Input: purge, plant, saved share. Output: `YearSaving`.
Method: share x mean power of each part; heating that ends on the exhaust's temperature saves only bed and steel, since
the same water has to be driven off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.energy.compressor import Marginal, marginal_power
from diagnostics.energy.heat import solid_share
from diagnostics.energy.purge import regeneration_power
from diagnostics.energy.record import Purge
from diagnostics.energy.uncertain import Uncertain, known, relative, uncertain
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant


@dataclass(frozen=True, eq=False)
class YearSaving:
    """What a year of switching on dew point saves: air [m3/min], power [kW], energy [kWh]; and its inputs."""

    air: Uncertain
    power: Uncertain
    energy: Uncertain
    marginal: Marginal
    heater_share: Uncertain


def save_over_year(
    saved: Uncertain, purge: Purge, plant: Plant, screened: ScreenedLog, today_s: float
) -> YearSaving | None:
    """Saving over the year.

    Parameters
    ----------
    saved : Uncertain
        Share of the regenerations avoided over the year [-].
    purge : Purge
    plant : Plant
    screened : ScreenedLog
    today_s : float
        Today's half-cycle [s].

    Returns
    -------
    YearSaving or None
        None where the purge is unknown.
    """
    if purge.average_m3_min is None:
        return None
    average = uncertain("purge", purge.average_m3_min)
    air = average * saved
    marginal = marginal_power(plant, screened, air.value or None)
    parts = regeneration_power(average, marginal, plant, today_s)
    heater_share = heat_saved_per_regeneration(plant, screened, today_s)
    blower_share = _blower_saved(plant, heater_share)
    power = (parts["air"] + parts["heater"] * heater_share + parts["blower"] * blower_share) * saved
    return YearSaving(air, power, power * plant.operation.hours_per_year, marginal, heater_share)


def heat_saved_per_regeneration(plant: Plant, screened: ScreenedLog, today_s: float) -> Uncertain:
    """Share of a regeneration's heat that is saved when one is avoided and the next drives off its water too [-].

    Parameters
    ----------
    plant : Plant
    screened : ScreenedLog
    today_s : float
        Today's half-cycle, over which the water is taken up [s].

    Returns
    -------
    Uncertain
        1 where heating ends by time; bed and steel's share where it ends on the exhaust's temperature [-].
    """
    dryer = plant.dryer
    if dryer.heating_ends_by == "time" or not dryer.heater_kw:
        return known(1.0)
    load = screened.conditions.moisture_load_g_min
    if load is None or dryer.desiccant_mass_kg is None:
        return uncertain("solid heat", Estimate(0.45, 0.25, 0.8))
    water_kg = float(np.mean(load)) * today_s / 60.0 / 1000.0
    share = solid_share(dryer.desiccant_mass_kg, water_kg, dryer.desiccant)
    return relative("solid heat", share, 0.20).map(lambda s: np.minimum(s, 1.0))


def _blower_saved(plant: Plant, heater_share: Uncertain) -> Uncertain:
    """The blower runs on while the heater drives off water; its cooling time goes with the regeneration."""
    dryer = plant.dryer
    if dryer.heating_ends_by == "time" or not dryer.blower_s or not dryer.heater_s:
        return known(1.0)
    heating = min(1.0, dryer.heater_s / dryer.blower_s)
    return heater_share * heating + (1.0 - heating)
