"""Tables for other programs: columns, numbers that stay numbers, cells that no spreadsheet runs."""

from __future__ import annotations

import csv
import io

import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics import Diagnosis
from diagnostics.report import tables


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
