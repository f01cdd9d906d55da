"""What the report says, in words and tables: the same for the page and for the PDF."""

from __future__ import annotations

import datetime as dt
from typing import Any

from diagnostics.diagnosis import Diagnosis
from diagnostics.moment import say_duration, say_time
from diagnostics.report.document import document
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.summary import CONFORMITY_WORDS, log_line, seen_lines, worth_lines
from diagnostics.version import VERSION

CAUTIONS = (
    "Vessels hold stored pressure: isolate, lock out, vent both, and read zero on every gauge before opening anything;"
    " a closed valve or a blocked silencer can hold pressure.",
    "Parts of a heated dryer stay at 150 to 300 °C for hours. Never stand before an exhaust silencer or run without"
    " one; wear ear protection.",
    "Desiccant dust harms lungs and eyes: mask and goggles. Oily desiccant and a heater can burn. Fresh molecular sieve"
    " heats up on wetting.",
    "Breathing and medical air: this report releases nothing; the responsible person decides.",
    "Local codes and licensed practice come first.",
)


def report_content(diagnosis: Diagnosis, *, today: dt.date | None = None, display: Display = METRIC) -> dict[str, Any]:
    """What the report says, the same for page and PDF.

    Parameters
    ----------
    diagnosis : Diagnosis
    today : date, optional
        Date that the report bears; today's if not given.
    display : Display
        Units and number format.
    """
    zone = diagnosis.screened.log.timezone
    whole = document(diagnosis)
    return {
        "title": diagnosis.plant.site.name or "Desiccant dryer",
        "date": (today or dt.date.today()).isoformat(),
        "version": VERSION,
        "document": whole,
        "log_line": log_line(diagnosis),
        "verdict": verdict(diagnosis, display),
        "seen": seen_lines(diagnosis, display),
        "worth": worth_lines(diagnosis, display),
        "headline": headline(diagnosis, display),
        "findings": [
            {
                "finding": finding,
                "when": _when(finding.start_s, finding.end_s, zone),
                "confidence": display.share(finding.confidence),
            }
            for finding in diagnosis.findings
        ],
        "towers": _towers(whole, display),
        "switching": _switching(diagnosis, display),
        "excluded": [
            (say_time(e.start_s, zone), say_time(e.end_s, zone), e.reason.replace("_", " "))
            for e in diagnosis.screened.exclusions
        ],
        "zone": zone or "the log's own clock",
        "method": _method(whole, display),
        "cautions": CAUTIONS,
    }


def _method(whole: dict[str, Any], display: Display) -> str:
    band = display.number(whole["instrument"]["uncertainty_c"], digits=2)
    return (
        "Vapour pressure over ice after IAPWS R14-08, over water after IAPWS SR1-86, with the enhancement factor of"
        " moist air at line pressure. Averages are taken in moisture, never in dew point. A timer's half-cycles are"
        " found by folding the log on its own period, tested against its own red noise; under dew point control they"
        f" are found by the shape of each rise. Margin: {whole['breakthrough']['method']}. Intervals are 95 %. Classes"
        f" after {whole['purity']['standard']}; conformity is judged with a guard band of ± {band} K from the"
        " instrument's uncertainty."
    )


def verdict(diagnosis: Diagnosis, display: Display) -> str:
    p = diagnosis.purity
    if p.p95_dew_point_c is None:
        return "The log holds no usable reading of the dryer's air."
    limit = f"the limit of {display.level_words(p.limit_dew_point_c, 0)}"
    dry = f"The air {CONFORMITY_WORDS[p.conformity].replace('the limit', limit, 1)}"
    urgent = [f for f in diagnosis.findings if f.severity in ("critical", "warning")]
    if not urgent:
        return f"{dry}; nothing calls for action now."
    return (
        f"{dry}; {len(urgent)} matter{'s' if len(urgent) > 1 else ''} call{'' if len(urgent) > 1 else 's'} for action."
    )


def headline(diagnosis: Diagnosis, display: Display) -> list[tuple[str, str, str]]:
    """The four numbers a manager looks for: label, number, interval."""
    purge, switching, payback = diagnosis.purge, diagnosis.switching.figures, diagnosis.payback
    currency = payback.currency
    rows: list[tuple[str, str, str]] = []

    def add(label: str, estimate: Any, unit: str, digits: int = 3) -> None:
        if estimate is not None:
            number = f"{display.number(estimate.value, digits=digits)} {unit}".strip()
            low, high = display.number(estimate.low, digits=digits), display.number(estimate.high, digits=digits)
            rows.append((label, number, f"{low} to {high}"))

    p = diagnosis.purity
    if p.p95_dew_point_c is not None:
        band = f"{display.number(display.kelvins(p.uncertainty_c), digits=2)} {display.temperature_unit}"
        rows.append(
            (
                "Dew point, 95th percentile",
                display.level_words(p.p95_dew_point_c),
                f"± {band}, limit {display.level_words(p.limit_dew_point_c, 0)}",
            )
        )
    add("Regeneration costs a year", purge.cost_per_year, currency)
    if purge.cost_per_year is None and purge.energy_kwh_per_year is not None:
        add("Regeneration takes a year", purge.energy_kwh_per_year.total, "kWh")
    add("Switching on dew point saves a year", switching.cost_saved_per_year, currency)
    add("Pays back in", payback.simple_payback_years, "years", digits=2)
    return rows


def _when(start_s: float | None, end_s: float | None, zone: str | None) -> str:
    if start_s is None:
        return ""
    if end_s is None or end_s <= start_s:
        return f"since {say_time(start_s, zone)}"
    return f"{say_time(start_s, zone)} to {say_time(end_s, zone)}"


def _towers(whole: dict[str, Any], display: Display) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for tower, values in whole["cycle"]["towers"].items():
        length = values["half_cycle_s"]
        rows.append(
            (
                tower,
                str(values["half_cycles"]),
                "–" if length is None else say_duration(length),
                display.level_words(values["floor_dew_point_c"], 2),
                display.level_words(values["peak_dew_point_c"], 2),
            )
        )
    return rows


def _switching(diagnosis: Diagnosis, display: Display) -> list[tuple[str, str, str]]:
    central, cautious = diagnosis.switching.figures, diagnosis.switching.cautious
    currency = diagnosis.payback.currency
    return [
        ("Mean half-cycle", display.duration(central.half_cycle_s), display.duration(cautious.half_cycle_s)),
        (
            "Regenerations saved",
            display.percent(central.regenerations_saved_share),
            display.percent(cautious.regenerations_saved_share),
        ),
        (
            "Purge air saved",
            display.flow_words(central.purge_saved_m3_min),
            display.flow_words(cautious.purge_saved_m3_min),
        ),
        (
            "Energy saved a year",
            display.estimate(central.energy_saved_kwh_per_year, "kWh"),
            display.estimate(cautious.energy_saved_kwh_per_year, "kWh"),
        ),
        (
            "Cost saved a year",
            display.estimate(central.cost_saved_per_year, currency),
            display.estimate(cautious.cost_saved_per_year, currency),
        ),
    ]
