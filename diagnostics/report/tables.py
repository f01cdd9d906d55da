"""Half-cycles, findings and the screened log as files for other programs and for spreadsheets."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

from diagnostics.diagnosis import Diagnosis
from diagnostics.report.cells import fit_for_workbook, neutral
from diagnostics.report.document import document, half_cycle_rows

HALF_CYCLE_KEYS = (
    "index",
    "start",
    "end",
    "tower",
    "complete",
    "peak_dew_point_c",
    "floor_dew_point_c",
    "end_dew_point_c",
    "mean_dew_point_c",
    "spike_dew_point_c",
)
FINDING_KEYS = (
    "code",
    "severity",
    "confidence",
    "start",
    "end",
    "tower",
    "statement",
    "evidence",
    "other_causes",
    "action",
    "caution",
)
LEVER_KEYS = (
    "key",
    "sentence",
    "energy_saved_kwh_per_year",
    "energy_low",
    "energy_high",
    "cost_saved_per_year",
    "cost_low",
    "cost_high",
    "needs_switching",
    "caution",
)
_UNITS = {
    "c_per_day": "K/d",
    "kwh_per_year": "kWh/a",
    "kg_per_year": "kg/a",
    "kw_per_m3_min": "kW/(m3/min)",
    "m3_min": "m3/min",
    "share": "1",
    "days_to_limit": "d",
    "years": "a",
    "irr": "1/a",
    "kw": "kW",
    "c": "degC",
    "k": "K",
    "s": "s",
}
_MONEY = ("cost_per_year", "cost_saved_per_year", "net_saving_per_year", "retrofit_cost", "npv")


def unit_of(key: str, currency: str) -> str:
    """Unit that a document's key names in its last words; empty for words and counts."""
    if key in _MONEY:
        return currency if key in ("retrofit_cost", "npv") else f"{currency}/a"
    if key in ("price_per_kwh", "cost_per_saved_kwh"):
        return f"{currency}/kWh"
    return next((unit for ending, unit in _UNITS.items() if key == ending or key.endswith(f"_{ending}")), "")


def half_cycles_csv(diagnosis: Diagnosis) -> str:
    """One row a half-cycle, columns in the order of the document's keys; header only when unresolved."""
    rows = half_cycle_rows(diagnosis.cycle, diagnosis.screened.log.timezone)
    return _csv(HALF_CYCLE_KEYS, ([row[key] for key in HALF_CYCLE_KEYS] for row in rows))


def findings_csv(diagnosis: Diagnosis) -> str:
    """One row a finding, lists joined by semicolons."""
    rows = document(diagnosis)["findings"]
    return _csv(FINDING_KEYS, ([_flat(row[key]) for key in FINDING_KEYS] for row in rows))


def workbook(diagnosis: Diagnosis) -> bytes:
    """All tables as an .xlsx workbook, one tidy sheet each."""
    from openpyxl import Workbook

    whole = document(diagnosis)
    book = Workbook()
    book.remove(book.active)
    headline = [
        (f"{part}.{key}", *_triple(value), unit_of(key, whole["payback"]["currency"]))
        for part in ("purity", "trend", "breakthrough", "purge", "switching", "payback")
        for key, value in whole[part].items()
        if not isinstance(value, list) and not (isinstance(value, dict) and "value" not in value)
    ]
    _sheet(book, "headline", ("key", "value", "low", "high", "unit"), headline)
    _sheet(book, "levers", LEVER_KEYS, [_lever(row) for row in whole["levers"]["levers"]])
    budget = whole["purity"]["budget"] or {}
    _sheet(book, "uncertainty", ("cause", "K"), list(budget.items()))
    half_cycles = [[row[key] for key in HALF_CYCLE_KEYS] for row in whole["cycle"]["half_cycles"]]
    _sheet(book, "half-cycles", HALF_CYCLE_KEYS, half_cycles)
    findings = [[_flat(row[key]) for key in FINDING_KEYS] for row in whole["findings"]]
    _sheet(book, "findings", FINDING_KEYS, findings)
    excluded = [[row["start"], row["end"], row["reason"]] for row in whole["log"]["excluded"]]
    _sheet(book, "set aside", ("start", "end", "reason"), excluded)
    assumptions = [[row["key"], row["value"], row["why"]] for row in whole["assumptions"]]
    _sheet(book, "assumptions", ("key", "value", "why"), assumptions)
    trace = [[s["key"], s["value"], s["unit"], s["formula"], _inputs(s["inputs"]), s["source"]] for s in whole["trace"]]
    _sheet(book, "derivation", ("key", "value", "unit", "formula", "inputs", "source"), trace)
    _sheet(book, "notes", ("note",), [[note] for note in whole["notes"]])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def screened_parquet(diagnosis: Diagnosis) -> bytes:
    """The screened log: time, every channel, the dew point at line pressure, used, reason set aside."""
    import pandas as pd

    screened, log = diagnosis.screened, diagnosis.screened.log
    table = pd.DataFrame({"time": pd.to_datetime(log.time_s, unit="s", utc=True), **log.channels})
    table = table.rename(columns={"dew_point": "dew_point_as_logged_c"})
    table["dew_point_c"] = screened.dew_point_c
    table["moisture_mole_fraction"] = screened.moisture
    table["used"] = screened.used
    reason = pd.Series(pd.NA, index=table.index, dtype="string")
    for item in screened.exclusions:
        reason[(log.time_s >= item.start_s) & (log.time_s <= item.end_s)] = item.reason
    table["set_aside"] = reason
    stream = io.BytesIO()
    table.to_parquet(stream, index=False)
    return stream.getvalue()


def _csv(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([neutral(title) for title in header])
    for row in rows:
        writer.writerow(["" if cell is None else _word(neutral(cell)) for cell in row])
    return stream.getvalue()


def _word(cell: Any) -> Any:
    return str(cell).lower() if isinstance(cell, bool) else cell


def _flat(value: Any) -> Any:
    return "; ".join(value) if isinstance(value, list) else value


def _inputs(inputs: list[Any]) -> str:
    return "; ".join(f"{name} = {value} ({origin})" for name, value, origin in inputs)


def _triple(value: Any) -> tuple[Any, Any, Any]:
    if isinstance(value, dict):
        return value["value"], value["low"], value["high"]
    return value, None, None


def _lever(row: dict[str, Any]) -> tuple[Any, ...]:
    energy, cost = _triple(row["energy_saved_kwh_per_year"]), row["cost_saved_per_year"]
    money = (None, None, None) if cost is None else _triple(cost)
    return row["key"], row["sentence"], *energy, *money, row["needs_switching"], row["caution"]


def _sheet(book: Any, title: str, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    sheet = book.create_sheet(title)
    sheet.append([fit_for_workbook(title) for title in header])
    for row in rows:
        sheet.append([fit_for_workbook(cell) for cell in row])
    sheet.freeze_panes = "A2"
