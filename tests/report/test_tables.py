"""Tables for other programs: columns, numbers that stay numbers, cells that no spreadsheet runs."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics import Diagnosis, diagnose, plant_from, read_log
from diagnostics.report import tables
from tests.logs import saw_tooth


def test_half_cycle_columns_are_the_contract_s(diagnosis: Diagnosis) -> None:
    rows = list(csv.reader(io.StringIO(tables.half_cycles_csv(diagnosis))))
    assert rows[0] == [
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
    ]
    assert len(rows) == 1 + len(diagnosis.cycle.half_cycles)
    frame = pd.read_csv(io.StringIO(tables.half_cycles_csv(diagnosis)))
    assert frame["peak_dew_point_c"].dtype == "float64"
    assert frame["complete"].dtype == "bool"


@given(st.text(max_size=30))
def test_no_cell_begins_like_a_formula(text: str) -> None:
    cell = tables.neutral(text)
    assert cell.lstrip("'") == text.lstrip("'")
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


@pytest.mark.parametrize("number", [-40.0, 0, 3.5, True, None])
def test_numbers_stay_numbers(number: object) -> None:
    assert tables.neutral(number) is number


def test_workbook_reads_back(diagnosis: Diagnosis) -> None:
    book = openpyxl.load_workbook(io.BytesIO(tables.workbook(diagnosis)))
    assert {"headline", "half-cycles", "findings", "assumptions", "derivation", "notes"} <= set(book.sheetnames)
    sheet = book["half-cycles"]
    assert sheet.max_row == 1 + len(diagnosis.cycle.half_cycles)
    assert isinstance(sheet.cell(2, 6).value, float | int)
    assert {"levers", "uncertainty"} <= set(book.sheetnames)
    units = {row[0].value: row[4].value for row in book["headline"].iter_rows(min_row=2)}
    assert units["purity.p95_dew_point_c"] == "degC"
    assert units["switching.energy_saved_kwh_per_year"] == "kWh/a"
    assert units["payback.npv"] == "EUR"
    assert units["trend.peak_dew_point_c_per_day"] == "K/d"
    headline = {row[0].value: row[1].value for row in book["headline"].iter_rows(min_row=2)}
    assert headline["purity.p95_dew_point_c"] == pytest.approx(diagnosis.purity.p95_dew_point_c)


def test_screened_log_reads_back(diagnosis: Diagnosis) -> None:
    frame = pd.read_parquet(io.BytesIO(tables.screened_parquet(diagnosis)))
    assert len(frame) == diagnosis.screened.log.samples
    assert frame["used"].sum() == diagnosis.screened.used.sum()
    assert frame["set_aside"].notna().sum() == 0


def test_every_exported_cell_is_safe_headers_too() -> None:
    text = tables._csv(("=cmd", "-2", "plain"), [["+1", -2.0, "@x"]])
    assert list(csv.reader(io.StringIO(text))) == [["'=cmd", "'-2", "plain"], ["'+1", "-2.0", "'@x"]]


@pytest.mark.parametrize(
    ("cell", "kept"),
    [("a\x07b", "ab"), ("\x00=1+1", "'=1+1"), ("x" * 40_000, "x" * 32_767), (-3.5, -3.5), (True, True), (None, None)],
)
def test_cells_that_a_workbook_cannot_hold(cell: object, kept: object) -> None:
    book = openpyxl.Workbook()
    tables._sheet(book, "cells", ("title",), [[cell]])
    stream = io.BytesIO()
    book.save(stream)
    assert openpyxl.load_workbook(stream)["cells"].cell(2, 1).value == kept


def test_hostile_names_reach_no_spreadsheet_as_formulas(tmp_path: Path) -> None:
    log = tmp_path / "=HYPERLINK(1).csv"
    table = saw_tooth(days=0.3)
    table["=cmd|' /C calc'!A0"] = 1.0
    table.to_csv(log, index=False)
    plant = plant_from({"site": {"name": "@SUM(1)\x07"}, "economics": {"currency": "=1+1"}})
    told = diagnose(read_log([log], plant), plant)
    book = openpyxl.load_workbook(io.BytesIO(tables.workbook(told)))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert [cell.value for cell in cells if cell.data_type == "f"] == []
    for text in (tables.half_cycles_csv(told), tables.findings_csv(told)):
        for row in csv.reader(io.StringIO(text)):
            assert not any(c.startswith(("=", "+", "@", "\t", "\r")) for c in row)
