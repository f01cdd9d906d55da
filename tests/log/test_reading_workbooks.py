"""One valid log as everyday workbooks hold it: merged titles, text for dates, days named once, the other epoch."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.log.reencoded import clean_log, plant_of, read_bytes

CLEAN = clean_log()
TITLES = ("Time", "Dew point [°C]", "Flow [m3/min]")
SERIAL_DAY_0 = dt.datetime(1899, 12, 30)


def rows(
    sheet: Any,
    stamp: Callable[[dt.datetime], list[Any]] = lambda t: [t],
    number: Callable[[float], Any] = lambda v: v,
    titles: tuple[str | None, ...] = TITLES,
) -> None:
    sheet.append(list(titles))
    for when, dew_point, flow in CLEAN.rows:
        sheet.append([*stamp(when), number(dew_point), number(flow)])


def merged_titles(sheet: Any) -> None:
    sheet.append(["Report of a line", None, None])
    sheet.append([None, "Dryer 1", None])
    rows(sheet)
    sheet.merge_cells("A1:C1")
    sheet.merge_cells("B2:C2")


def merged_downwards(sheet: Any) -> None:
    sheet.append(["Time", "Dryer", None])
    rows(sheet, titles=(None, *TITLES[1:]))
    sheet.merge_cells("A1:A2")
    sheet.merge_cells("B1:C1")


def somewhere_on_the_sheet(sheet: Any) -> None:
    sheet.cell(1, 1, "Logger")
    sheet.cell(2, 1, "Serial")
    sheet.cell(2, 2, 4711)
    for r, row in enumerate([TITLES, *CLEAN.rows]):
        for c, cell in enumerate(row):
            sheet.cell(5 + r, 3 + c, cell)


def day_named_once(sheet: Any) -> None:
    seen: set[dt.date] = set()

    def stamp(t: dt.datetime) -> list[Any]:
        first = t.date() not in seen
        seen.add(t.date())
        return [t.date() if first else None, t.time()]

    rows(sheet, stamp, titles=("Date", "Time", *TITLES[1:]))


def totals_below(sheet: Any) -> None:
    rows(sheet)
    sheet.append(["Min", -62.5, 7.0])
    sheet.append([None, "=MIN(B2:B401)", "=MIN(C2:C401)"])


def units_below_titles(sheet: Any) -> None:
    sheet.append(["Time", "Dew point", "Flow"])
    rows(sheet, titles=("", "°C", "m3/min"))


SHEETS: dict[str, Callable[[Any], None]] = {
    "merged_titles": merged_titles,
    "merged_downwards": merged_downwards,
    "somewhere_on_the_sheet": somewhere_on_the_sheet,
    "day_named_once": day_named_once,
    "totals_below": totals_below,
    "units_below_titles": units_below_titles,
    "text_in_german": lambda s: rows(
        s, lambda t: [f"{t:%d.%m.%Y}\u00a0{t:%H:%M:%S} "], lambda v: f" {v:.2f} ".replace(".", ",")
    ),
    "text_with_halves_of_the_day": lambda s: rows(s, lambda t: [f"{t:%m/%d/%Y %I:%M:%S %p}"]),
    "stamps_and_text_mixed": lambda s: rows(s, lambda t: [t if t.minute % 10 else f"{t:%d.%m.%Y %H:%M:%S}"]),
    "date_and_time_apart": lambda s: rows(s, lambda t: [t.date(), t.time()], titles=("Date", "Time", *TITLES[1:])),
    "date_and_text_of_a_time": lambda s: rows(
        s, lambda t: [dt.datetime(t.year, t.month, t.day), f"{t:%H:%M:%S}"], titles=("Date", "Time", *TITLES[1:])
    ),
    "day_numbers": lambda s: rows(s, lambda t: [(t - SERIAL_DAY_0) / dt.timedelta(days=1)]),
    "line_ends_in_titles": lambda s: rows(s, titles=("Time\n(local)", "Dew\npoint\n[°C]", "Flow\n[m3/min]")),
}


@pytest.mark.parametrize("epoch_1904", [False, True])
@pytest.mark.parametrize("style", SHEETS)
def test_workbooks_as_people_keep_them(style: str, epoch_1904: bool, tmp_path: Path) -> None:
    import openpyxl
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    book = openpyxl.Workbook()
    if epoch_1904:
        book.epoch = CALENDAR_MAC_1904
    if epoch_1904 and style == "day_numbers":
        rows(book.active, lambda t: [(t - dt.datetime(1904, 1, 1)) / dt.timedelta(days=1)])
    else:
        SHEETS[style](book.active)
    out = io.BytesIO()
    book.save(out)
    log = read_bytes(tmp_path, "log.xlsx", out.getvalue(), plant_of(CLEAN))
    assert log.time_s.size == CLEAN.time_s.size
    assert np.abs(log.time_s - CLEAN.time_s).max() < 0.01
    np.testing.assert_allclose(log.channels["dew_point"], CLEAN.dew_point_c, atol=0.011)
    np.testing.assert_allclose(log.channels["flow"], [row[2] for row in CLEAN.rows], atol=0.006)
