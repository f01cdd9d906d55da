"""The fleet's ranked table: on the screen, as CSV, and as a page that opens offline and prints well."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from diagnostics.estimate import Estimate
from diagnostics.report.cells import neutral
from diagnostics.report.figures import METRIC, NOTHING, Display
from diagnostics.report.layouts import template_of
from diagnostics.report.severity import SEVERITY_STYLE
from diagnostics.report.spoken_units import speak
from diagnostics.report.texts import LANGUAGE, words
from diagnostics.version import VERSION

COLUMNS = (
    "dryer",
    "header",
    "urgency",
    "first",
    "do",
    "conformity",
    "class",
    "p95_dew_point_c",
    "control",
    "half_cycle_s",
    "trend",
    "purge_cost_per_year",
    "cost_saved_per_year",
    "cost_saved_low",
    "cost_saved_high",
    "currency",
    "simple_payback_years",
    "error",
    "code",
    "findings",
    "limit_dew_point_c",
    "moisture_mean_dew_point_c",
    "mean_flow_m3_min",
    "trend_k_per_day",
    "days_to_limit",
    "purge_cost_low",
    "purge_cost_high",
    "energy_saved_kwh_per_year",
    "energy_saved_low",
    "energy_saved_high",
)

MOST_TOLD = 8
"""Dryers whose first finding is told in full on the screen."""

Rows = Sequence[Mapping[str, Any]]


def fleet_csv(rows: Rows) -> str:
    """One row a dryer, most urgent first."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(("rank", *COLUMNS))
    for rank, row in enumerate(rows, 1):
        writer.writerow([rank] + [neutral("" if row.get(key) is None else row.get(key, "")) for key in COLUMNS])
    return stream.getvalue()


def show_fleet(rows: Rows, headers: Rows, written: Sequence[str], display: Display = METRIC) -> None:
    """Print the ranked table."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    say, severity = words("fleet"), words("severity")
    console = Console(highlight=False)
    for sentence in _verdict(rows, display):
        console.print(Text(sentence, "bold"))
    table = Table(box=None, pad_edge=False, header_style="dim")
    for title in say["screen_columns"].split("|"):
        table.add_column(title, overflow="fold")
    for row in rows:
        urgency = str(row["urgency"])
        named = Text(severity[urgency], SEVERITY_STYLE.get(urgency, "dim"))
        cells = [display.level_words(row.get("p95_dew_point_c")), *_cells(row, display)[1:4]]
        table.add_row(Text(str(row["dryer"])), named, *map(Text, cells))
    console.print(table)
    for header in headers:
        level = _mixed(header, display)
        console.print(Text(say["header_line"].format(header=header["header"], level=level)))
    console.print()
    urgent = [row for row in rows if row["urgency"] in ("critical", "warning")]
    for row in urgent[:MOST_TOLD]:
        style = SEVERITY_STYLE[str(row["urgency"])]
        console.print(
            Text.assemble(
                (f"{row['dryer']}  ", style),
                speak(str(row["first"]), display),
                "\n",
                ("→ ", "dim"),
                speak(str(row["do"]), display),
            )
        )
    if len(urgent) > MOST_TOLD:
        console.print(Text(say["more_urgent"].format(count=len(urgent) - MOST_TOLD), "dim"))
    for row in rows:
        if row.get("error"):
            console.print(Text.assemble((f"{row['dryer']}  ", "bold"), str(row["error"])))
    for path in written:
        console.print(Text.assemble((words("terminal")["written"], "dim"), path))


def fleet_page(rows: Rows, headers: Rows, *, today: dt.date | None = None, display: Display = METRIC) -> str:
    """The ranked table as self-contained HTML.

    Parameters
    ----------
    rows, headers : sequence of mapping
        As `fleet.run_fleet` and `fleet.headers` return them.
    today : date, optional
        Date that the page bears; today's if not given.
    display : Display
        Units and number format.
    """
    say = words("fleet")
    shown = [
        {
            "dryer": row["dryer"],
            "urgency": row["urgency"],
            "cells": _cells(row, display),
            "do": speak(str(row["do"]), display) or NOTHING,
        }
        for row in rows
        if row["urgency"] != "failed"
    ]
    titles = {name: say[name].split("|") for name in ("header_columns", "visit_columns", "failure_columns", "columns")}
    page: str = template_of("fleet.html").render(
        **titles,
        texts=say,
        severity=words("severity"),
        language=LANGUAGE,
        version=VERSION,
        date=(today or dt.date.today()).isoformat(),
        verdict=_verdict(rows, display),
        rows=shown,
        headers=[line for header in headers for line in _header_lines(header, display)],
        visits=[(row["dryer"], _visits(row, display)) for row in rows if len(row.get("visits") or ()) > 1],
        failures=[(row["dryer"], row["error"]) for row in rows if row.get("error")],
    )
    return page


def _verdict(rows: Rows, display: Display) -> list[str]:
    """What stands where, and what is at stake, in two or three sentences."""
    say, severity = words("fleet"), words("severity")
    counts = Counter(str(row["urgency"]) for row in rows)
    parts = [
        say["part"].format(count=counts[urgency], urgency=severity[urgency])
        for urgency in ("critical", "warning", "info")
        if counts[urgency]
    ]
    parts += [say[key].format(count=counts[name]) for name, key in _OTHERS if counts[name]]
    told = say["count_one" if len(rows) == 1 else "count_many"]
    sentences = [told.format(count=len(rows), parts=", ".join(parts))]
    cost, _ = _money(rows, "purge_cost", display)
    saved, dryers = _money(rows, "cost_saved", display)
    if cost:
        sentences.append(say["costs"].format(money=cost))
    if saved:
        of = say["worth_one"] if dryers == 1 else say["worth_many"].format(count=dryers)
        sentences.append(say["worth"].format(money=saved, dryers=of))
    return sentences


_OTHERS = (("none", "nothing_urgent"), ("failed", "not_diagnosed"))


def _money(rows: Rows, key: str, display: Display) -> tuple[str, int]:
    """Sum by currency in words, and how many dryers are in it."""
    sums: dict[str, list[Estimate]] = defaultdict(list)
    for row in rows:
        if row.get(f"{key}_per_year"):
            sums[str(row["currency"])].append(_estimate(row, key))
    said = []
    for currency, amounts in sorted(sums.items()):
        total, low, high = (display.number(sum(getattr(a, end) for a in amounts)) for end in ("value", "low", "high"))
        form = words("fleet")["all_alike" if len(amounts) > 1 else "alone"]
        said.append(form.format(total=total, currency=currency, low=low, high=high))
    return " + ".join(said), sum(map(len, sums.values()))


def _estimate(row: Mapping[str, Any], key: str, per_year: str = "_per_year") -> Estimate:
    """Yearly amount of a row; rows of an earlier run may lack its ends."""
    value = row[f"{key}{per_year}"]
    low, high = row.get(f"{key}_low"), row.get(f"{key}_high")
    return Estimate(value, value if low is None else low, value if high is None else high)


def _cells(row: Mapping[str, Any], display: Display) -> list[str]:
    if row["urgency"] == "failed":
        return [NOTHING, NOTHING, NOTHING, NOTHING, str(row["first"])]
    say = words("fleet")
    saved, half_cycle = row.get("cost_saved_per_year"), row.get("half_cycle_s")
    money = NOTHING if saved is None else display.estimate(_estimate(row, "cost_saved"), row["currency"])
    if saved is None and row.get("energy_saved_kwh_per_year"):
        money = display.estimate(_estimate(row, "energy_saved", "_kwh_per_year"), "kWh")
    level = display.level_words(row.get("p95_dew_point_c"))
    if row.get("limit_dew_point_c") is not None and level != NOTHING:
        limit = display.level_words(row["limit_dew_point_c"], 0)
        level = say["dew_point"].format(level=level, limit=limit)
    trend = words("fleet_trend").get(str(row.get("trend")), NOTHING)
    if row.get("trend") == "rising" and row.get("days_to_limit") is not None:
        trend = say["trend_days"].format(trend=trend, days=display.number(row["days_to_limit"], digits=2))
    first = speak(str(row["first"]), display)
    return [level, display.span(half_cycle) if half_cycle else NOTHING, trend, money, first]


def _visits(row: Mapping[str, Any], display: Display) -> str:
    said = words("fleet")["visit"]
    return ", ".join(
        said.format(level=display.level_words(visit["p95_dew_point_c"]), date=visit["start"][:10])
        for visit in row["visits"]
    )


def _mixed(header: Mapping[str, Any], display: Display) -> str:
    level = header["mixed_dew_point_c"]
    return words("fleet")["unknown_mix"] if level is None else display.level_words(level)


def _header_lines(header: Mapping[str, Any], display: Display) -> list[list[str]]:
    say = words("fleet")
    lines = []
    for place, member in enumerate(header["members"]):
        flow, share = member["flow_m3_min"], member["share_of_water"]
        lines.append(
            [
                header["header"] if place == 0 else "",
                str(member["dryer"]),
                NOTHING if flow is None else f"{display.number(display.volume_flow(flow))} {display.flow_unit}",
                display.level_words(member["moisture_mean_dew_point_c"]),
                NOTHING if share is None else say["water"].format(share=f"{display.number(100 * share, decimals=0)} %"),
                _mixed(header, display) if place == 0 else "",
            ]
        )
    return lines
