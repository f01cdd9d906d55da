"""The diagnosis in a dozen lines, shared by terminal, report and browser: seen, cost, worth."""

from __future__ import annotations

from dataclasses import dataclass

from diagnostics.diagnosis import Diagnosis
from diagnostics.moment import say_time
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.levers import better_than_switching
from diagnostics.report.spoken_units import speak
from diagnostics.report.texts import words

CONFORMITY_WORDS = words("conformity")
CONTROL_WORDS = words("control")
LIMITED_WORDS = words("limited")
TREND_WORDS = words("trend")
_TOPICS = words("topics")
_SAY = words("summary")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the summary."""

    topic: str
    text: str


def log_line(diagnosis: Diagnosis, display: Display = METRIC) -> str:
    """What was read, in one line."""
    log, screened = diagnosis.screened.log, diagnosis.screened
    return _SAY["log"].format(
        span=words("page")["span"].format(
            start=say_time(log.time_s[0], log.timezone), end=say_time(log.time_s[-1], log.timezone)
        ),
        duration=display.span(log.time_s[-1] - log.time_s[0]),
        interval=display.span(log.interval_s),
        samples=display.number(log.samples, decimals=0),
        used=display.number(int(screened.used.sum()), decimals=0),
    )


def seen_lines(diagnosis: Diagnosis, display: Display = METRIC) -> list[Line]:
    """What was seen: dryness, towers, margin, trend."""
    return [
        Line(_TOPICS["dryness"], _dryness(diagnosis, display)),
        Line(_TOPICS["towers"], _towers(diagnosis, display)),
        Line(_TOPICS["margin"], _margin(diagnosis, display)),
        Line(_TOPICS["trend"], trend_words(diagnosis, display)),
    ]


def worth_lines(diagnosis: Diagnosis, display: Display = METRIC) -> list[Line]:
    """What it costs, what switching on dew point would be worth, and what would be worth more, if anything."""
    lines = [
        Line(_TOPICS["purge"], _purge(diagnosis, display)),
        Line(_TOPICS["switching"], _switching(diagnosis, display)),
        Line(_TOPICS["payback"], _payback(diagnosis, display)),
    ]
    better = better_than_switching(diagnosis)
    if better is not None:
        cost, currency = better.cost_saved_per_year, diagnosis.payback.currency
        energy = display.estimate(better.energy_saved_kwh_per_year, "kWh")
        saving = energy if cost is None else f"{energy}, {display.estimate(cost, currency)}"
        say = words("levers")
        more = say["more"] if diagnosis.switching.already_saved_share is None else ""
        text = say["one_line"].format(sentence=speak(better.sentence, display), saving=saving, more=more)
        lines.append(Line(_TOPICS["better"], text))
    return lines


def _dryness(diagnosis: Diagnosis, display: Display) -> str:
    p = diagnosis.purity
    if p.p95_dew_point_c is None:
        return _SAY["no_readings"]
    above = p.time_above_limit_share
    rank = _SAY["no_rank"] if p.purity_class is None else _SAY["rank"].format(rank=p.purity_class)
    if p.purity_class is not None and p.class_low != p.class_high:
        rank += _SAY["rank_band"].format(low=_class(p.class_low), high=_class(p.class_high))
    return _SAY["dryness"].format(
        level=display.level_words(p.p95_dew_point_c),
        band=display.difference_words(p.uncertainty_c),
        limit=display.level_words(p.limit_dew_point_c, 0),
        conformity=CONFORMITY_WORDS[p.conformity],
        above=_SAY["above"].format(share=display.share(above)) if above else "",
        rank=rank,
    )


def _class(value: int | None) -> str:
    return _SAY["no_class"] if value is None else str(value)


def _towers(diagnosis: Diagnosis, display: Display) -> str:
    cycle = diagnosis.cycle
    if not cycle.resolved or cycle.half_cycle_s is None:
        return CONTROL_WORDS[cycle.control]
    rows = cycle.complete
    peaks = [
        _SAY["peaks_at"].format(tower=tower, level=display.level_words(float(part["peak_dew_point_c"].median())))
        for tower, part in rows.groupby("tower")
        if part["peak_dew_point_c"].notna().any()
    ]
    zone = diagnosis.screened.log.timezone
    return _SAY["towers"].format(
        control=CONTROL_WORDS[cycle.control],
        stop=_SAY["stopped_at"].format(time=say_time(cycle.stopped_s, zone)) if cycle.stopped_s else "",
        length=display.span(cycle.half_cycle_s.value),
        counted=_SAY["running_time"] if cycle.counted_in == "running_time" else "",
        count=len(rows),
        peaks=", ".join(peaks) or _SAY["peaks_not_seen"],
    )


def _margin(diagnosis: Diagnosis, display: Display) -> str:
    b = diagnosis.breakthrough
    margin = b.sustained_margin_s or b.margin_s
    if margin is None:
        return speak(next(iter(b.notes), _SAY["cannot_tell"]), display)
    kind = _SAY["repeated" if b.sustained_margin_s else "single"]
    basis = _SAY["by_rating" if b.censored else "by_rise"]
    if margin.value < 0:
        return _SAY["margin_short"].format(kind=kind, length=display.duration(margin.scaled(-1), digits=2), basis=basis)
    text = _SAY["margin"].format(kind=kind, length=display.duration(margin, digits=2), basis=basis)
    if diagnosis.cycle.control == "stopped":
        return _SAY["until_the_stop"].format(text=text)
    return _SAY["passed_now"].format(text=text) if _passed_now(diagnosis) else text


def _passed_now(diagnosis: Diagnosis) -> bool:
    """Whether half-cycles pass the limit though the control is not meant to let them reach it."""
    return bool(diagnosis.breakthrough.reached) and diagnosis.cycle.control != "dew_point"


def is_in_one_stretch(diagnosis: Diagnosis) -> bool:
    """Whether the peaks differ in one stretch of the log rather than along a trend, which is then not drawn."""
    slope = diagnosis.trend.peak_dew_point_c_per_day
    return diagnosis.trend.verdict == "steady" and slope is not None and not slope.low <= 0 <= slope.high


def mend_first(diagnosis: Diagnosis) -> str:
    """What has to be mended before switching on dew point is worth what is told; empty where nothing has."""
    if diagnosis.cycle.control == "stopped":
        return _SAY["mend_switching"]
    if any(finding.code == "regeneration_failure" for finding in diagnosis.findings):
        return _SAY["mend_tower"]
    return _SAY["mend_first"] if _passed_now(diagnosis) else ""


def trend_words(diagnosis: Diagnosis, display: Display) -> str:
    """Which way the peaks go and when they would meet the limit, or why that cannot be told."""
    trend = diagnosis.trend
    slope = trend.peak_dew_point_c_per_day
    if not diagnosis.cycle.resolved:
        return _SAY["no_half_cycles"]
    if trend.verdict == "too_short" and diagnosis.cycle.control == "dew_point":
        return _SAY["held_peaks"]
    if is_in_one_stretch(diagnosis):
        return _SAY["one_stretch"]
    text = TREND_WORDS[trend.verdict]
    if slope is not None and trend.verdict != "too_short":
        unit = _SAY["slope_c" if display.temperature == "C" else "slope_f"]
        text += f": {display.estimate(slope, unit, digits=2, turned=display.kelvins)}"
    if trend.days_to_limit is not None:
        days = display.estimate(trend.days_to_limit, _SAY["days"], digits=2)
        text += _SAY["days_to_limit"].format(days=days)
    return text


def _purge(diagnosis: Diagnosis, display: Display) -> str:
    purge = diagnosis.purge
    if purge.average_m3_min is None:
        return speak(next(iter(purge.notes), _SAY["unknown_purge"]), display)
    text = display.flow_words(purge.average_m3_min)
    if purge.share_of_inlet is not None:
        text += _SAY["share_of_inlet"].format(share=display.percent(purge.share_of_inlet))
    if purge.energy_kwh_per_year is not None:
        text += _SAY["energy_a_year"].format(energy=display.estimate(purge.energy_kwh_per_year.total, "kWh"))
    if purge.cost_per_year is not None:
        cost = display.estimate(purge.cost_per_year, diagnosis.payback.currency)
        text += _SAY["cost_a_year"].format(cost=cost)
    return text


def _switching(diagnosis: Diagnosis, display: Display) -> str:
    switching = diagnosis.switching
    figures = switching.figures
    limited = LIMITED_WORDS[switching.limited_by]
    if switching.limited_by == "air_use":
        return limited
    if switching.already_saved_share is not None:
        return _SAY["already"].format(share=display.percent(switching.already_saved_share))
    if figures.regenerations_saved_share is None:
        return speak(next(iter(switching.notes), _SAY["cannot_tell"]), display)
    if switching.limited_by == "none_possible":
        return limited
    text = _SAY["saves"].format(share=display.percent(figures.regenerations_saved_share))
    if figures.energy_saved_kwh_per_year is not None:
        text += f", {display.estimate(figures.energy_saved_kwh_per_year, 'kWh')}"
    if figures.cost_saved_per_year is not None:
        cost = display.estimate(figures.cost_saved_per_year, diagnosis.payback.currency)
        text += _SAY["cost_a_year"].format(cost=cost)
    return f"{text}; {mend_first(diagnosis) or limited}"


def _payback(diagnosis: Diagnosis, display: Display) -> str:
    payback = diagnosis.payback
    if payback.simple_payback_years is None:
        return speak(next(iter(payback.notes), _SAY["not_reckoned"]), display)
    years = display.estimate(payback.simple_payback_years, _SAY["years"], digits=2)
    text = _SAY["payback"].format(years=years)
    if payback.npv is not None:
        text += _SAY["npv"].format(npv=display.estimate(payback.npv, payback.currency))
    if payback.irr is not None:
        text += _SAY["irr"].format(irr=display.percent(payback.irr))
    first = mend_first(diagnosis)
    if first:
        text += f"; {first}"
    return text
