"""Where the regeneration's air and energy go: the purge averaged over the half-cycle, and what it costs.

Question: how much dried air does regeneration use, and what is that over a year? Input: screened log, cycle, plant.
Output: a `Purge`. Method: best evidence first (measured, choked orifice, nameplate, type default), the air lost at
each depressurisation on top, energy at the meter through the compressor's control.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.air.orifice import orifice_m3_min
from diagnostics.cycle.record import Cycle
from diagnostics.energy.compressor import Marginal, marginal_power
from diagnostics.energy.load import time_weights
from diagnostics.energy.record import Purge, PurgeEnergy, Step
from diagnostics.energy.tariff import price_per_kwh
from diagnostics.energy.uncertain import Uncertain, known, relative, uncertain
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import PURGE_SHARE, Plant

BED_VOID = {"activated_alumina": 0.39, "silica_gel": 0.385, "molecular_sieve": 0.375}
PARTICLE_VOID = {"activated_alumina": 0.50, "silica_gel": 0.45, "molecular_sieve": 0.35}
"""Middles of the usual ranges (from memory); total void = bed + (1 - bed) x particle."""
DISCHARGE = Estimate(0.8, 0.65, 0.95)
"""Discharge coefficient of a choked bore, from a sharp edge to a rounded one (common practice, no published source)."""
TYPE_RANGE = {
    "heatless": (0.10, 0.20),
    "heated_purge": (0.04, 0.10),
    "blower_purge": (0.0, 0.05),
    "vacuum_assisted": (0.0, 0.02),
    "heat_of_compression": (0.0, 0.02),
}


@dataclass(frozen=True, eq=False)
class _Air:
    """Average purge without depressurisation [m3/min], and how it was found."""

    basis: str
    average: Uncertain
    while_purging: Uncertain | None
    formula: str
    inputs: tuple[tuple[str, float | str, str], ...]
    source: str


def account_purge(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> Purge:
    """Average purge, its share and its energy.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    plant : Plant

    Returns
    -------
    Purge
        ``average_m3_min`` is None, with a note, where nothing tells the purge.
    """
    notes: list[str] = []
    line_bar = mean_pressure_bar(screened, plant)
    half_cycle_s = mean_half_cycle_s(cycle, plant)
    nameplate = _nameplate(plant, cycle, line_bar, half_cycle_s)
    air = _measured(screened) or _orifice(screened, plant, line_bar, half_cycle_s) or nameplate
    if air is None:
        note = "The purge cannot be told; give dryer.rated_flow_m3_min (and dryer.purge_share) or dryer.orifice_mm."
        return Purge("type_default", None, None, None, None, None, notes=(note,))
    vented = depressurisation_m3(screened, plant, line_bar)
    lost = None if vented is None else vented * (60.0 / half_cycle_s)
    if lost is None:
        notes.append("The vessels' volume is unknown; the air lost at each depressurisation is not counted.")
    average = air.average if lost is None else air.average + lost
    marginal = marginal_power(plant)
    power = regeneration_power(average, marginal, plant, half_cycle_s, notes)
    hours = plant.operation.hours_per_year
    energy = _energy(power, hours)
    price = price_per_kwh(plant)
    rated = plant.dryer.rated_flow_m3_min
    flow = mean_flow_m3_min(screened)
    if flow is None:
        notes.append("The flow is unknown, so the purge cannot be set against the air that enters.")
    return Purge(
        basis=air.basis,  # type: ignore[arg-type]
        average_m3_min=average.estimate(),
        share_of_rated=None if rated is None else (average / rated).estimate(),
        share_of_inlet=None if flow is None else (average / flow).estimate(),
        energy_kwh_per_year=energy,
        cost_per_year=None if price is None else energy.total.scaled(price),
        depressurisation_m3_min=None if lost is None else lost.estimate(),
        nameplate_m3_min=None if nameplate is None else (nameplate.average + (lost or 0.0)).estimate(),
        trace=_trace(air, average, lost, energy, hours, half_cycle_s, marginal),
        notes=tuple(notes) + marginal.notes,
        while_purging_m3_min=None if air.while_purging is None else air.while_purging.estimate(),
        half_cycle_s=half_cycle_s,
        kw_per_m3_min=marginal.kw_per_m3_min.estimate(),
        power_kw=energy.total.scaled(1.0 / hours),
        assumptions=marginal.assumptions,
    )


def mean_pressure_bar(screened: ScreenedLog, plant: Plant) -> float:
    """Line pressure averaged over the log [bar abs]; shut-down stretches left out."""
    pressure = screened.conditions.pressure_bar
    working = pressure[pressure > 1.5]
    return float(working.mean()) if working.size else plant.line_pressure_bar


def mean_flow_m3_min(screened: ScreenedLog) -> Uncertain | None:
    """Air entering the dryer, averaged over the log [m3/min]; None if unknown or nought."""
    flow = screened.conditions.flow_m3_min
    if flow is None or flow.size == 0:
        return None
    mean = float(np.average(flow, weights=time_weights(screened.log)))
    if mean <= 0.0:
        return None
    return relative("flow", mean, 0.05 if "flow" in screened.conditions.logged else 0.15)


def mean_half_cycle_s(cycle: Cycle, plant: Plant) -> float:
    """Mean length of the half-cycles [s]: from the log where resolved, else the nameplate's."""
    if not cycle.resolved or cycle.half_cycle_s is None:
        return plant.half_cycle_s
    complete = cycle.complete
    if cycle.control != "dew_point" or complete.empty:
        return cycle.half_cycle_s.value
    return float((complete["end_s"] - complete["start_s"]).mean())


def depressurisation_m3(screened: ScreenedLog, plant: Plant, line_bar: float) -> Uncertain | None:
    """Air lost when one vessel is vented, at 20 degC, 1 bar [m3]: volume x total void x pressure difference."""
    volume = plant.dryer.vessel_volume_m3
    if volume is None or plant.dryer.regeneration == "heat_of_compression":
        return known(0.0) if plant.dryer.regeneration == "heat_of_compression" else None
    given = plant.is_given("dryer.vessel_volume_m3")
    low_bar = regenerating_bar(plant)
    bed, particle = BED_VOID[plant.dryer.desiccant], PARTICLE_VOID[plant.dryer.desiccant]
    void = bed + (1.0 - bed) * particle
    temperature_k = air_temperature_c(screened, plant) + 273.15
    vented = volume * void * max(0.0, line_bar - low_bar) * 293.15 / temperature_k
    return relative("depressurisation", vented, 0.10 if given else 0.40)


def regenerating_bar(plant: Plant) -> float:
    """Pressure in the vessel that is purged [bar abs]."""
    return plant.site.barometric_pressure_bar + (plant.dryer.regenerating_pressure_bar_g or 0.0)


def air_temperature_c(screened: ScreenedLog, plant: Plant) -> float:
    """Temperature of the air in the vessels: the inlet's, else the rating's [degC]."""
    inlet = screened.conditions.inlet_temperature_c
    return plant.dryer.rated_inlet_temperature_c if inlet is None else float(np.mean(inlet))


def _measured(screened: ScreenedLog) -> _Air | None:
    channel = screened.log.channels.get("purge_flow")
    if channel is None or not np.isfinite(channel).any():
        return None
    valid = np.isfinite(channel)
    mean = float(np.average(np.maximum(channel[valid], 0.0), weights=time_weights(screened.log)[valid]))
    average = relative("purge meter", mean, 0.05) if mean > 0 else known(0.0)
    inputs = (("mean of purge_flow", mean, "log"),)
    return _Air("measured", average, None, "time mean of the logged purge flow", inputs, "measurement, ± 5 %")


def _orifice(screened: ScreenedLog, plant: Plant, line_bar: float, half_cycle_s: float) -> _Air | None:
    bore = plant.dryer.orifice_mm
    if bore is None:
        return None
    temperature = air_temperature_c(screened, plant)
    low_bar = min(regenerating_bar(plant), line_bar)
    flow = orifice_m3_min(bore, line_bar, low_bar, temperature, discharge_coefficient=DISCHARGE.value)
    through = uncertain("orifice", DISCHARGE.scaled(flow / DISCHARGE.value))
    share = _purge_time_share(plant, half_cycle_s)
    inputs = (
        ("bore [mm]", bore, "plant file"),
        ("line pressure [bar abs]", line_bar, "log or plant file"),
        ("air temperature [°C]", temperature, "log or plant file"),
        ("discharge coefficient", DISCHARGE.value, "assumed"),
        ("share of the half-cycle that is purged", share, "plant file or assumed"),
    )
    formula = "A Cd C* p / √(R T), brought to 20 °C and 1 bar, × purge time / half-cycle"
    return _Air("orifice", through * share, through, formula, inputs, "ISO 9300, ideal-gas form")


def _purge_time_share(plant: Plant, half_cycle_s: float) -> float:
    purge_s = plant.dryer.purge_s
    assert purge_s is not None
    return min(1.0, purge_s / half_cycle_s)


def _nameplate(plant: Plant, cycle: Cycle, line_bar: float, half_cycle_s: float) -> _Air | None:
    dryer = plant.dryer
    rated, share = dryer.rated_flow_m3_min, dryer.purge_share
    if rated is None or share is None:
        return None
    given = plant.is_given("dryer.purge_share")
    kind = dryer.regeneration
    if given:
        stated = relative("nameplate purge", share, 0.10) if share > 0 else known(0.0)
    else:
        low, high = TYPE_RANGE[kind]
        stated = uncertain("type purge", Estimate(PURGE_SHARE[kind], low, high))
    flow = stated * (rated * line_bar / plant.rated_pressure_bar)
    while_purging = None
    if dryer.purge_share_means == "while_purging":
        while_purging, average = flow, flow * _purge_time_share(plant, half_cycle_s)
    else:
        # Under dew-point control one regeneration uses the same air, however long the half-cycle lasts.
        stretch = plant.half_cycle_s / half_cycle_s if cycle.control == "dew_point" else 1.0
        average = flow * stretch
    inputs: tuple[tuple[str, float | str, str], ...] = (
        ("rated flow [m³/min]", rated, "plant file"),
        ("purge share of rated flow", share, "plant file" if given else "assumed"),
        ("line pressure [bar abs]", line_bar, "log or plant file"),
        ("rated pressure [bar abs]", plant.rated_pressure_bar, "plant file or assumed"),
        ("half-cycle [s]", half_cycle_s, "log" if cycle.resolved else "plant file or assumed"),
    )
    formula = "share × rated flow × line pressure / rated pressure, × purge time / half-cycle if stated while purging"
    source = "nameplate; orifice flow is proportional to absolute pressure"
    return _Air("nameplate" if given else "type_default", average, while_purging, formula, inputs, source)


def regeneration_power(
    average: Uncertain, marginal: Marginal, plant: Plant, half_cycle_s: float, notes: list[str]
) -> dict[str, Uncertain]:
    """Mean power of regeneration at the meter [kW]: air, heater, blower."""
    dryer = plant.dryer
    power = {"air": average * marginal.kw_per_m3_min, "heater": known(0.0), "blower": known(0.0)}
    for name, kw, seconds in (
        ("heater", dryer.heater_kw, dryer.heater_s),
        ("blower", dryer.blower_kw, dryer.blower_s),
    ):
        if kw and seconds:
            power[name] = relative(name, kw * min(1.0, seconds / half_cycle_s), 0.10)
        elif kw is None and _needs(name, dryer.regeneration):
            notes.append(f"The {name}'s power is not given (dryer.{name}_kw); its energy is left out.")
    return power


def _needs(part: str, regeneration: str) -> bool:
    heated = regeneration in ("heated_purge", "blower_purge", "vacuum_assisted")
    return heated if part == "heater" else regeneration in ("blower_purge", "vacuum_assisted")


def _energy(power: dict[str, Uncertain], hours: float) -> PurgeEnergy:
    total = (power["air"] + power["heater"] + power["blower"]) * hours
    return PurgeEnergy(total.estimate(), *(power[name].value * hours for name in ("air", "heater", "blower")))


def _trace(
    air: _Air,
    average: Uncertain,
    lost: Uncertain | None,
    energy: PurgeEnergy,
    hours: float,
    half_cycle_s: float,
    marginal: Marginal,
) -> tuple[Step, ...]:
    steps = [
        Step(f"purge.{air.basis}_m3_min", air.average.value, "m³/min", air.formula, air.inputs, air.source),
    ]
    if lost is not None:
        inputs = (("air lost per switchover [m³]", lost.value * half_cycle_s / 60.0, "computed"),)
        steps.append(
            Step(
                "purge.depressurisation_m3_min",
                lost.value,
                "m³/min",
                "vessel volume × total void × pressure difference × 293.15 / T / half-cycle",
                inputs,
                "ideal gas; voids from memory",
            )
        )
    parts = (("purge", air.average.value, "computed"), ("depressurisation", lost.value if lost else 0.0, "computed"))
    steps.append(Step("purge.average_m3_min", average.value, "m³/min", "purge + depressurisation", parts, "balance"))
    steps.append(
        Step(
            "purge.energy_kwh_per_year",
            energy.total.value,
            "kWh",
            "(average purge × kW per m³/min + heater + blower) × hours",
            (
                ("average purge [m³/min]", average.value, "computed"),
                ("kW per m³/min at the meter", marginal.kw_per_m3_min.value, "computed"),
                ("hours", hours, "plant file or assumed"),
                ("heater [kWh]", energy.heater, "computed"),
                ("blower [kWh]", energy.blower, "computed"),
            ),
            "part-load slope of the compressor's control",
        )
    )
    return tuple(steps)
