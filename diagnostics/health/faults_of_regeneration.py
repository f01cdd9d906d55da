"""Does the dryer regenerate more than the air needs, and does its control do what it is meant to do?

Question: what does regeneration waste, and is dew-point control alive? Input: a `Case`. Output: findings. Method: load
against the reserve of the bed, without any cap on the half-cycle; kind of control in the log against the plant file.
"""

from __future__ import annotations

import math

from diagnostics.cycle.record import ControlSpan
from diagnostics.health.case import Case
from diagnostics.health.record import Finding
from diagnostics.health.sentences import LONGER_HALF_CYCLES, PEOPLE, STORED_PRESSURE, between, level, percent
from diagnostics.moment import say_duration

SAVING_WORTH_NAMING = 0.4
SAVING_WORTH_A_WARNING = 0.65
_NEAR_SET_POINT_K = 3.0


def find_faults_of_regeneration(case: Case) -> list[Finding]:
    """Inactive control, or else regeneration beyond need."""
    inactive = _control_inactive(case)
    found = [inactive if inactive is not None else _excess_regeneration(case)]
    return [f for f in found if f is not None]


def uncapped_saving(case: Case) -> tuple[float, float, float] | None:
    """Share of regenerations that switching on dew point without a cap would save: value and 95 % bounds."""
    told = case.switching.uncapped_saved_share
    if told is not None:
        return told.value, told.low, told.high
    load, reserve = case.breakthrough.load_ratio, case.breakthrough.reserve
    if load is None or reserve is None or reserve.low <= 0:
        return None
    return 1 - load / reserve.value, 1 - load / reserve.low, 1 - load / reserve.high


def _excess_regeneration(case: Case) -> Finding | None:
    if case.cycle.control != "fixed" or case.for_people:
        return None
    saving = uncapped_saving(case)
    if saving is None or saving[0] < SAVING_WORTH_NAMING:
        return None
    value, low, high = saving
    spread = max(high - low, 0.02) / 3.92
    confidence = 0.5 * math.erfc((SAVING_WORTH_NAMING - value) / spread / math.sqrt(2))
    return case.finding(
        "excess_regeneration",
        "warning" if value >= SAVING_WORTH_A_WARNING else "info",
        confidence,
        statement=(
            "The timer regenerates far more often than this load needs: switched on dew point, with no cap on the"
            f" half-cycle, the dryer could do without {percent(value)} of its regenerations"
            f" ({percent(max(low, 0.0))} to {percent(high)}).{_worth(case, 'it')}"
        ),
        evidence=[
            f"The load is {percent(case.breakthrough.load_ratio or 0.0)} of the rating.",
            f"The bed holds {between(case.breakthrough.reserve, 'times')} its nameplate half-cycle at rated load,"
            f" {'as the log shows' if case.breakthrough.reserve_from == 'log' else 'by common practice'}."
            if case.breakthrough.reserve is not None
            else "",
        ],
        other_causes=["the load in this log is lower than over the year"],
        action=(
            "Compare the load of this log with the year's; if it is typical, reckon what switching on dew point or a"
            " longer timer setting is worth."
        ),
        caution=LONGER_HALF_CYCLES,
    )


def _worth(case: Case, what: str) -> str:
    figures = case.switching.figures
    currency = case.plant.economics.currency
    if figures.cost_saved_per_year is not None:
        return f" Within today's caps {what} saves {between(figures.cost_saved_per_year, currency)} a year."
    if figures.energy_saved_kwh_per_year is not None:
        return f" Within today's caps {what} saves {between(figures.energy_saved_kwh_per_year, 'kWh')} a year."
    return ""


def _timer_at_the_end(case: Case) -> ControlSpan | None:
    spans = case.cycle.control_spans
    if not spans:
        return ControlSpan(case.start_s, case.end_s, "fixed") if case.cycle.control == "fixed" else None
    return spans[-1] if spans[-1].control == "fixed" else None


def _control_inactive(case: Case) -> Finding | None:
    if case.plant.dryer.control != "dew_point" or not case.cycle.resolved:
        return None
    span = _timer_at_the_end(case)
    if span is None:
        return None
    rows = case.rows[case.rows["start_s"] >= span.start_s - 1.0]
    if len(rows) < 4 or _at_a_bound_of_control(case, float(rows["length_s"].median()), rows["peak_dew_point_c"].max()):
        return None
    length_s = float(rows["length_s"].median())
    spread_s = float(rows["length_s"].quantile(0.95) - rows["length_s"].quantile(0.05))
    whole = span.start_s <= case.start_s + 2 * length_s
    since = "over the whole log" if whole else f"since {case.say(span.start_s)}"
    saved = case.switching.figures.regenerations_saved_share
    small = saved is not None and saved.value < 0.1
    gap_k = case.limit_c - float(rows["peak_dew_point_c"].max())
    return case.finding(
        "control_inactive",
        "info" if small else "warning",
        0.95 if len(rows) >= 10 else 0.8,
        statement=(
            f"The plant file says that this dryer switches on dew point, but {since} it switched over every"
            f" {say_duration(length_s)} like a plain timer, with the air {gap_k:.1f} K drier than the limit of"
            f" {level(case.limit_c)} at its wettest. The control is most likely switched off or has fallen back to"
            " the"
            f" timer.{_worth(case, 'a control that works')}"
        ),
        evidence=[
            f"{len(rows)} half-cycles of {say_duration(length_s)}; nine in ten lie within {say_duration(spread_s)}.",
            f"The highest peak was {level(float(rows['peak_dew_point_c'].max()))}.",
        ],
        other_causes=["the control's probe reads too wet", "a set point far drier than the limit"],
        action=(
            "Look whether the control is switched to timer or in alarm, read the dew point that its own probe shows"
            " and"
            " the set point, and check the signal's wiring."
        ),
        caution=PEOPLE if case.for_people else STORED_PRESSURE,
        start_s=case.start_s if whole else span.start_s,
        end_s=span.end_s,
    )


def _at_a_bound_of_control(case: Case, length_s: float, peak_c: float) -> bool:
    """Equal half-cycles that working control makes too: at its longest, or at a steady load that reaches the limit."""
    longest = case.plant.dryer.longest_half_cycle_s
    if longest is not None and length_s >= 0.95 * longest:
        return True
    return peak_c >= case.limit_c - _NEAR_SET_POINT_K
