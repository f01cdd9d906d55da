"""What tells the purge: a flow meter, the bore of the orifice, the nameplate, or the type of dryer.

Question: how much air flows through the regenerating tower, averaged over the half-cycle? Output: a `PurgeAir` per kind
of evidence, and the air lost when a vessel is vented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from diagnostics.air.orifice import orifice_m3_min
from diagnostics.cycle.record import Cycle
from diagnostics.energy.heat import total_void
from diagnostics.energy.load import time_weights
from diagnostics.energy.uncertain import Uncertain, known, relative, uncertain
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import PURGE_SHARE, Assumption, Plant

DISCHARGE = Estimate(0.8, 0.65, 0.95)
"""Discharge coefficient of a choked bore, from a sharp edge to a rounded one (common practice, no published source)."""
TYPE_RANGE = {
    "heatless": (0.10, 0.20),
    "heated_purge": (0.04, 0.10),
    "blower_purge": (0.0, 0.05),
    "vacuum_assisted": (0.0, 0.02),
    "heat_of_compression": (0.0, 0.02),
}
"""95 % range of the purge share where nobody gave one (published shares of 15 to 20 % heatless, half of that heated;
the rest common practice, no published source)."""
_NAMEPLATE_SHARE, _METER_SHARE = 0.10, 0.05
_VENT_GIVEN_SHARE, _VENT_ASSUMED_SHARE = 0.20, 0.45
"""How well a vented volume is known: void and free heads; and with the vessel itself assumed."""


@dataclass(frozen=True, eq=False)
class PurgeAir:
    """Purge without depressurisation [m3/min]: average over the half-cycle and while the purge is open."""

    basis: Literal["measured", "orifice", "nameplate", "type_default"]
    average: Uncertain
    while_purging: Uncertain
    formula: str
    inputs: tuple[tuple[str, float | str, str], ...]
    source: str
    notes: tuple[str, ...] = ()
    assumptions: tuple[Assumption, ...] = ()


def measured(screened: ScreenedLog) -> PurgeAir | None:
    """Purge from a logged purge flow; None without one.

    Parameters
    ----------
    screened : ScreenedLog

    Returns
    -------
    PurgeAir or None
    """
    channel = screened.log.channels.get("purge_flow")
    if channel is None or not np.isfinite(channel).any():
        return None
    valid = np.isfinite(channel)
    flow = np.maximum(channel[valid], 0.0)
    mean = float(np.average(flow, weights=time_weights(screened.log)[valid]))
    opened = flow[flow > 0.5 * np.percentile(flow, 95)]
    average = relative("purge meter", mean, _METER_SHARE)
    while_purging = relative("purge meter", float(opened.mean()) if opened.size else 0.0, _METER_SHARE)
    inputs = (("mean of the logged purge flow [m³/min]", mean, "log"),)
    note = "The purge flow was logged; the air lost at depressurisation does not pass that meter and is added."
    formula = "time mean of the logged purge flow"
    return PurgeAir("measured", average, while_purging, formula, inputs, "meter taken as ± 5 %", (note,))


def from_orifice(screened: ScreenedLog, plant: Plant, line_bar: float, half_cycle_s: float) -> PurgeAir | None:
    """Purge from the bore of the orifice; None if it is not given.

    Parameters
    ----------
    screened : ScreenedLog
    plant : Plant
    line_bar : float
        Line pressure [bar abs].
    half_cycle_s : float
        Mean half-cycle the purge time is spread over [s].

    Returns
    -------
    PurgeAir or None
    """
    bore = plant.dryer.orifice_mm
    if bore is None:
        return None
    temperature = air_temperature_c(screened, plant)
    low_bar = min(regenerating_bar(plant), line_bar)
    flow = orifice_m3_min(bore, line_bar, low_bar, temperature, discharge_coefficient=DISCHARGE.value)
    through = uncertain("orifice", DISCHARGE.scaled(flow / DISCHARGE.value))
    share = purge_time_share(plant, half_cycle_s)
    inputs = (
        ("bore [mm]", bore, "plant file"),
        ("line pressure [bar abs]", line_bar, "log or plant file"),
        ("air temperature [°C]", temperature, "log or plant file"),
        ("discharge coefficient", DISCHARGE.value, "assumed"),
        ("share of the half-cycle that is purged", share, "plant file or assumed"),
    )
    formula = "A Cd C* p / √(R T), brought to 20 °C and 1 bar, × purge time / half-cycle"
    note = "The purge follows from the orifice's bore; behind a regulator or a throttled valve it is less."
    why = "0.65 of a sharp edge to 0.95 of a rounded one; common practice, no published source"
    taken = (Assumption("orifice.discharge_coefficient", DISCHARGE.value, why),)
    return PurgeAir("orifice", through * share, through, formula, inputs, "ISO 9300, ideal-gas form", (note,), taken)


def from_nameplate(plant: Plant, cycle: Cycle, line_bar: float, half_cycle_s: float) -> PurgeAir | None:
    """Purge from the stated or usual share of rated flow at rated pressure; None without a rated flow.

    Parameters
    ----------
    plant : Plant
    cycle : Cycle
        Its control tells whether the air or the share belongs to one regeneration.
    line_bar : float
        Line pressure [bar abs].
    half_cycle_s : float
        Mean half-cycle [s].

    Returns
    -------
    PurgeAir or None
        ``share x rated flow x line pressure / rated pressure`` [m3/min].
    """
    dryer = plant.dryer
    rated, share = dryer.rated_flow_m3_min, dryer.purge_share
    if rated is None or share is None:
        return None
    given = plant.is_given("dryer.purge_share")
    if given:
        stated = relative("nameplate purge", share, _NAMEPLATE_SHARE)
    else:
        low, high = TYPE_RANGE[dryer.regeneration]
        stated = uncertain("type purge", Estimate(PURGE_SHARE[dryer.regeneration], low, high))
    flow = stated * (rated * line_bar / plant.rated_pressure_bar)
    open_share = purge_time_share(plant, half_cycle_s)
    if dryer.purge_share_means == "while_purging":
        while_purging, average = flow, flow * open_share
    else:
        average = flow * _same_air_per_regeneration(plant, cycle, half_cycle_s)
        while_purging = average / open_share
    inputs: tuple[tuple[str, float | str, str], ...] = (
        ("rated flow [m³/min]", rated, "plant file"),
        ("purge share of rated flow", share, "plant file" if given else "assumed"),
        ("line pressure [bar abs]", line_bar, "log or plant file"),
        ("rated pressure [bar abs]", plant.rated_pressure_bar, "plant file or assumed"),
        ("half-cycle [s]", half_cycle_s, "log" if cycle.resolved else "plant file or assumed"),
    )
    formula = "share × rated flow × line pressure / rated pressure, × purge time / half-cycle if stated while purging"
    source = "nameplate; flow through an orifice is proportional to absolute pressure"
    notes = () if given else ("The purge share is not given; it is the usual one of the type, with a wide interval.",)
    basis: Literal["nameplate", "type_default"] = "nameplate" if given else "type_default"
    return PurgeAir(basis, average, while_purging, formula, inputs, source, notes)


def vented_m3(screened: ScreenedLog, plant: Plant, line_bar: float) -> Uncertain | None:
    """Air lost when one vessel is vented, at 20 degC, 1 bar [m3]: volume x total void x pressure difference.

    None where the vessel's volume is unknown; nought for heat of compression, which regenerates at line pressure.

    Parameters
    ----------
    screened : ScreenedLog
    plant : Plant
    line_bar : float
        Line pressure [bar abs].

    Returns
    -------
    Uncertain or None
        [m3 at 20 degC, 1 bar]
    """
    if plant.dryer.regeneration == "heat_of_compression":
        return known(0.0)
    volume = plant.dryer.vessel_volume_m3
    if volume is None:
        return None
    given = plant.is_given("dryer.vessel_volume_m3")
    drop_bar = max(0.0, line_bar - regenerating_bar(plant))
    vented = vented_air_m3(volume, total_void(plant.dryer.desiccant), drop_bar, air_temperature_c(screened, plant))
    return relative("vented air", vented, _VENT_GIVEN_SHARE if given else _VENT_ASSUMED_SHARE)


def vented_air_m3(volume_m3: float, void: float, drop_bar: float, temperature_c: float) -> float:
    """Air that leaves a vessel when its pressure drops, isothermal ideal gas, no desorbed air.

    Parameters
    ----------
    volume_m3 : float
        Of the vessel [m3].
    void : float
        Total void of bed and pores [-].
    drop_bar : float
        Pressure difference [bar].
    temperature_c : float
        Of the gas [degC].

    Returns
    -------
    float
        At 20 degC, 1 bar absolute [m3].
    """
    return volume_m3 * void * drop_bar * 293.15 / (temperature_c + 273.15)


def regenerating_bar(plant: Plant) -> float:
    """Pressure in the vessel that is purged [bar abs]."""
    gauge = plant.dryer.regenerating_pressure_bar_g
    return max(0.01, plant.site.barometric_pressure_bar + (0.0 if gauge is None else gauge))


def air_temperature_c(screened: ScreenedLog, plant: Plant) -> float:
    """Temperature of the air in the vessels: the inlet's, else the rating's [degC]."""
    inlet = screened.conditions.inlet_temperature_c
    return plant.dryer.rated_inlet_temperature_c if inlet is None or not inlet.size else float(np.mean(inlet))


def purge_time_share(plant: Plant, half_cycle_s: float) -> float:
    """Part of the half-cycle in which the purge is open [-]."""
    purge_s = plant.dryer.purge_s
    assert purge_s is not None
    return min(1.0, purge_s / half_cycle_s)


def _same_air_per_regeneration(plant: Plant, cycle: Cycle, half_cycle_s: float) -> Uncertain:
    """Factor from the average at the nameplate's half-cycle to that at today's [-].

    Under dew-point control one regeneration uses the same air however long the half-cycle lasts. Where a timer runs at
    another setting than the nameplate's, both readings of "average" are held possible.
    """
    stretch = plant.half_cycle_s / half_cycle_s
    if cycle.control == "dew_point":
        return known(stretch)
    return uncertain("timer setting", Estimate.ordered(1.0, 1.0, stretch))
