"""What the report says, in words and tables: the same for the page and for the PDF."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

from diagnostics.diagnosis import Diagnosis
from diagnostics.health.record import Finding
from diagnostics.measurement_plan import PlanLine
from diagnostics.measurement_shortfall import needed_for
from diagnostics.moment import say_time
from diagnostics.report.document import document
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.half_cycle_charts import forecast_table
from diagnostics.report.instrument import budget_rows, instrument_rows
from diagnostics.report.levers import lever_columns, lever_notes, lever_rows
from diagnostics.report.money_charts import energy_table
from diagnostics.report.setting_names import named, named_setting, turned_setting
from diagnostics.report.spoken_units import speak
from diagnostics.report.summary import CONFORMITY_WORDS, log_line, mend_first, seen_lines, worth_lines
from diagnostics.report.texts import texts, words
from diagnostics.version import VERSION

FIRST = 3
"""Findings on the first sheet; all of them stand further back."""
MOST_ROWS = 12
"""Rows of the table of stretches set aside."""
_IN_TABLES = ("cycle.towers.", "switching.cautious.", "levers.")
"""Figures whose table says how they came about; the JSON document and the workbook trace each."""


def report_content(diagnosis: Diagnosis, *, today: dt.date | None = None, display: Display = METRIC) -> dict[str, Any]:
    """What the report says, as plain values, the same for page and PDF.

    Parameters
    ----------
    diagnosis : Diagnosis
    today : date, optional
        Date that the report bears; today's if not given.
    display : Display
        Units and number format.
    """
    whole, page = document(diagnosis), words("page")
    zone = diagnosis.screened.log.timezone or page["own_clock"]
    findings = [_finding(finding, diagnosis, display) for finding in diagnosis.findings]
    switching = _switching(diagnosis, display)
    levers = lever_rows(diagnosis, display)

    def say(sentence: str) -> str:
        return speak(named(sentence, display, tab=False), display)

    return {
        "texts": {
            **{table: texts()[table] for table in ("page", "headings", "alternatives")},
            "captions": _captions(diagnosis, zone, display),
            "columns": {table: titles.split("|") for table, titles in words("columns").items()}
            | {"levers": lever_columns(levers)},
        },
        "title": diagnosis.plant.site.name or page["untitled"],
        "date": (today or dt.date.today()).isoformat(),
        "version": VERSION,
        "log_line": log_line(diagnosis, display),
        "verdict": verdict(diagnosis, display),
        "headline": headline(diagnosis, display),
        "first": findings[:FIRST],
        "first_cautions": list(dict.fromkeys(item["caution"] for item in findings[:FIRST] if item["caution"])),
        "more": _more(page["more_findings"], len(findings) - FIRST),
        "findings": findings,
        "seen": [(line.topic, named(line.text, display, tab=False)) for line in seen_lines(diagnosis, display)],
        "worth": [(line.topic, named(line.text, display, tab=False)) for line in worth_lines(diagnosis, display)],
        "towers": _towers(whole, display),
        "excluded": _excluded(diagnosis)[:MOST_ROWS],
        "more_excluded": _more(page["more_rows"], len(diagnosis.screened.exclusions) - MOST_ROWS),
        "instrument": instrument_rows(diagnosis, display),
        "budget": budget_rows(diagnosis, display),
        "next_log": [say(f"{line.instruction} {line.reason}") for line in _lacking(diagnosis)],
        "money": bool(switching) or bool(diagnosis.payback.cash_flow) or energy_table(diagnosis)["case"].nunique() > 1,
        "switching": switching,
        "levers": levers,
        "lever_notes": [named(note, display, tab=False) for note in lever_notes(diagnosis, display)],
        "method": _method(whole, display),
        "derivation": [_derived(step, display) for step in whole["trace"] if not step["key"].startswith(_IN_TABLES)],
        "assumptions": [_assumption(item, display) for item in whole["assumptions"]],
        "notes": [say(note) for note in whole["notes"]],
        "cautions": texts()["cautions"]["list"],
        "plain_log": page["plain_log"].format(
            source=whole["log"]["source"], sha256=whole["log"]["sha256"] or page["unknown"]
        ),
    }


def _captions(diagnosis: Diagnosis, zone: str, display: Display) -> dict[str, str]:
    """Captions that name only what is drawn."""
    say = words("captions")
    hatched = say["hatched"] if diagnosis.screened.exclusions else ""
    trend = say["peaks_trend"] if len(forecast_table(diagnosis)) else ""
    return say | {
        "curve": say["curve"].format(zone=zone, hatched=hatched),
        "peaks": say["peaks"].format(trend=trend),
        "budget": say["budget"].format(unit=display.difference_unit),
    }


def _assumption(item: dict[str, Any], display: Display) -> tuple[str, str, str]:
    key = item["key"]
    value = _cell(turned_setting(key, item["value"], display), display)
    return named_setting(key, display), value, speak(named(item["why"], display, tab=False), display)


def _lacking(diagnosis: Diagnosis) -> tuple[PlanLine, ...]:
    return needed_for(diagnosis.screened, diagnosis.cycle, diagnosis.plant)


def _more(sentence: str, count: int) -> str:
    return sentence.format(count=count) if count > 0 else ""


def _finding(finding: Finding, diagnosis: Diagnosis, display: Display) -> dict[str, Any]:
    page = words("page")
    zone = diagnosis.screened.log.timezone

    def say(sentence: str) -> str:
        return speak(named(sentence, display, tab=False), display)

    places = [
        page["tower"].format(tower=finding.tower) if finding.tower else "",
        _when(finding.start_s, finding.end_s, zone),
    ]
    return {
        "severity": finding.severity,
        "place": "".join(f" · {place}" for place in places if place),
        "statement": say(finding.statement),
        "action": say(finding.action),
        "sure": page["sure"].format(share=display.rounded_share(finding.confidence)),
        "evidence": say(" ".join(finding.evidence)),
        "other_causes": say("; ".join(finding.other_causes)),
        "caution": say(finding.caution),
    }


def _method(whole: dict[str, Any], display: Display) -> str:
    method: dict[str, Any] = texts()["method"]
    margin = whole["breakthrough"]["method"]
    filled: str = method["text"].format(
        margin=method["margin"].get(margin, margin),
        purge=method["purge"][whole["purge"]["basis"]],
        standard=whole["purity"]["standard"],
        band=display.difference_words(whole["instrument"]["uncertainty_c"]),
    )
    return filled


def verdict(diagnosis: Diagnosis, display: Display) -> str:
    """Whether the air is dry enough and how many matters call for action, in one sentence."""
    p, say = diagnosis.purity, words("verdict")
    if p.p95_dew_point_c is None:
        return say["no_reading"]
    limit = say["the_limit"].format(limit=display.level_words(p.limit_dew_point_c, 0))
    dry = say["dry"].format(conformity=CONFORMITY_WORDS[p.conformity].replace("the limit", limit, 1))
    urgent = sum(finding.severity in ("critical", "warning") for finding in diagnosis.findings)
    kind = "nothing" if urgent == 0 else "one" if urgent == 1 else "many"
    if urgent == 0 and not diagnosis.cycle.resolved:
        kind = "unseen"
    return say[kind].format(dry=dry, count=urgent)


def headline(diagnosis: Diagnosis, display: Display) -> list[tuple[str, str, str]]:
    """The four numbers a manager looks for: label, number, interval."""
    purge, switching, payback = diagnosis.purge, diagnosis.switching.figures, diagnosis.payback
    currency, say = payback.currency, words("headline")
    mended = "_once_mended" if mend_first(diagnosis) else ""
    rows: list[tuple[str, str, str]] = []

    def add(label: str, estimate: Any, unit: str, digits: int = 3) -> None:
        if estimate is not None:
            number = f"{display.number(estimate.value, digits=digits)} {unit}".strip()
            low, high = display.number(estimate.low, digits=digits), display.number(estimate.high, digits=digits)
            rows.append((say[label], number, say["between"].format(low=low, high=high)))

    p = diagnosis.purity
    if p.p95_dew_point_c is not None:
        band = display.difference_words(p.uncertainty_c)
        limit = display.level_words(p.limit_dew_point_c, 0)
        told = say["dew_point_band"].format(band=band, limit=limit)
        rows.append((say["dew_point"], display.level_words(p.p95_dew_point_c), told))
    add("cost", purge.cost_per_year, currency)
    if purge.cost_per_year is None and purge.energy_kwh_per_year is not None:
        add("energy", purge.energy_kwh_per_year.total, "kWh")
    already = diagnosis.switching.already_saved_share
    if already is not None:
        low, high = (display.number(100 * share, decimals=0) for share in (already.low, already.high))
        number = f"{display.number(100 * already.value, decimals=0)} %"
        rows.append((say["already"], number, say["between"].format(low=low, high=high)))
    elif switching.cost_saved_per_year is not None:
        add(f"saving{mended}", switching.cost_saved_per_year, currency)
    else:
        add(f"saving{mended}", switching.energy_saved_kwh_per_year, "kWh")
    add(f"payback{mended}", payback.simple_payback_years, words("summary")["years"], digits=2)
    return rows


def _when(start_s: float | None, end_s: float | None, zone: str | None) -> str:
    page = words("page")
    if start_s is None:
        return ""
    if end_s is None or end_s <= start_s:
        return page["since"].format(start=say_time(start_s, zone))
    return page["span"].format(start=say_time(start_s, zone), end=say_time(end_s, zone))


def _towers(whole: dict[str, Any], display: Display) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for tower, values in whole["cycle"]["towers"].items():
        length = values["half_cycle_s"]
        rows.append(
            (
                tower,
                str(values["half_cycles"]),
                "–" if length is None else display.span(length),
                display.level_words(values["floor_dew_point_c"], 2),
                display.level_words(values["peak_dew_point_c"], 2),
            )
        )
    return rows


def _excluded(diagnosis: Diagnosis) -> list[tuple[str, str, str]]:
    zone = diagnosis.screened.log.timezone
    return [
        (say_time(item.start_s, zone), say_time(item.end_s, zone), words("reason")[item.reason])
        for item in diagnosis.screened.exclusions
    ]


def _switching(diagnosis: Diagnosis, display: Display) -> list[tuple[str, str, str]]:
    if diagnosis.switching.already_saved_share is not None:
        return []  # nothing is left to gain, and a table of noughts tells nobody anything
    central, cautious = diagnosis.switching.figures, diagnosis.switching.cautious
    currency = diagnosis.payback.currency
    say: dict[str, Any] = {
        "half_cycle_s": display.duration,
        "regenerations_saved_share": display.percent,
        "purge_saved_m3_min": display.flow_words,
        "energy_saved_kwh_per_year": lambda e: display.estimate(e, "kWh"),
        "cost_saved_per_year": lambda e: display.estimate(e, currency),
        "co2_saved_kg_per_year": lambda e: display.estimate(e, "kg"),
    }
    return [
        (words("switching")[key], shown(getattr(central, key)), shown(getattr(cautious, key)))
        for key, shown in say.items()
        if getattr(central, key) is not None
    ]


def _derived(step: dict[str, Any], display: Display) -> tuple[str, str, str, str, str]:
    letters = words("origin")
    inputs = (
        f"{name} = {_cell(value, display)} ({letters.get(origin, origin)})" for name, value, origin in step["inputs"]
    )
    value = f"{_cell(step['value'], display)} {step['unit']}".removesuffix(" -")
    return step["key"], value, step["formula"], "; ".join(inputs), step["source"]


def _cell(value: Any, display: Display) -> str:
    if not isinstance(value, int | float):
        return str(value)
    if 0 < abs(value) < 1e-4:
        power = math.floor(math.log10(abs(value)))
        return f"{display.number(value / 10.0**power, digits=2)} · 10^{power}"
    if float(value).is_integer():
        return display.number(value, decimals=0)
    return display.number(value, digits=4)
