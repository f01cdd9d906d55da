"""Writes one clean log over again in the formats, locales and stamp styles that loggers use.

Every writer takes the same `Clean` log and gives the bytes of a file; the reader has to find the same numbers in all.
"""

from __future__ import annotations

import csv
import datetime as dt
import gzip
import io
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.reading import read_log
from diagnostics.log.record import Log
from diagnostics.plant import Plant, plant_from

Row = tuple[dt.datetime, float, float]


@dataclass(frozen=True)
class Clean:
    """A clean log: local stamps, dew point [degC], flow [m3/min]."""

    rows: tuple[Row, ...]
    time_s: np.ndarray
    timezone: str

    @property
    def dew_point_c(self) -> np.ndarray:
        return np.array([row[1] for row in self.rows])


def clean_log(
    rows: int = 400,
    start: str = "2026-01-13T07:40:36+00:00",
    step_s: int = 300,
    timezone: str = "Europe/Berlin",
) -> Clean:
    """Saw-teeth between -63 and -58 degC with a slow drift; nothing of it is a dryer's model."""
    zone = ZoneInfo(timezone)
    first = dt.datetime.fromisoformat(start)
    k = np.arange(rows)
    dew_point = np.round(-62.0 + 3.0 * ((k * 0.13) % 1.0) + 0.5 * np.sin(k / 90.0), 2)
    flow = np.round(8.0 + np.cos(k / 50.0), 2)
    instants = [first + dt.timedelta(seconds=int(step_s * i)) for i in k]
    local = [i.astimezone(zone).replace(tzinfo=None) for i in instants]
    time_s = np.array([i.timestamp() for i in instants])
    return Clean(tuple(zip(local, dew_point.tolist(), flow.tolist(), strict=True)), time_s, timezone)


def plant_of(clean: Clean, **log: object) -> Plant:
    """Plant with the log's zone and answers of ``[log]``."""
    return plant_from({"site": {"timezone": clean.timezone}, "log": log})


def text(
    clean: Clean,
    *,
    stamp: Callable[[dt.datetime], Sequence[str]] = lambda t: [t.isoformat(sep=" ")],
    titles: Sequence[str] = ("Time", "Dew point [°C]", "Flow [m3/min]"),
    delimiter: str = ",",
    decimal: str = ".",
    end: str = "\n",
    before: str = "",
    after: str = "",
    encoding: str = "utf-8",
    newest_first: bool = False,
    number: Callable[[float], str] = lambda value: f"{value:.2f}",
) -> bytes:
    """A delimited text."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator=end)
    writer.writerow(titles)
    for when, dew_point, flow in reversed(clean.rows) if newest_first else clean.rows:
        writer.writerow([*stamp(when), *(number(v).replace(".", decimal) for v in (dew_point, flow))])
    return (before + out.getvalue() + after).encode(encoding)


def aligned(clean: Clean) -> bytes:
    """Columns set with blanks."""
    lines = [f"{'Time':<22}{'Dew point':>12}{'Flow':>10}"]
    lines += [f"{when!s:<22}{dew_point:>12.2f}{flow:>10.2f}" for when, dew_point, flow in clean.rows]
    return "\n".join(lines).encode()


def workbook(clean: Clean, *, before: Sequence[Sequence[object]] = (), as_text: bool = False) -> bytes:
    """An .xlsx workbook."""
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for line in before:
        sheet.append(list(line))
    sheet.append(["Time", "Dew point [°C]", "Flow [m3/min]"])
    for when, dew_point, flow in clean.rows:
        sheet.append([str(when), dew_point, flow] if as_text else [when, dew_point, flow])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def old_workbook(clean: Clean) -> bytes:
    """An .xls workbook."""
    import xlwt

    book = xlwt.Workbook()
    sheet = book.add_sheet("Log")
    style = xlwt.easyxf(num_format_str="YYYY-MM-DD hh:mm:ss")
    for k, title in enumerate(("Time", "Dew point [°C]", "Flow [m3/min]")):
        sheet.write(0, k, title)
    for r, (when, dew_point, flow) in enumerate(clean.rows, start=1):
        sheet.write(r, 0, when, style)
        sheet.write(r, 1, dew_point)
        sheet.write(r, 2, flow)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def open_document(clean: Clean) -> bytes:
    """An .ods workbook."""
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book = OpenDocumentSpreadsheet()
    table = Table(name="Log")

    def row(cells: list[TableCell]) -> None:
        line = TableRow()
        for cell in cells:
            line.addElement(cell)
        table.addElement(line)

    def words(value: str) -> TableCell:
        cell = TableCell(valuetype="string")
        cell.addElement(P(text=value))
        return cell

    row([words(title) for title in ("Time", "Dew point [°C]", "Flow [m3/min]")])
    for when, dew_point, flow in clean.rows:
        stamp = TableCell(valuetype="date", datevalue=when.isoformat())
        row([stamp, TableCell(valuetype="float", value=dew_point), TableCell(valuetype="float", value=flow)])
    book.spreadsheet.addElement(table)
    out = io.BytesIO()
    book.write(out)
    return out.getvalue()


def parquet(clean: Clean, *, aware: bool = False) -> bytes:
    """A Parquet file with typed columns."""
    import pandas as pd

    when = pd.to_datetime([row[0] for row in clean.rows])
    if aware:
        when = pd.to_datetime(clean.time_s, unit="s", utc=True).tz_convert(clean.timezone)
    table = pd.DataFrame(
        {"Time": when, "Dew point [°C]": clean.dew_point_c, "Flow [m3/min]": [row[2] for row in clean.rows]}
    )
    out = io.BytesIO()
    table.to_parquet(out, index=False)
    return out.getvalue()


def gzipped(data: bytes) -> bytes:
    """The same, packed."""
    return gzip.compress(data)


def zipped(*members: tuple[str, bytes]) -> bytes:
    """An archive of members."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members:
            archive.writestr(name, data)
    return out.getvalue()


def read_bytes(folder: Path, name: str, data: bytes, plant: Plant, **options: object) -> Log:
    """What the reader makes of bytes in a file of that name."""
    path = folder / name
    path.write_bytes(data)
    return read_log(path, plant, **options)  # type: ignore[arg-type]


def refusal(folder: Path, name: str, data: bytes, plant: Plant | None = None) -> str:
    """The sentence with which the reader refuses bytes."""
    try:
        read_bytes(folder, name, data, plant if plant is not None else plant_from({}))
    except InputError as error:
        return str(error)
    raise AssertionError(f"{name} was read")
