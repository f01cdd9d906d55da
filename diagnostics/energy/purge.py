"""Where the regeneration's air and energy go: the purge averaged over the half-cycle, and what it costs.

Question: how much dried air does regeneration use, and what is that over a year? Input: screened log, cycle, plant.
Output: a `Purge`. Method: best evidence first (see `evidence`), the air lost at each depressurisation on top, energy at
the meter through the compressor's control.
"""

from __future__ import annotations

from diagnostics.cycle.record import Cycle
from diagnostics.energy.balance import least_purge_m3_min
from diagnostics.energy.compressor import Marginal, marginal_power
from diagnostics.energy.evidence import (
    PurgeAir,
    from_nameplate,
    from_orifice,
    measured,
    vented_m3,
)
from diagnostics.energy.load import WORKING_BAR, mean_flow_m3_min, with_known_flow
from diagnostics.energy.record import Purge, PurgeEnergy, Step
from diagnostics.energy.tariff import price_per_kwh
from diagnostics.energy.uncertain import Uncertain, known, relative
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.moment import say_duration, say_time
from diagnostics.plant import Plant

_VENT_SOURCE = "ideal gas; voids from memory"
SILENCER_BAR_G = 0.3
"""Pressure in the purged vessel above which silencer or exhaust are taken as clogged (common practice)."""


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
    screened, flow_notes = with_known_flow(screened, plant)
    line_bar, half_cycle_s = mean_pressure_bar(screened, plant), mean_half_cycle_s(cycle, plant)
    nameplate = from_nameplate(plant, cycle, line_bar, half_cycle_s)
    air = measured(screened) or from_orifice(screened, plant, line_bar, half_cycle_s) or nameplate
    if air is None:
        note = "The purge cannot be told; give dryer.rated_flow_m3_min (and dryer.purge_share) or dryer.orifice_mm."
        return Purge("type_default", None, None, None, None, None, notes=(note, *flow_notes))
    vented = vented_m3(screened, plant, line_bar)
    lost = known(0.0) if vented is None else vented * (60.0 / half_cycle_s)
    average = air.average + lost
    marginal = marginal_power(plant, screened, average.value)
    power = regeneration_power(average, marginal, plant, half_cycle_s)
    hours = plant.operation.hours_per_year
    total = (power["air"] + power["heater"] + power["blower"]) * hours
    energy = PurgeEnergy(total.estimate(), *(power[part].value * hours for part in ("air", "heater", "blower")))
    price = price_per_kwh(plant)
    rated, flow = plant.dryer.rated_flow_m3_min, mean_flow_m3_min(screened)
    share_of_inlet, inlet_notes = _share_of_inlet(average, flow)
    return Purge(
        basis=air.basis,
        average_m3_min=average.estimate(),
        share_of_rated=None if rated is None else (average / rated).estimate(),
        share_of_inlet=share_of_inlet,
        energy_kwh_per_year=energy,
        cost_per_year=None if price is None else energy.total.scaled(price),
        depressurisation_m3_min=None if vented is None else lost.estimate(),
        nameplate_m3_min=None if nameplate is None else (nameplate.average + lost).estimate(),
        trace=_trace(air, average, lost, energy, hours, half_cycle_s, marginal, price, plant.economics.currency)
        + _trace_shares(average, rated, flow),
        notes=_notes(air, vented, plant, cycle, half_cycle_s)
        + _after_stop(air, screened, cycle)
        + marginal.notes
        + flow_notes
        + inlet_notes,
        excess_share=_excess(air, nameplate, lost),
        while_purging_m3_min=air.while_purging.estimate(),
        least_m3_min=least_purge_m3_min(plant, line_bar),
        half_cycle_s=half_cycle_s,
        kw_per_m3_min=marginal.kw_per_m3_min.estimate(),
        power_kw=energy.total.scaled(1.0 / hours),
        assumptions=air.assumptions + marginal.assumptions,
    )


def mean_pressure_bar(screened: ScreenedLog, plant: Plant) -> float:
    """Line pressure averaged over the log [bar abs]; shut-down stretches left out."""
    pressure = screened.conditions.pressure_bar
    working = pressure[pressure > WORKING_BAR]
    return float(working.mean()) if working.size else plant.line_pressure_bar


def mean_half_cycle_s(cycle: Cycle, plant: Plant) -> float:
    """Mean length of the half-cycles [s]: from the log where resolved, else the nameplate's.

    Parameters
    ----------
    cycle : Cycle
    plant : Plant

    Returns
    -------
    float
        The median of a timer, the mean where lengths vary [s].
    """
    if not cycle.resolved or cycle.half_cycle_s is None:
        return plant.half_cycle_s
    complete = cycle.complete
    # A timer's median is its setting; where lengths vary, regenerations are time over the mean.
    varies = cycle.control == "dew_point" or cycle.counted_in == "running_time"
    if not varies or complete.empty:
        return cycle.half_cycle_s.value
    return float((complete["end_s"] - complete["start_s"]).mean())


def regeneration_power(
    average: Uncertain, marginal: Marginal, plant: Plant, half_cycle_s: float
) -> dict[str, Uncertain]:
    """Mean power of regeneration at the meter [kW]: ``air``, ``heater``, ``blower``.

    Parameters
    ----------
    average : Uncertain
        Average purge [m3/min].
    marginal : Marginal
    plant : Plant
    half_cycle_s : float
        Mean half-cycle that heating and blowing times are spread over [s].

    Returns
    -------
    dict of str to Uncertain
        [kW]
    """
    dryer = plant.dryer
    power = {"air": average * marginal.kw_per_m3_min, "heater": known(0.0), "blower": known(0.0)}
    for name, kw, seconds in (
        ("heater", dryer.heater_kw, dryer.heater_s),
        ("blower", dryer.blower_kw, dryer.blower_s),
    ):
        if kw and seconds:
            power[name] = relative(name, kw * min(1.0, seconds / half_cycle_s), 0.10)
    return power


def _share_of_inlet(average: Uncertain, flow: Uncertain | None) -> tuple[Estimate | None, tuple[str, ...]]:
    if flow is None:
        return None, ()
    share = average / flow
    if share.value > 1.0:
        return None, ("More purge than air entering the dryer: flow and purge contradict each other; check both.",)
    return share.estimate(), ()


def _excess(air: PurgeAir, nameplate: PurgeAir | None, lost: Uncertain) -> Estimate | None:
    """Purge against a given nameplate's, less 1; None unless it was measured or reckoned from the bore."""
    if air.basis not in ("measured", "orifice") or nameplate is None or nameplate.basis != "nameplate":
        return None
    stated = nameplate.average + lost
    return ((air.average + lost) / stated - 1.0).estimate() if stated.value > 0.0 else None


def _notes(air: PurgeAir, vented: Uncertain | None, plant: Plant, cycle: Cycle, half_cycle_s: float) -> tuple[str, ...]:
    dryer = plant.dryer
    notes = list(air.notes)
    if vented is None:
        notes.append("The vessels' volume is unknown; the air lost at each depressurisation is not counted.")
    if not cycle.resolved:
        notes.append(
            f"No half-cycles were found; the purge is averaged over the nameplate's {say_duration(half_cycle_s)}."
        )
    gauge = dryer.regenerating_pressure_bar_g
    if gauge is not None and gauge > SILENCER_BAR_G:
        notes.append(
            f"The purged vessel stands at {gauge:g} bar g: the silencer or exhaust holds pressure, so the same air"
            " carries off less water."
        )
    blown = ("blower_purge", "vacuum_assisted")
    for part, kinds in (("heater", ("heated_purge", *blown)), ("blower", blown)):
        if dryer.regeneration in kinds and getattr(dryer, f"{part}_kw") is None:
            notes.append(f"The {part}'s power is not given (dryer.{part}_kw); its energy is left out.")
    return tuple(notes)


def _after_stop(air: PurgeAir, screened: ScreenedLog, cycle: Cycle) -> tuple[str, ...]:
    """What the log leaves open once the towers no longer change over."""
    if cycle.stopped_s is None or air.basis == "measured":
        return ()
    log = screened.log
    since = say_time(cycle.stopped_s, log.timezone)
    before = (cycle.stopped_s - log.time_s[0]) / max(log.time_s[-1] - log.time_s[0], 1.0)
    shut = air.average.value * min(max(before, 0.0), 1.0)
    return (
        f"The last switchover was at {since}; the purge told here is that of the dryer as it switched. Whether the"
        f" purge valve has stood open or shut since then the log does not show: open, {air.while_purging.value:.2f}"
        f" m³/min flow without a break; shut, the log's average is {shut:.2f} m³/min. Look or listen at the silencer.",
    )


def _trace_shares(average: Uncertain, rated: float | None, flow: Uncertain | None) -> tuple[Step, ...]:
    steps = []
    for key, whole, origin in (
        ("share_of_rated", rated, "plant file"),
        ("share_of_inlet", None if flow is None else flow.value, "log or plant file"),
    ):
        if whole is not None and average.value <= whole:
            inputs = (("average purge [m³/min]", average.value, "computed"), ("flow [m³/min]", whole, origin))
            steps.append(Step(f"purge.{key}", average.value / whole, "-", "average purge / flow", inputs, "ratio"))
    return tuple(steps)


def _trace(
    air: PurgeAir,
    average: Uncertain,
    lost: Uncertain,
    energy: PurgeEnergy,
    hours: float,
    half_cycle_s: float,
    marginal: Marginal,
    price: float | None,
    currency: str,
) -> tuple[Step, ...]:
    vented = (("air lost per switchover [m³]", lost.value * half_cycle_s / 60.0, "computed"),)
    vent_formula = "vessel volume × total void × pressure difference × 293.15 K / T / half-cycle"
    parts = (("purge [m³/min]", air.average.value, "computed"), ("depressurisation [m³/min]", lost.value, "computed"))
    inputs = (
        ("average purge [m³/min]", average.value, "computed"),
        ("power per saved air [kW per m³/min]", marginal.kw_per_m3_min.value, "computed"),
        ("hours", hours, "plant file or assumed"),
        ("heater [kWh]", energy.heater, "computed"),
        ("blower [kWh]", energy.blower, "computed"),
    )
    marginal_key, meter = "purge.kw_per_m3_min", "average purge × power per saved air × hours + heater + blower"
    steps = [
        Step(f"purge.average_m3_min.{air.basis}", air.average.value, "m³/min", air.formula, air.inputs, air.source),
        Step("purge.depressurisation_m3_min", lost.value, "m³/min", vent_formula, vented, _VENT_SOURCE),
        Step("purge.average_m3_min", average.value, "m³/min", "purge + depressurisation", parts, "mass balance"),
        Step(
            marginal_key,
            marginal.kw_per_m3_min.value,
            "kW per m³/min",
            marginal.formula,
            marginal.inputs,
            f"part-load behaviour of the compressor ({marginal.basis})",
        ),
        Step("purge.energy_kwh_per_year", energy.total.value, "kWh", meter, inputs, "energy at the meter"),
    ]
    held = (("purge [m³/min]", air.average.value, "computed"),)
    steps.append(
        Step(
            "purge.while_purging_m3_min",
            air.while_purging.value,
            "m³/min",
            "purge / share of the time",
            held,
            air.source,
        )
    )
    if price is not None:
        priced = (("energy [kWh]", energy.total.value, "computed"), ("price per kWh", price, "plant file"))
        cost = energy.total.value * price
        steps.append(Step("purge.cost_per_year", cost, currency, "energy × price", priced, "tariff"))
    return tuple(steps)
