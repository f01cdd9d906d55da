"""What switching on dew point instead of by timer would save, over the log and over the year.

Question: how long could the half-cycles last, how many regenerations go, what is that worth? Input: cycle,
breakthrough, purge, plant. Output: a `Switching`. Method: the bed holds reserve x nameplate half-cycle at rated load;
`extension` turns that into half-cycles over the log's load, `year` and `saving` into a year's energy. Every input's
interval is carried through.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.air.uncertainty import probe_standard_uncertainty_k
from diagnostics.bed.record import Breakthrough
from diagnostics.bed.reserve import PRIOR_RESERVE, load_ratio
from diagnostics.cycle.record import Cycle
from diagnostics.energy.extension import (
    Bounds,
    bounds_of,
    half_cycles_s,
    mean_half_cycle,
    saved_share,
    time_at_longest,
    time_at_shortest,
)
from diagnostics.energy.heat import rated_heat_retention_s
from diagnostics.energy.limit import SAFETY_K, reserve_factor
from diagnostics.energy.load import LoadPattern, load_scale, log_pattern, with_known_flow
from diagnostics.energy.purge import mean_pressure_bar
from diagnostics.energy.record import Purge, Switching, SwitchingFigures
from diagnostics.energy.saving import YearSaving, save_over_year
from diagnostics.energy.switching_trace import already_step, drivers_of, trace_of
from diagnostics.energy.tariff import over_week, price_per_kwh
from diagnostics.energy.uncertain import Uncertain, known, relative, uncertain
from diagnostics.energy.year import Year, load_over_year
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.moment import say_duration
from diagnostics.plant import Plant

NO_FIGURES = SwitchingFigures(None, None, None, None, None, None)
MEMORY_HALF_CYCLES = 12
"""Over so many half-cycles a heatless bed averages its load at least: one of them swings 0.05 to 0.6 % of its mass, the
whole working capacity is some 7 % (usual ranges, from memory). At most it averages the whole log: near the limit only
the difference of load and purge fills the bed, which takes days."""
SCALING_FROM_RATING, SCALING_FROM_LOG = Estimate(1.0, 0.87, 1.13), Estimate(1.0, 0.94, 1.03)
"""How far the half-cycle departs from one over the load. At part load heat is lost to the wall and the front has time
to broaden, so that the tail comes earlier (from memory: 0.8 to 0.9); but longer contact sharpens it, and the same purge
or heat meets less water, which lengthens it as much. From the log's own load the way is shorter."""
_WORTH_NAMING, _UNSURE = 0.02, 0.06
"""Below these shares of the regenerations nothing is offered as a saving; the second where it may as well be none."""
_ALWAYS = 0.95
"""Share of half-cycles that end above the limit from which a control that waits for it switches as the timer does."""
_LEAST_POWER = {True: 8.0, False: 4.0}
"""Least e-folds of moisture per e-fold of load near the set point, heated and heatless (common practice, no published
source)."""
_END_SHARE = 0.3
"""Of a half-cycle, by which either end of a log moves the count of its regenerations (95 %)."""


@dataclass(frozen=True, eq=False)
class Case:
    """What the reckoning rests on: the half-cycle held at rated load [s], loads, bounds, half-cycles in the log."""

    held_s: Uncertain
    bounds: Bounds
    of_log: LoadPattern
    year: Year
    half_cycles: float


def switch_on_dew_point(
    screened: ScreenedLog, cycle: Cycle, breakthrough: Breakthrough, purge: Purge, plant: Plant
) -> Switching:
    """Savings of dew-point-dependent switching against the timer.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    breakthrough : Breakthrough
    purge : Purge
    plant : Plant

    Returns
    -------
    Switching
        Nothing is offered for medical and breathing air, nor where load or rating are unknown; a dryer that already
        switches on dew point shows what it saves against the timer.
    """
    use = plant.site.air_use
    if use in ("medical", "breathing"):
        note = f"{use.capitalize()} air: no longer half-cycle and no saving is offered; the responsible person decides."
        return Switching(NO_FIGURES, NO_FIGURES, "air_use", notes=(note,))
    if cycle.control == "dew_point":
        return _already(cycle, purge, plant)
    screened, flow_notes = with_known_flow(screened, plant)
    case = case_of(screened, cycle, breakthrough, plant)
    if case is None:
        lacking = "dryer.rated_flow_m3_min, a flow and, for a heated dryer, an inlet temperature"
        note = f"The saving of switching on dew point cannot be told; it needs {lacking}."
        return Switching(NO_FIGURES, NO_FIGURES, "none_possible", notes=(note, *flow_notes))
    return _reckon(case, screened, cycle, breakthrough, purge, plant)


def case_of(screened: ScreenedLog, cycle: Cycle, breakthrough: Breakthrough, plant: Plant) -> Case | None:
    """Loads, bounds and what the bed holds; None where the load cannot be told.

    Parameters
    ----------
    screened : ScreenedLog
        With its flow known.
    cycle : Cycle
    breakthrough : Breakthrough
    plant : Plant

    Returns
    -------
    Case or None
    """
    bounds = bounds_of(cycle, plant)
    reserve = breakthrough.reserve or PRIOR_RESERVE
    rough = log_pattern(screened, plant)
    if rough is None:
        return None
    typical_s = reserve.value * plant.half_cycle_s / max(rough.mean, 0.05)
    window_s = float(np.clip(typical_s, bounds.shortest_s, bounds.longest_s))
    of_log = log_pattern(screened, plant, window_s)
    assert of_log is not None
    if not plant.heated:
        short = log_pattern(screened, plant, max(window_s, MEMORY_HALF_CYCLES * plant.half_cycle_s))
        assert short is not None
        mean = np.array([short.mean])
        of_log = replace(short, steadier=LoadPattern(mean, np.ones(1), mean))
    from_log = breakthrough.reserve_from == "log"
    held = uncertain("reserve", reserve) * plant.half_cycle_s
    held = held * uncertain("load scaling", SCALING_FROM_LOG if from_log else SCALING_FROM_RATING)
    if not from_log:
        # A reserve from the log was found at these same loads: a meter that reads wrong cancels out there, not here.
        held = held / load_scale(screened.conditions, plant)
    if not plant.heated and bounds.shortest_s >= bounds.today_s - 1.0:
        held = _nothing_where_always_passed(held, cycle, plant)
    half_cycles = max(float(np.ptp(screened.log.time_s)) / bounds.today_s, 1.0)
    return Case(held, bounds, of_log, load_over_year(screened, plant, of_log), half_cycles)


def _nothing_where_always_passed(held: Uncertain, cycle: Cycle, plant: Plant) -> Uncertain:
    """What the bed holds, next to nothing where half-cycles always end above the limit.

    A set point that is passed at every turn never lengthens a half-cycle, whatever the balance says of the bed; how far
    the probe may be off says how sure that is.
    """
    ends, limit_c = cycle.complete["end_dew_point_c"].to_numpy(float), plant.dryer.dew_point_limit_c
    if not ends.size:
        return held
    above_k = float(np.quantile(ends, 1.0 - _ALWAYS, method="inverted_cdf")) - limit_c
    off_k = 1.96 * probe_standard_uncertainty_k(limit_c, plant)
    probe = uncertain("probe at the limit", Estimate(0.0, -off_k, off_k))
    return held.with_(probe, lambda held_s, error_k: np.where(above_k > error_k, 0.01, 1.0) * held_s)


def _reckon(
    case: Case, screened: ScreenedLog, cycle: Cycle, breakthrough: Breakthrough, purge: Purge, plant: Plant
) -> Switching:
    bounds, held = case.bounds, case.held_s
    price = _price(case, screened, plant)
    saved = saved_share(held, case.of_log, bounds)
    over_year = saved_share(held / case.year.scale, case.year.pattern, bounds)
    saving = save_over_year(over_year, purge, plant, screened, bounds.today_s)
    figures = _figures(case, held, bounds, saving, plant, price)
    no_cap = replace(bounds, longest_s=1e9)
    return Switching(
        figures=figures,
        cautious=_cautious(case, screened, cycle, breakthrough, purge, plant, price),
        limited_by=_limit(case, saved),  # type: ignore[arg-type]
        trace=trace_of(case, figures, saving, price, plant),
        notes=_notes(case, saved, saving, cycle, breakthrough, plant),
        uncapped_saved_share=saved_share(held, case.of_log, no_cap).estimate(),
        time_at_longest_share=time_at_longest(held.value, case.of_log, bounds),
        year_from=case.year.source,
        power_saved_at_peak_kw=_at_peak(case, purge, plant, screened),
        drivers=drivers_of(case, purge, plant, saving),
        price_per_kwh=price,
        assumptions=() if saving is None else saving.marginal.assumptions,
    )


def _is_none(saved: Uncertain) -> bool:
    """Whether no saving can be counted on: hardly any is reckoned, or little and perhaps none."""
    return saved.value < (_UNSURE if saved.estimate().low <= 0.0 else _WORTH_NAMING)


def _limit(case: Case, saved: Uncertain) -> str:
    if _is_none(saved):
        return "none_possible"
    binds = time_at_longest(case.held_s.value, case.of_log, case.bounds) > 0.5
    return "longest_half_cycle" if binds else "dew_point"


def _figures(
    case: Case, held: Uncertain, bounds: Bounds, saving: YearSaving | None, plant: Plant, price: float | None
) -> SwitchingFigures:
    half_cycle = mean_half_cycle(held, case.of_log, bounds).estimate()
    saved = _counted(saved_share(held, case.of_log, bounds), case)
    if saving is None:
        return SwitchingFigures(half_cycle, saved.estimate(), None, None, None, None)
    energy, factor = saving.energy.estimate(), plant.economics.co2_kg_per_kwh
    return SwitchingFigures(
        half_cycle,
        saved.estimate(),
        saving.air.estimate(),
        energy,
        None if price is None else energy.scaled(price),
        None if factor is None else energy.scaled(factor),
    )


def _counted(saved: Uncertain, case: Case) -> Uncertain:
    """The share as it would be counted in the log, whose ends cut half-cycles short; a share of nought stays nought."""
    either = _END_SHARE / case.half_cycles
    ends = uncertain("ends of the log", Estimate(0.0, -either, either))
    return saved.with_(ends, lambda share, end: np.where(share > 0.0, np.clip(share + end, 0.0, 1.0), share))


def _cautious(
    case: Case,
    screened: ScreenedLog,
    cycle: Cycle,
    breakthrough: Breakthrough,
    purge: Purge,
    plant: Plant,
    price: float | None,
) -> SwitchingFigures:
    """The same with a set point `SAFETY_K` drier and, heatless, half-cycles within which the bed keeps its heat."""
    pressure = mean_pressure_bar(screened, plant)
    factor = reserve_factor(breakthrough, cycle, pressure, -SAFETY_K, case.bounds.today_s)
    bounds = case.bounds if plant.heated else replace(case.bounds, retention_s=rated_heat_retention_s(plant))
    held = case.held_s * factor
    over_year = saved_share(held / case.year.scale, case.year.pattern, bounds)
    saving = save_over_year(over_year, purge, plant, screened, bounds.today_s)
    return _figures(case, held, bounds, saving, plant, price)


def _price(case: Case, screened: ScreenedLog, plant: Plant) -> float | None:
    """Mean price of the hours in which energy is saved: more at night than by day, as the load goes."""
    ratio = load_ratio(screened.conditions, plant)
    if not plant.economics.tariff or ratio is None:
        return price_per_kwh(plant)
    week = over_week(screened, ratio)
    pattern = LoadPattern(week, np.full(week.size, 1.0 / week.size), week)
    length = half_cycles_s(np.array([case.held_s.value]), pattern, case.bounds)[0]
    return price_per_kwh(plant, np.maximum(1.0 - case.bounds.today_s / length, 0.0))


def _at_peak(case: Case, purge: Purge, plant: Plant, screened: ScreenedLog) -> Estimate | None:
    pattern = case.year.pattern
    peak = np.array([pattern.percentile(95.0)])
    only = LoadPattern(peak, np.ones(1), peak)
    share = saved_share(case.held_s / case.year.scale, only, case.bounds)
    saving = save_over_year(share, purge, plant, screened, case.bounds.today_s)
    return None if saving is None else saving.power.estimate()


def _notes(
    case: Case, saved: Uncertain, saving: YearSaving | None, cycle: Cycle, breakthrough: Breakthrough, plant: Plant
) -> tuple[str, ...]:
    notes = [case.year.note]
    if breakthrough.reserve is None or breakthrough.reserve_from != "log":
        notes.append(
            "The log shows no rise towards the limit: what the bed can hold is taken from its rating with 0 to 50 %"
            " reserve, and the saving stands and falls with that."
        )
    if not cycle.resolved:
        notes.append(
            f"No half-cycles were found; the nameplate's {say_duration(plant.half_cycle_s)} stand for today's timer."
        )
    if cycle.control == "stopped":
        notes.append("Switching has stopped; the saving holds for the dryer as it ran before.")
    early = time_at_shortest(case.held_s.value, case.of_log, case.bounds)
    if early > 0.005:
        notes.append(
            f"For {100 * early:.0f} % of the time the load is above what the bed holds even in the shortest half-cycle;"
            " the limit is passed then, whatever the control."
        )
    if saved.value < _WORTH_NAMING:
        notes.append("The load leaves no room for longer half-cycles; switching on dew point saves nothing here.")
    elif _is_none(saved):
        notes.append(
            "The load leaves little room for longer half-cycles and perhaps none: no saving by switching on dew point"
            " can be counted on here."
        )
    if saving is not None and saved.value >= _WORTH_NAMING and saving.energy.value <= 0.0:
        notes.append(
            "Regeneration here costs neither purged air nor power that the plant file names, so fewer regenerations"
            " save valves and desiccant but no energy."
        )
    if plant.dryer.heating_ends_by == "exhaust_temperature" and saving is not None and plant.heated:
        notes.append(
            f"Heating ends on the exhaust's temperature: a regeneration avoided saves"
            f" {100 * saving.heater_share.value:.0f} % of its heat (bed and steel), the rest drives off the same water"
            " later."
        )
    if case.bounds.longest_s > case.bounds.today_s:
        notes.append(
            "The control has to fall back to the timer on a faulty, frozen or missing dew point, and the longest"
            " half-cycle has to stay in force; check the probe yearly."
        )
    return tuple(notes)


def _already(cycle: Cycle, purge: Purge, plant: Plant) -> Switching:
    """A dryer that switches on dew point: what that saves against its timer, and nothing on top."""
    complete = cycle.complete
    lengths = (complete["end_s"] - complete["start_s"]).to_numpy(dtype=float)
    if not lengths.size:
        note = "The dryer switches on dew point, but no half-cycle is complete; what it saves cannot be told."
        return Switching(NO_FIGURES, NO_FIGURES, "dew_point", notes=(note,))
    mean = float(lengths.mean())
    error = 1.96 * float(lengths.std(ddof=1)) / np.sqrt(lengths.size) if lengths.size > 1 else 0.3 * mean
    today = uncertain("mean half-cycle", Estimate.ordered(mean, max(mean - error, 0.1 * mean), mean + error))
    given = plant.is_given("dryer.half_cycle_s")
    timer = known(plant.half_cycle_s) if given else relative("timer", plant.half_cycle_s, 0.5)
    share = (known(1.0) - timer / today).map(lambda s: np.maximum(s, 0.0))
    note = (
        f"The dryer already switches on dew point: its half-cycles last {say_duration(mean)} on average against the"
        f" timer's {say_duration(plant.half_cycle_s)}. Nothing further is reckoned as a saving."
    )
    longest = cycle.longest_half_cycle_s or plant.dryer.longest_half_cycle_s or np.inf
    capped = float(np.mean(lengths > 0.97 * longest)) > 0.5
    further = _further_share(cycle, plant)
    figures = _nothing_further(today.estimate(), further, purge, plant)
    if further > 0.0:
        assert cycle.set_point_c is not None
        note += (
            f" It switches near {cycle.set_point_c.value:.0f} °C, well below the limit of"
            f" {plant.dryer.dew_point_limit_c:g} °C: a set point at the limit might save up to {100 * further:.0f} % of"
            " the regenerations that are left."
        )
    return Switching(
        figures,
        figures,
        "longest_half_cycle" if capped else "dew_point",
        already_saved_share=share.estimate(),
        trace=(already_step(share.value, mean, plant),),
        notes=(note,),
    )


def _further_share(cycle: Cycle, plant: Plant) -> float:
    """Share of regenerations that a set point at the limit might save at most, where today's is drier [-]."""
    set_point, limit_c = cycle.set_point_c, plant.dryer.dew_point_limit_c
    if set_point is None or set_point.high > limit_c - SAFETY_K:
        return 0.0
    wet, dry = (float(moisture_fraction(at_c, plant.line_pressure_bar)) for at_c in (limit_c, set_point.value))
    return 1.0 - (dry / wet) ** (1.0 / _LEAST_POWER[plant.heated])


def _nothing_further(today: Estimate, further: float, purge: Purge, plant: Plant) -> SwitchingFigures:
    none, share = Estimate.exact(0.0), Estimate(0.0, 0.0, further)
    if purge.average_m3_min is None:
        return SwitchingFigures(today, share, None, None, None, None)
    price, factor = price_per_kwh(plant), plant.economics.co2_kg_per_kwh
    return SwitchingFigures(today, share, none, none, None if price is None else none, None if factor is None else none)
