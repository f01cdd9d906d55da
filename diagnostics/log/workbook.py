"""Tables that are no text: workbooks and Parquet.

Question: what stands in each column? Input: bytes. Output: `RawTable`. Cells come typed; a column is of instants or
numbers where all its filled cells are, else of text, which is read like a text file's.
"""

from __future__ import annotations

import datetime as dt
import io
import os
import re
import threading
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from typing import Any

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.compound_file import SIGNATURE, refuse_impossible_extent
from diagnostics.log.contents import Content
from diagnostics.log.head import find_head, usual_width
from diagnostics.log.raw import RawColumn, RawTable
from diagnostics.log.text_table import as_floats, one_chunk
from diagnostics.log.time_words import is_date_title, is_time_title

_SAMPLE_ROWS = 300
_MOST_CELLS = 40_000_000
_EPOCH = dt.datetime(1970, 1, 1)
_DAYS_TO_1904 = 1462
_DAMAGES = (zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, RuntimeError, NotImplementedError)
"""What unpacking a damaged archive may raise."""
_ONE_AT_A_TIME = threading.Lock()


def read_workbook(content: Content) -> RawTable:
    """Read the sheet of a workbook (.xlsx, .xls, .ods) that holds the log.

    Raises
    ------
    InputError
        If the workbook is damaged, locked or holds no table.
    """
    from python_calamine import CalamineWorkbook

    _refuse_vast(content)
    best: tuple[int, str, list[list[Any]]] | None = None
    filled = []
    try:
        with _unheard_panics() if content.data.startswith(SIGNATURE) else nullcontext():
            book = CalamineWorkbook.from_filelike(io.BytesIO(content.data))
            for name in book.sheet_names:
                rows = book.get_sheet_by_name(name).to_python(skip_empty_area=True)
                count = sum(any(cell != "" for cell in row) for row in rows[:2000]) + max(0, len(rows) - 2000)
                if count > 1:
                    filled.append(name)
                if count > 1 and (best is None or count > best[0]) and _has_head(rows):
                    best = (count, name, rows)
    except Exception as error:
        # The workbook reader raises a dozen kinds for damaged files, some of them plain Exception.
        raise InputError(f"{content.name} is a damaged or locked workbook ({error}); save it again as .xlsx.") from None
    except BaseException as error:
        # It also gives up on some by a panic, which is no Exception and has no class to import.
        if type(error).__name__ != "PanicException":
            raise
        raise InputError(f"{content.name} is a damaged workbook; save it again as .xlsx.") from None
    if best is None:
        raise InputError(f"{content.name}: no sheet holds a table of readings; put a title row over the readings.")
    _, name, rows = best
    notes = () if len(filled) < 2 else (f"Sheet {name!r} was read, of {', '.join(map(repr, filled))}.",)
    table = _table(content.name, rows, notes)
    return _from_1904(table) if _counts_from_1904(content.data) else table


@contextmanager
def _unheard_panics() -> Iterator[None]:
    """Keep a panic's report, which goes past Python, off the standard error: what is said is the caller's sentence."""
    with _ONE_AT_A_TIME:
        try:
            kept = os.dup(2)
        except OSError:
            yield
            return
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        try:
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)


def _counts_from_1904(data: bytes) -> bool:
    """Whether bare day numbers of the workbook count from 1904-01-01."""
    if not data.startswith(b"PK"):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return re.search(rb'date1904="(?:1|true)"', archive.read("xl/workbook.xml")) is not None
    except (*_DAMAGES, KeyError):
        return False


def _from_1904(table: RawTable) -> RawTable:
    """Day numbers under a title of the time, counted from the day 0 that other workbooks have."""
    columns = tuple(
        replace(c, values=c.values + _DAYS_TO_1904)
        if c.kind == "number" and c.values is not None and (is_time_title(c.title) or is_date_title(c.title))
        else c
        for c in table.columns
    )
    return replace(table, columns=columns)


def _refuse_vast(content: Content) -> None:
    """A sheet is laid out in memory from its first to its last cell, so one stray cell far out costs gigabytes."""
    if content.data.startswith(SIGNATURE):
        refuse_impossible_extent(content.data, content.name)
    if not content.data.startswith(b"PK"):
        return
    try:
        with zipfile.ZipFile(io.BytesIO(content.data)) as archive:
            for member in archive.infolist():
                if re.fullmatch(r"xl/worksheets/[^/]+\.xml", member.filename):
                    rows, columns = _extent(archive.read(member))
                    if rows * columns > _MOST_CELLS:
                        raise InputError(
                            f"{content.name}: a sheet spans {rows} rows by {columns} columns; delete the stray cells"
                            " far from the table or export as CSV."
                        )
    except _DAMAGES as error:
        raise InputError(f"{content.name} is a damaged or locked workbook ({error}); save it again.") from None


def _extent(sheet: bytes) -> tuple[int, int]:
    last = 0
    for found in re.finditer(rb'<row\b[^>]*?\br="(\d{1,9})"', sheet[-4_000_000:]):
        last = max(last, int(found[1]))
    rows = max(last, sheet.count(b"<row"))
    wide = set(re.findall(rb'<c\b[^>]*?\br="([A-Z]{2,3})\d', sheet))
    columns = max((_column_number(name) for name in wide), default=26)
    return rows, columns


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _as_text(cell: Any) -> str:
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool) or cell is None:
        return "" if cell is None else str(cell)
    if isinstance(cell, float):
        return repr(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.isoformat(sep=" ")
    if isinstance(cell, dt.timedelta):
        seconds = cell.total_seconds()
        return f"{int(seconds // 3600):02d}:{int(seconds % 3600 // 60):02d}:{seconds % 60:06.3f}"
    return str(cell)


def _has_head(rows: list[list[Any]]) -> bool:
    sample = [[_as_text(cell) for cell in row] for row in rows[:_SAMPLE_ROWS]]
    width = usual_width(sample)
    return width >= 2 and find_head(sample, width) is not None


def _table(name: str, rows: list[list[Any]], notes: tuple[str, ...]) -> RawTable:
    sample = [[_as_text(cell) for cell in row] for row in rows[:_SAMPLE_ROWS]]
    width = usual_width(sample)
    head = find_head(sample, width)
    assert head is not None  # the sheet was chosen by it
    data = rows[head.first :]
    columns = tuple(
        _typed([row[k] if k < len(row) else "" for row in data], head.titles[k], head.units[k], head.aliases[k])
        for k in range(width)
    )
    columns = tuple(column for column in columns if column.filled or column.title)
    decimal = "."
    if any(column.kind == "text" for column in columns):
        texts = [cell for row in data[:2000] for cell in row if isinstance(cell, str)]
        commas = sum(bool(re.fullmatch(r"\s*[+-]?\d+,\d+\s*", t)) for t in texts)
        points = sum(bool(re.fullmatch(r"\s*[+-]?\d+\.\d+\s*", t)) for t in texts)
        decimal = "," if commas > points else "."
    return RawTable(name, columns, head.preamble, decimal, head.titled, head.first + 1, notes=notes)


def _typed(cells: list[Any], title: str, unit: str, aliases: tuple[str, ...]) -> RawColumn:
    filled = [cell for cell in cells if cell != "" and cell is not None]
    if filled and all(isinstance(cell, dt.datetime) for cell in filled):
        seconds = [(c - _EPOCH).total_seconds() if isinstance(c, dt.datetime) else np.nan for c in cells]
        # Spreadsheets keep instants as fractions of a day; what is below a millisecond is rounding.
        return RawColumn(title, "local", np.round(np.array(seconds), 3), unit=unit, aliases=aliases)
    if all(isinstance(cell, int | float) for cell in filled):
        numbers = [float(c) if isinstance(c, int | float) else np.nan for c in cells]
        values = np.array(numbers, dtype=np.float64)
        values[~np.isfinite(values)] = np.nan
        return RawColumn(title, "number", values, unit=unit, aliases=aliases)
    import pyarrow as pa

    texts = [_as_text(cell) or None for cell in cells]
    return RawColumn(title, "text", text=pa.array(texts, pa.string()), unit=unit, aliases=aliases)


def read_parquet(content: Content) -> RawTable:
    """Read a Parquet file.

    Raises
    ------
    InputError
        If it is damaged or holds no table of readings.
    """
    import pyarrow as pa
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(pa.BufferReader(content.data))
        if file.metadata.num_rows * file.metadata.num_columns > 4 * _MOST_CELLS:
            raise InputError(f"{content.name} holds {file.metadata.num_rows} rows, which is too many; export less.")
        table = file.read()
    except (pa.ArrowException, OSError, ValueError) as error:
        raise InputError(f"{content.name} is a damaged Parquet file ({error}); write it again.") from None
    columns = tuple(
        column for k, name in enumerate(table.column_names) if (column := _arrow_column(table.column(k), name))
    )
    if not columns or table.num_rows == 0:
        raise InputError(f"{content.name} holds no table of readings; write it again.")
    return RawTable(content.name, columns)


def _arrow_column(chunked: Any, name: str) -> RawColumn | None:
    import pyarrow as pa
    from pyarrow import compute as pc

    kind = chunked.type
    if pa.types.is_dictionary(kind):
        chunked = pc.cast(chunked, kind.value_type)
        kind = chunked.type
    title = "Time" if name.startswith("__index_level_") and pa.types.is_timestamp(kind) else name
    if pa.types.is_timestamp(kind):
        nanoseconds = pc.cast(pc.cast(chunked, pa.timestamp("ns", tz=kind.tz), safe=False), pa.int64())
        return RawColumn(title, "utc" if kind.tz else "local", np.round(as_floats(nanoseconds) / 1e9, 3))
    if (
        pa.types.is_integer(kind)
        or pa.types.is_floating(kind)
        or pa.types.is_boolean(kind)
        or pa.types.is_decimal(kind)
    ):
        return RawColumn(title, "number", as_floats(chunked))
    if pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_date(kind) or pa.types.is_time(kind):
        return RawColumn(title, "text", text=one_chunk(pc.cast(chunked, pa.string())))
    return None
