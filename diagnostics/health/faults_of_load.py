"""Is more asked of the dryer than it can do?

Question: is the limit reached inside half-cycles, and does the load lie beyond the rating? Input: a `Case`. Output:
findings. Method: peaks of half-cycles against the limit; flow, inlet temperature and pressure against the nameplate.
"""

from __future__ import annotations

import math

import numpy as np

from diagnostics.health.case import Case
from diagnostics.health.record import Finding
from diagnostics.health.sentences import PEOPLE, STORED_PRESSURE, level, percent
from diagnostics.moment import say_duration

FLOW_ALLOWED = 1.1
REACHED_SHARE = 0.05


def find_faults_of_load(case: Case) -> list[Finding]:
    """Breakthrough and overload."""
    return [f for f in (_breakthrough(case), _overload(case)) if f is not None]


def _breakthrough(case: Case) -> Finding | None:
    if case.switched_on_dew_point:
        return None
    rows = case.rows
    if len(rows) == 0:
        return _limit_passed_unresolved(case)
    if not case.breakthrough.reached:
        return None
    peaks = rows["peak_dew_point_c"].to_numpy(float)
    over = peaks > case.limit_c
    first = float(rows["start_s"].to_numpy(float)[over][0]) if over.any() else case.start_s
    lately = bool(over[-max(4, len(over) // 10) :].any())
    worst = float(peaks.max())
    top = float(np.quantile(peaks, 1 - REACHED_SHARE))
    statement = (
        f"The dew point passed the limit of {level(case.limit_c)} in {percent(float(over.mean()))} of the half-cycles,"
        f" first at {case.say(first)}, with {level(worst)} at worst. The towers are exhausted before they are switched"
        " over, so wet air reaches the process until this is mended."
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
        other_causes=["an instrument that reads too wet", "a limit in the plant file that is drier than is needed"],
        action=(
            "Check flow, inlet temperature and pressure against the nameplate, then purge and regeneration of both"
            " towers; until then shorten the half-cycle if purge allows, or take load off."
        ),
        caution=PEOPLE if case.for_people else STORED_PRESSURE,
        start_s=first,
    )


def _limit_passed_unresolved(case: Case) -> Finding | None:
    share = case.purity.time_above_limit_share
    top = case.purity.p95_dew_point_c
    if share is None or top is None or share <= REACHED_SHARE:
        return None
    over = case.screened.used & (case.screened.dew_point_c > case.limit_c)
    first = float(case.screened.log.time_s[over][0])
    return case.finding(
        "breakthrough",
        "critical",
        _probability_above(top - case.limit_c, case.purity.uncertainty_c),
        statement=(
            f"The dew point was above the limit of {level(case.limit_c)} for {percent(share)} of the time, first at"
            f" {case.say(first)}. Half-cycles cannot be told apart in this log, so it stays open whether the towers are"
            " exhausted in each of them; wet air reaches the process until this is mended."
        ),
        evidence=[f"95 of 100 readings lie below {level(top)}, the limit is {level(case.limit_c)}."],
        other_causes=["an instrument that reads too wet", "moisture left in the sample line"],
        action="Log faster so that half-cycles show; check load, purge and regeneration of both towers.",
        caution=PEOPLE if case.for_people else STORED_PRESSURE,
        start_s=first,
    )


def _probability_above(excess_k: float, uncertainty_c: float) -> float:
    """Probability that the true value lies above, with U as two standard deviations."""
    return 0.5 * math.erfc(-excess_k / max(uncertainty_c / 2, 0.05) / math.sqrt(2))


def _overload(case: Case) -> Finding | None:
    dryer, conditions = case.plant.dryer, case.screened.conditions
    used = case.screened.used
    if not used.any():
        return None
    barometer = case.plant.site.barometric_pressure_bar
    beyond: list[str] = []
    worst = 0.0
    if conditions.flow_m3_min is not None and dryer.rated_flow_m3_min is not None:
        mean = float(np.mean(conditions.flow_m3_min[used]))
        ratio = mean / dryer.rated_flow_m3_min
        if ratio > FLOW_ALLOWED:
            beyond.append(
                f"a mean flow of {mean:.2f} m³/min against a rating of {dryer.rated_flow_m3_min:g} m³/min"
                f" ({percent(ratio)} of it)"
            )
            worst = max(worst, ratio - FLOW_ALLOWED)
    if conditions.inlet_temperature_c is not None:
        inlet = float(np.mean(conditions.inlet_temperature_c[used]))
        if inlet > dryer.rated_inlet_temperature_c:
            beyond.append(f"an inlet of {inlet:.1f} °C against a rating of {dryer.rated_inlet_temperature_c:g} °C")
            worst = max(worst, (inlet - dryer.rated_inlet_temperature_c) / 12)
    pressure = float(np.mean(conditions.pressure_bar[used])) - barometer
    if pressure < dryer.rated_pressure_bar_g - 0.05 and case.plant.is_given("dryer.rated_pressure_bar_g"):
        shortfall = 1 - (pressure + barometer) / case.plant.rated_pressure_bar
        beyond.append(f"a pressure of {pressure:.2f} bar gauge against a rating of {dryer.rated_pressure_bar_g:g}")
        worst = max(worst, shortfall)
    if not beyond:
        return None
    passed = bool(case.breakthrough.reached) and not case.switched_on_dew_point
    return case.finding(
        "overload",
        "critical" if passed else "warning",
        0.9,
        statement=(
            f"The dryer gets more than it is built for: {' and '.join(beyond)}. It will stay wetter than it could be"
            " for as long as this lasts."
        ),
        evidence=[f"Over the used {say_duration(case.end_s - case.start_s)}: {item}." for item in beyond],
        other_causes=["a flow meter or thermometer that reads too high", "nameplate values that are not this dryer's"],
        action="Check aftercooler and compressor, look for what drives the load, and compare with the nameplate.",
        caution=PEOPLE if case.for_people else STORED_PRESSURE,
    )
