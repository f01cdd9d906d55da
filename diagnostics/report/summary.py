"""The diagnosis in a dozen lines, shared by terminal, report and browser: seen, cost, worth."""

from __future__ import annotations

from dataclasses import dataclass

from diagnostics.diagnosis import Diagnosis
from diagnostics.estimate import Estimate
from diagnostics.moment import say_duration, say_time
from diagnostics.report.figures import METRIC, Display

CONFORMITY_WORDS = {
    "pass": "meets the limit",
    "fail": "does not meet the limit",
    "undecided": "cannot be said to meet the limit, which lies within the instrument's uncertainty",
}
CONTROL_WORDS = {
    "fixed": "fixed timer",
    "dew_point": "switched on dew point",
    "stopped": "switching has stopped",
    "unresolved": "half-cycles cannot be seen in this log",
}
LIMITED_WORDS = {
    "dew_point": "the dew point limit decides",
    "longest_half_cycle": "the longest half-cycle allowed decides",
    "none_possible": "nothing to save at this load",
    "air_use": "not offered for this use of the air; the responsible person decides",
}
TREND_WORDS = {
    "rising": "rising",
    "steady": "steady",
    "falling": "falling",
    "too_short": "the log is too short to tell",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the summary."""

    topic: str
    text: str


def log_line(diagnosis: Diagnosis) -> str:
    """What was read, in one line."""
    log, screened = diagnosis.screened.log, diagnosis.screened
    span = f"{say_time(log.time_s[0], log.timezone)} to {say_time(log.time_s[-1], log.timezone)}"
    return (
        f"{span} ({say_duration(log.time_s[-1] - log.time_s[0])}), a reading every {say_duration(log.interval_s)},"
        f" {log.samples:,} readings, {int(screened.used.sum()):,} used"
    )


def seen_lines(diagnosis: Diagnosis, display: Display = METRIC) -> list[Line]:
    """What was seen: dryness, towers, margin, trend."""
    return [
        Line("Dryness", _dryness(diagnosis, display)),
        Line("Towers", _towers(diagnosis, display)),
        Line("Margin", _margin(diagnosis, display)),
        Line("Trend", _trend(diagnosis, display)),
    ]


def worth_lines(diagnosis: Diagnosis, display: Display = METRIC) -> list[Line]:
    """What it costs and what switching on dew point would be worth."""
    return [
        Line("Purge", _purge(diagnosis, display)),
        Line("Switching", _switching(diagnosis, display)),
        Line("Payback", _payback(diagnosis, display)),
    ]


def _dryness(diagnosis: Diagnosis, display: Display) -> str:
    p = diagnosis.purity
    if p.p95_dew_point_c is None:
        return "no usable readings"
    above = f", above it {display.share(p.time_above_limit_share)} of the time" if p.time_above_limit_share else ""
    rank = "no class (wetter than +10 °C)" if p.purity_class is None else f"ISO 8573-1 water class {p.purity_class}"
    if p.purity_class is not None and p.class_low != p.class_high:
        rank += f" (within uncertainty {_class(p.class_low)} to {_class(p.class_high)})"
    return (
        f"{display.level_words(p.p95_dew_point_c)} at the 95th percentile, limit"
        f" {display.level_words(p.limit_dew_point_c, 0)}: {CONFORMITY_WORDS[p.conformity]}{above}; {rank}"
    )


def _class(value: int | None) -> str:
    return "none" if value is None else str(value)


def _towers(diagnosis: Diagnosis, display: Display) -> str:
    cycle = diagnosis.cycle
    words = CONTROL_WORDS[cycle.control]
    if not cycle.resolved or cycle.half_cycle_s is None:
        return words
    rows = cycle.complete
    peaks = [
        f"{tower} peaks at {display.level_words(float(part['peak_dew_point_c'].median()))}"
        for tower, part in rows.groupby("tower")
        if part["peak_dew_point_c"].notna().any()
    ]
    stop = f" at {say_time(cycle.stopped_s, diagnosis.screened.log.timezone)}" if cycle.stopped_s else ""
    counted = ", counted in the compressor's running time" if cycle.counted_in == "running_time" else ""
    length = say_duration(cycle.half_cycle_s.value)
    return f"{words}{stop}; half-cycle {length}{counted}, {len(rows)} complete; {', '.join(peaks) or 'peaks not seen'}"


def _margin(diagnosis: Diagnosis, display: Display) -> str:
    b = diagnosis.breakthrough
    margin = b.sustained_margin_s or b.margin_s
    if margin is None:
        return next(iter(b.notes), "cannot be told from this log")
    kind = "repeated half-cycle" if b.sustained_margin_s else "single half-cycle"
    basis = "by rating, no rise seen in the log" if b.censored else "by the rise seen in the log"
    if margin.value < 0:
        return f"a {kind} would have to be {_shorter(margin, display)} shorter to hold the limit, {basis}"
    return f"a {kind} could be {display.duration(margin)} longer before the limit is reached, {basis}"


def _shorter(margin: Estimate, display: Display) -> str:
    return display.duration(margin.scaled(-1))


def _trend(diagnosis: Diagnosis, display: Display) -> str:
    trend = diagnosis.trend
    text = TREND_WORDS[trend.verdict]
    if trend.peak_dew_point_c_per_day is not None and trend.verdict != "too_short":
        unit = "K a day" if display.temperature == "C" else "°F a day"
        slope = display.estimate(trend.peak_dew_point_c_per_day, unit, digits=2, turned=display.kelvins)
        text += f": {slope}"
    if trend.days_to_limit is not None:
        text += f"; limit in {display.estimate(trend.days_to_limit, 'days', digits=2)}"
    return text


def _purge(diagnosis: Diagnosis, display: Display) -> str:
    purge = diagnosis.purge
    currency = diagnosis.payback.currency
    if purge.average_m3_min is None:
        return next(iter(purge.notes), "unknown; give dryer.rated_flow_m3_min")
    text = display.flow_words(purge.average_m3_min)
    if purge.share_of_inlet is not None:
        text += f", {display.percent(purge.share_of_inlet)} of the air that enters"
    if purge.energy_kwh_per_year is not None:
        text += f"; {display.estimate(purge.energy_kwh_per_year.total, 'kWh a year')}"
    if purge.cost_per_year is not None:
        text += f", {display.estimate(purge.cost_per_year, currency)} a year"
    return text


def _switching(diagnosis: Diagnosis, display: Display) -> str:
    switching, currency = diagnosis.switching, diagnosis.payback.currency
    figures = switching.figures
    limited = LIMITED_WORDS[switching.limited_by]
    if switching.limited_by in ("air_use", "none_possible"):
        return limited
    if figures.regenerations_saved_share is None:
        return next(iter(switching.notes), "cannot be told from this log")
    text = f"saves {display.percent(figures.regenerations_saved_share)} of the regenerations"
    if figures.energy_saved_kwh_per_year is not None:
        text += f", {display.estimate(figures.energy_saved_kwh_per_year, 'kWh')}"
    if figures.cost_saved_per_year is not None:
        text += f", {display.estimate(figures.cost_saved_per_year, currency)} a year"
    return f"{text}; {limited}"


def _payback(diagnosis: Diagnosis, display: Display) -> str:
    payback = diagnosis.payback
    if payback.simple_payback_years is None:
        return next(iter(payback.notes), "not reckoned; give prices and dryer.rated_flow_m3_min")
    text = f"{display.estimate(payback.simple_payback_years, 'years', digits=2)} simple"
    if payback.npv is not None:
        text += f"; net present value {display.estimate(payback.npv, payback.currency)}"
    if payback.irr is not None:
        text += f"; internal rate of return {display.number(100 * payback.irr.value, digits=2)} %"
    return text
