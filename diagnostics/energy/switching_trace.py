"""How the switching figures came about, and which input moves them most."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from diagnostics.energy.extension import saved_share
from diagnostics.energy.record import Purge, Step, SwitchingFigures
from diagnostics.energy.uncertain import Uncertain, known
from diagnostics.plant import Plant

if TYPE_CHECKING:
    from diagnostics.energy.saving import YearSaving
    from diagnostics.energy.switching import Case


def drivers_of(
    case: Case, purge: Purge, plant: Plant, saving: YearSaving | None
) -> tuple[tuple[str, float, float], ...]:
    """Energy saved a year [kWh] with one input at its low and its high end, the others at their central value.

    Parameters
    ----------
    case : Case
    purge : Purge
    plant : Plant
    saving : YearSaving or None

    Returns
    -------
    tuple of (str, float, float)
        The most telling first; empty where nothing is saved.
    """
    if saving is None or saving.energy.value <= 0.0 or purge.average_m3_min is None:
        return ()
    whole, air_kwh = saving.energy.value, saving.air.value * saving.marginal.kw_per_m3_min.value
    air_kwh *= plant.operation.hours_per_year
    central = _share(case, case.held_s.value, 1.0)
    held, scale = case.held_s.estimate(), case.year.scale.estimate()
    purge_air, per_air = purge.average_m3_min, saving.marginal.kw_per_m3_min.estimate()

    def by_share(share: float) -> float:
        return whole * share / central if central > 0.0 else 0.0

    def by_air(factor: float) -> float:
        return whole + air_kwh * (factor - 1.0)

    low_share, high_share = _share(case, held.value, scale.high), _share(case, held.value, scale.low)
    ends = [
        ("what the bed holds", by_share(_share(case, held.low, 1.0)), by_share(_share(case, held.high, 1.0))),
        ("load over the year", by_share(low_share), by_share(high_share)),
    ]
    for name, factor in (("average purge", purge_air), ("power per saved air", per_air)):
        if factor.value > 0.0:
            ends.append((name, by_air(factor.low / factor.value), by_air(factor.high / factor.value)))
    return tuple(sorted(ends, key=lambda item: abs(item[2] - item[1]), reverse=True))


def _share(case: Case, held_s: float, scale: float) -> float:
    return saved_share(known(held_s / scale), case.year.pattern, case.bounds).value


def already_step(share: float, mean_s: float, plant: Plant) -> Step:
    """Step behind what a dryer under dew-point control saves against its timer."""
    origin = "plant file" if plant.is_given("dryer.half_cycle_s") else "assumed"
    inputs = (("timer's half-cycle [s]", plant.half_cycle_s, origin), ("mean half-cycle [s]", mean_s, "log"))
    formula = "1 − timer's half-cycle / mean half-cycle"
    return Step("switching.already_saved_share", share, "-", formula, inputs, "regenerations are time over half-cycle")


def trace_of(
    case: Case, figures: SwitchingFigures, saving: YearSaving | None, price: float | None, plant: Plant
) -> tuple[Step, ...]:
    """Steps behind the switching figures."""
    share, half_cycle = figures.regenerations_saved_share, figures.half_cycle_s
    assert share is not None
    assert half_cycle is not None
    bounds = case.bounds
    load = "actual volume flow over its rating" if not plant.heated else "moisture load over its rating"
    steps = [
        Step(
            "switching.half_cycle_s",
            half_cycle.value,
            "s",
            "harmonic mean over the log's time of: held at rated load / load ratio + detection, between shortest and"
            " longest",
            (
                ("held at rated load [s]", case.held_s.value, "computed"),
                (f"mean load ratio ({load})", case.of_log.mean, "log or plant file"),
                ("mean delay of detection [s]", bounds.detection_s, "assumed"),
                ("shortest [s]", bounds.shortest_s, "plant file or today's timer"),
                ("longest [s]", bounds.longest_s, "plant file or assumed"),
            ),
            "reserve from the margin; heatless by purge balance in actual volume, heated by moisture",
        ),
        Step(
            "switching.regenerations_saved_share",
            share.value,
            "-",
            "1 − today's half-cycle / mean half-cycle",
            (
                ("today's half-cycle [s]", bounds.today_s, "log or plant file"),
                ("mean half-cycle [s]", half_cycle.value, "computed"),
            ),
            "regenerations are time over half-cycle",
        ),
    ]
    uncapped = saved_share(case.held_s, case.of_log, replace(bounds, longest_s=1e9)).value
    without = (("held at rated load [s]", case.held_s.value, "computed"), ("today [s]", bounds.today_s, "log"))
    formula = "as the share saved, with no longest half-cycle in the way"
    steps.append(
        Step(
            "switching.uncapped_saved_share", uncapped, "-", formula, without, "regenerations are time over half-cycle"
        )
    )
    return tuple(steps) if saving is None else tuple(steps + _worth(case, figures, saving, price, plant))


def _worth(case: Case, figures: SwitchingFigures, saving: YearSaving, price: float | None, plant: Plant) -> list[Step]:
    year_share: Uncertain = saved_share(case.held_s, case.year.pattern, case.bounds)
    air, energy = saving.air.value, saving.energy.value
    per_air = saving.marginal.kw_per_m3_min.value
    other = saving.power.value - air * per_air
    other = other if other > 1e-9 * saving.power.value else 0.0
    air_inputs = (
        ("average purge [m³/min]", air / year_share.value if year_share.value > 0 else 0.0, "computed"),
        (f"share saved over the year ({case.year.source})", year_share.value, "computed"),
    )
    energy_inputs = (
        ("air saved [m³/min]", air, "computed"),
        ("power per saved air [kW per m³/min]", per_air, "computed"),
        ("heater and blower saved [kW]", other, "computed"),
        ("hours", plant.operation.hours_per_year, "plant file or assumed"),
    )
    meter = "part-load behaviour of the compressor"
    formula = "(air saved × power per saved air + heater and blower saved) × hours"
    steps = [
        Step("switching.purge_saved_m3_min", air, "m³/min", "average purge × share saved", air_inputs, "purge balance"),
        Step("switching.energy_saved_kwh_per_year", energy, "kWh", formula, energy_inputs, meter),
    ]
    if price is not None and figures.cost_saved_per_year is not None:
        priced = (("energy saved [kWh]", energy, "computed"), ("price at those hours", price, "plant file"))
        cost = figures.cost_saved_per_year.value
        steps.append(
            Step("switching.cost_saved_per_year", cost, plant.economics.currency, "energy × price", priced, "tariff")
        )
    factor = plant.economics.co2_kg_per_kwh
    if factor is not None:
        emitted = (("energy saved [kWh]", energy, "computed"), ("kg per kWh", factor, "plant file"))
        steps.append(
            Step("switching.co2_saved_kg_per_year", energy * factor, "kg", "energy × factor", emitted, "user's factor")
        )
    return steps
