"""The fleet's ranked table: on the screen, as CSV, and as a page that opens offline."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from diagnostics.moment import say_duration
from diagnostics.report.figures import say_level, say_number
from diagnostics.report.tables import neutral
from diagnostics.report.terminal import SEVERITY_STYLE

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
)


def fleet_csv(rows: Sequence[Mapping[str, Any]]) -> str:
    """One row a dryer, most urgent first."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(("rank", *COLUMNS))
    for rank, row in enumerate(rows, 1):
        writer.writerow([rank] + [neutral("" if row.get(key) is None else row.get(key, "")) for key in COLUMNS])
    return stream.getvalue()


def show_fleet(
    rows: Sequence[Mapping[str, Any]],
    headers: Sequence[Mapping[str, Any]],
    written: Sequence[str],
    console: Console | None = None,
) -> None:
    """Print the ranked table."""
    console = console or Console(highlight=False)
    table = Table(box=None, pad_edge=False, header_style="dim")
    for title in ("dryer", "urgency", "dew point", "half-cycle", "trend", "saves a year", "first"):
        table.add_column(title, overflow="fold")
    for row in rows:
        style = SEVERITY_STYLE.get(str(row["urgency"]), "dim")
        table.add_row(Text(str(row["dryer"])), Text(str(row["urgency"]), style), *map(Text, _cells(row)))
    console.print(table)
    for header in headers:
        console.print(f"header {header['header']}: mixed air at {say_level(header['mixed_dew_point_c'])}")
    for path in written:
        console.print(Text.assemble(("written: ", "dim"), path))


def fleet_page(rows: Sequence[Mapping[str, Any]], headers: Sequence[Mapping[str, Any]]) -> str:
    """Ranked table as self-contained HTML."""
    from jinja2 import Environment

    template = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True).from_string(_PAGE)
    shown = [{"dryer": r["dryer"], "urgency": r["urgency"], "cells": _cells(r), "do": r.get("do", "")} for r in rows]
    mixed = [(h["header"], ", ".join(h["dryers"]), say_level(h["mixed_dew_point_c"])) for h in headers]
    return template.render(rows=shown, headers=mixed, titles=_TITLES)


def _cells(row: Mapping[str, Any]) -> list[str]:
    half_cycle = row.get("half_cycle_s")
    saved = row.get("cost_saved_per_year")
    money = f"{say_number(saved)} {row.get('currency', '')}".strip() if saved is not None else "–"
    return [
        say_level(row.get("p95_dew_point_c")),
        say_duration(half_cycle) if half_cycle else "–",
        str(row.get("trend", "–")).replace("_", " "),
        money,
        str(row["first"]),
    ]


_TITLES = ("Dryer", "Urgency", "Dew point, 95th percentile", "Half-cycle", "Trend", "Saves a year", "Seen", "Do")

_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Dryers, most urgent first</title>
<style>
body { margin: 0; background: #fff; color: #1f2d35; font: 15px/1.5 system-ui, "Segoe UI", "DejaVu Sans", sans-serif; }
main { max-width: 76rem; margin: 0 auto; padding: 1.5rem; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.1rem; margin-top: 2rem; }
.wide { overflow-x: auto; } table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: .35rem .75rem .35rem 0; border-bottom: 1px solid #d5dde1; }
.critical { color: #a3211a; font-weight: 600; } .warning { color: #8a5a00; font-weight: 600; }
.failed, .none { color: #55666f; } @media print { @page { size: landscape; margin: 14mm; } }
</style></head><body><main>
<h1>Dryers, most urgent first</h1>
<div class="wide"><table><thead><tr>
{% for title in titles %}
<th scope="col">{{ title }}</th>
{% endfor %}
</tr></thead><tbody>
{% for row in rows %}
<tr><th scope="row">{{ row.dryer }}</th><td class="{{ row.urgency }}">{{ row.urgency }}</td>
{% for cell in row.cells %}<td>{{ cell }}</td>{% endfor %}<td>{{ row.do }}</td></tr>
{% endfor %}
</tbody></table></div>
{% if headers %}
<h2>Shared headers, air mixed in moisture</h2>
<table><thead><tr><th scope="col">Header</th><th scope="col">Dryers</th>
<th scope="col">Mixed dew point</th></tr></thead>
<tbody>{% for row in headers %}<tr>{% for cell in row %}<td>{{ cell }}</td>{% endfor %}</tr>{% endfor %}</tbody></table>
{% endif %}
</main></body></html>
"""
