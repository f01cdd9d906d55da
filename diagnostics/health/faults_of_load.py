"""Is more asked of the dryer than it can do?

Question: is the limit reached inside half-cycles, and does the load lie beyond the rating? Input: a `Case`. Output:
findings. Method: peaks of half-cycles against the limit; flow, inlet temperature and pressure against the nameplate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import saturation_pressure_pa
from diagnostics.health.case import Case
from diagnostics.health.record import Finding
from diagnostics.health.sentences import PEOPLE, STORED_PRESSURE, level, percent
from diagnostics.log.record import Flags, Floats

FLOW_ALLOWED = 1.1
REACHED_SHARE = 0.05
_DAY_S = 86400.0
_HARDLY_RISES_K = 0.5
_PAST_THE_BEDS = (
    "wet air that goes past the beds: shut the bypass for an hour; if the dew point falls, that was it",
    "room air in the sample: raise the sample flow; if the reading falls, that was it",
)
_MAY_REACH = 0.9
"""Share of the rated load below which even a worn dryer's limit is not passed by load alone."""
_MAY_REACH_BY_FLOW = 0.7
"""The same beyond the rated flow, where contact and purge get short beside the water load."""
_THERMOMETER_K = 0.5
_GAUGE_BAR = 0.2
"""What usual instruments on a plant may be off by; common practice, no published source."""


def find_faults_of_load(case: Case) -> list[Finding]:
    """Breakthrough and overload."""
    return [f for f in (_breakthrough(case), _overload(case)) if f is not None]


def _breakthrough(case: Case) -> Finding | None:
    if case.switched_on_dew_point:
        return None
    rows = case.rows
    if len(rows) == 0 or not case.breakthrough.reached:
        return _limit_passed_outside(case)
    peaks = rows["peak_dew_point_c"].to_numpy(float)
    over = peaks > case.limit_c
    first = float(rows["start_s"].to_numpy(float)[over][0]) if over.any() else case.start_s
    lately = _passes_lately(case)
    worst = float(peaks.max())
    top = float(np.quantile(peaks, 1 - REACHED_SHARE, method="higher"))
    statement = (
        f"The dew point passed the limit of {level(case.limit_c)} in {percent(float(over.mean()))} of the"
        " half-cycles,"
        f" first at {case.say(first)}, with {level(worst)} at worst. {_how(case, over)}, so wet air reaches the process"
        " until this is mended."
    )
    return case.finding(
        "breakthrough",
        "critical" if lately else "warning",
        _probability_above(top - case.limit_c, case.purity.uncertainty_c),
        statement=statement,
        evidence=[
            f"{int(over.sum())} of {len(over)} half-cycles passed the limit; the highest peak was {level(worst)}.",
            f"The instrument's uncertainty is {case.purity.uncertainty_c:.1f} K.",
        ],
        other_causes=[
            *(_PAST_THE_BEDS if _hardly_rises(case, over) else ()),
            "an instrument that reads too wet",
            "a limit in the plant file that is drier than is needed",
        ],
        action=(
            "Check flow, inlet temperature and pressure against the nameplate, then purge and regeneration of both"
            " towers; until then shorten the half-cycle if purge allows, or take load off."
        ),
        caution=PEOPLE if case.for_people else STORED_PRESSURE,
        start_s=first,
    )


def _how(case: Case, over: Flags) -> str:
    """Why the limit is passed, by whether the air gets wetter within those half-cycles."""
    if _hardly_rises(case, over):
        return (
            f"The dew point hardly rises within them ({_median_rise_k(case, over):.1f} K at the median): all of the air"
            " is wet, because the towers regenerate too little or wet air comes past them"
        )
    return "The towers are exhausted before they are switched over"


def _median_rise_k(case: Case, over: Flags) -> float:
    return float(np.median((case.rows["peak_dew_point_c"] - case.rows["floor_dew_point_c"]).to_numpy(float)[over]))


def _hardly_rises(case: Case, over: Flags) -> bool:
    return bool(over.any()) and _median_rise_k(case, over) < _HARDLY_RISES_K


def _limit_passed_outside(case: Case) -> Finding | None:
    """The limit passed for long where no half-cycles could be told apart."""
    share = case.purity.time_above_limit_share
    top = case.purity.p95_dew_point_c
    if share is None or top is None or share <= REACHED_SHARE:
        return None
    over = case.screened.used & (case.screened.dew_point_c > case.limit_c)
    first = float(case.screened.log.time_s[over][0])
    where = "at times when half-cycles" if len(case.rows) else "and half-cycles"
    return case.finding(
        "breakthrough",
        "critical",
        _probability_above(top - case.limit_c, case.purity.uncertainty_c),
        statement=(
            f"The dew point was above the limit of {level(case.limit_c)} for {percent(share)} of the time, first at"
            f" {case.say(first)}, {where} cannot be told apart. So it stays open whether the towers are exhausted in"
            " each"
            " half-cycle; wet air reaches the process until this is mended."
        ),
        evidence=[f"95 of 100 readings lie below {level(top)}, the limit is {level(case.limit_c)}."],
        other_causes=[
            "an instrument that reads too wet",
            "moisture left in the sample line",
            "a dryer that stands still",
        ],
        action="Log faster so that half-cycles show; check load, purge and regeneration of both towers.",
        caution=PEOPLE if case.for_people else STORED_PRESSURE,
        start_s=first,
    )


def _probability_above(excess_k: float, uncertainty_c: float) -> float:
    """Probability that the true value lies above, with U as two standard deviations."""
    return 0.5 * math.erfc(-excess_k / max(uncertainty_c / 2, 0.05) / math.sqrt(2))


@dataclass(frozen=True, slots=True)
class _Beyond:
    """One quantity beyond its rating: in words, and the factor it puts on the load."""

    words: str
    factor: float


def _overload(case: Case) -> Finding | None:
    used = case.screened.used
    if not used.any():
        return None
    beyond = [item for item in (_flow(case), _inlet(case), _pressure(case)) if item is not None]
    reached = bool(case.breakthrough.reached) and not case.switched_on_dew_point and case.cycle.control != "stopped"
    if not beyond:
        return _overload_at_times(case) if reached else None
    factor = math.prod(item.factor for item in beyond)
    load = _load_ratio(case, factor)
    heavy = factor >= FLOW_ALLOWED and load >= 1.0
    likely = load >= _MAY_REACH
    reached &= likely or (load >= _MAY_REACH_BY_FLOW and _flow(case) is not None)
    words = " and ".join(item.words for item in beyond)
    return case.finding(
        "overload",
        "critical" if reached and _passes_lately(case) else "warning" if heavy or reached else "info",
        0.95 if heavy else 0.8,
        statement=(
            f"The dryer gets more than it is built for: {words}."
            + (
                " That is most likely why the limit is passed; it will stay so for as long as this lasts."
                if reached and likely
                else " That may be why the limit is passed: the water it brings is within the rating, but more air"
                " leaves less time in the bed and less purge for each part of it."
                if reached
                else " It stays wetter than it could be, and its reserve is used up, for as long as this lasts."
            )
        ),
        evidence=[f"Mean of the used readings: {item.words}." for item in beyond]
        + [f"Together this makes {factor:.2f} times the load that the rating allows for."],
        other_causes=_OTHER_CAUSES_OF_OVERLOAD,
        action=_ACTION_ON_OVERLOAD,
        caution=PEOPLE if case.for_people else STORED_PRESSURE,
    )


_OTHER_CAUSES_OF_OVERLOAD = (
    "a flow meter or thermometer that reads too high",
    "nameplate values in the plant file that are not this dryer's",
    "ageing desiccant, if the air stays wet after the load falls: the dew point at low load decides",
)
_ACTION_ON_OVERLOAD = (
    "Check aftercooler and line pressure, look for what drives the flow at those hours, and compare with the"
    " nameplate;"
    " see whether the air dries again within some cycles when the load falls."
)


def _load_ratio(case: Case, otherwise: float) -> float:
    ratio = case.breakthrough.load_ratio
    return otherwise if ratio is None else ratio


def _passes_lately(case: Case) -> bool:
    """Whether the limit was passed within the last day or the last four half-cycles: now, as far as a log can"
    " tell."""
    rows = case.rows
    peaks, starts = rows["peak_dew_point_c"].to_numpy(float), rows["start_s"].to_numpy(float)
    last = (starts >= case.end_s - _DAY_S) | (np.arange(len(rows)) >= len(rows) - 4)
    return bool((peaks[last] > case.limit_c).any())


def _flow(case: Case) -> _Beyond | None:
    flow, rated = case.screened.conditions.flow_m3_min, case.plant.dryer.rated_flow_m3_min
    if flow is None or rated is None:
        return None
    mean = float(np.mean(flow[case.screened.used]))
    if mean <= FLOW_ALLOWED * rated:
        return None
    words = f"a mean flow of {mean:.2f} m³/min against a rating of {rated:g} m³/min ({percent(mean / rated)} of it)"
    return _Beyond(words, mean / rated)


def _inlet(case: Case) -> _Beyond | None:
    inlet, rated = case.screened.conditions.inlet_temperature_c, case.plant.dryer.rated_inlet_temperature_c
    if inlet is None:
        return None
    mean = float(np.mean(inlet[case.screened.used]))
    if mean <= rated + _THERMOMETER_K:
        return None
    factor = float(saturation_pressure_pa(mean) / saturation_pressure_pa(rated))
    words = f"an inlet of {mean:.1f} °C at the mean against a rating of {rated:g} °C"
    return _Beyond(words, factor)


def _pressure(case: Case) -> _Beyond | None:
    if not case.plant.is_given("dryer.rated_pressure_bar_g"):
        return None
    mean = float(np.mean(case.screened.conditions.pressure_bar[case.screened.used]))
    rated = case.plant.rated_pressure_bar
    if mean >= rated - max(_GAUGE_BAR, 0.03 * rated):
        return None
    gauge = mean - case.plant.site.barometric_pressure_bar
    words = (
        f"a pressure of {gauge:.1f} bar gauge at the mean against a rating of"
        f" {case.plant.dryer.rated_pressure_bar_g:g} bar gauge"
    )
    return _Beyond(words, rated / mean)


def _overload_at_times(case: Case) -> Finding | None:
    """The limit passed in, or at the end of a climb through, half-cycles whose load lies beyond the rating."""
    if not case.screened.conditions.logged & {"flow", "inlet_temperature"}:
        return None
    ratio = _row_load_ratio(case)
    if ratio is None:
        return None
    rows, peaks = case.rows, case.rows["peak_dew_point_c"].to_numpy(float)
    known = np.isfinite(ratio)
    rows, peaks, ratio = rows[known], peaks[known], ratio[known]
    over = peaks > case.limit_c
    heavy = ratio > 1.0
    if over.sum() < 3 or heavy.sum() < 3:
        return None
    light = float(np.median(ratio[~heavy])) if (~heavy).any() else float(np.min(ratio))
    climb = _load_of_climb(peaks, ratio, int(np.flatnonzero(over)[0]))
    busy = max(climb, float(np.median(ratio[over])))
    if busy < 1.05:
        return None
    starts = rows["start_s"].to_numpy(float)
    first, share, passing = float(starts[heavy][0]), float(heavy.mean()), float(starts[over][0])
    return case.finding(
        "overload",
        "critical" if _passes_lately(case) else "warning",
        0.9 if busy > FLOW_ALLOWED else 0.75,
        statement=(
            f"In {percent(share)} of the half-cycles the load lay above the rating, first at {case.say(first)}; at"
            f" {percent(busy)} of the rated load the peaks climbed until they passed the limit at"
            f" {case.say(passing)}."
            " The dryer most likely gets more than it is built for at those hours, and the wet air comes back with"
            " them."
        ),
        evidence=[
            f"{int(over.sum())} half-cycles passed the limit; the load on the way there was {percent(busy)} of the"
            f" rated one, in the lighter half-cycles {percent(light)}.",
            "Load is reckoned from flow, pressure and inlet temperature against the nameplate.",
        ],
        other_causes=_OTHER_CAUSES_OF_OVERLOAD,
        action=_ACTION_ON_OVERLOAD,
        caution=PEOPLE if case.for_people else STORED_PRESSURE,
        start_s=first,
    )


def _load_of_climb(peaks: Floats, ratio: Floats, passing: int) -> float:
    """Mean load from the last trough to the passing of the limit: a heatless bed fills over many cycles."""
    before = peaks[: passing + 1]
    trough = int(np.flatnonzero(before <= before.min() + 0.1 * np.ptp(before))[-1])
    return float(np.mean(ratio[trough : passing + 1]))


def _row_load_ratio(case: Case) -> Floats | None:
    """Load of each half-cycle against the rating: moisture where heated, actual volume where heatless."""
    dryer, conditions, rows = case.plant.dryer, case.screened.conditions, case.rows
    if conditions.flow_m3_min is None or dryer.rated_flow_m3_min is None or len(rows) == 0:
        return None
    rated_c = dryer.rated_inlet_temperature_c
    inlet = conditions.inlet_temperature_c
    inlet = np.full_like(conditions.flow_m3_min, rated_c) if inlet is None else inlet
    if case.plant.heated:
        warmth = saturation_pressure_pa(inlet) / saturation_pressure_pa(rated_c)
    else:
        warmth = np.maximum(saturation_pressure_pa(inlet) / saturation_pressure_pa(rated_c), 1.0)
    ratio = conditions.flow_m3_min / dryer.rated_flow_m3_min * case.plant.rated_pressure_bar / conditions.pressure_bar
    return case.mean_between(ratio * warmth, rows)
