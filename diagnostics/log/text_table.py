"""A text's cells, column by column.

Question: what stands in each column? Input: UTF-8 bytes and their `Layout`. Output: `RawTable`. Method: a column
reader that types whole columns at once; where lines do not fit, each line is mended or left out, counted, and the
text goes through the same reader again.
"""

from __future__ import annotations

import re
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.cells import cell_class
from diagnostics.log.layout import LONGEST_LINE_BYTES, Layout, split_line
from diagnostics.log.raw import RawColumn, RawTable
from diagnostics.log.torn import cut_at_its_end, without_cut_cell

_BLOCK_BYTES = 4 << 20
_STREAM_BLOCK_BYTES = 1 << 20
_MOST_COLUMNS = 2000
_TAIL_BYTES = 4096


def read_text(data: bytes, layout: Layout, name: str, *, stamps_as_text: bool = False) -> RawTable:
    """Read a text's table.

    Parameters
    ----------
    data : bytes
        UTF-8, lines end with line feeds.
    layout : Layout
    name : str
        File name for messages.
    stamps_as_text : bool
        Leaves ISO stamps as they stand, for a user who says what their form is.

    Raises
    ------
    InputError
        If the lines make no table.
    """
    if layout.width > _MOST_COLUMNS:
        raise InputError(f"{name} has {layout.width} columns, at most {_MOST_COLUMNS} are read; export fewer.")
    body: Any = memoryview(data)[layout.offset : _end(data, layout)]
    torn, note = 0, ""
    table = None
    delimiter = layout.delimiter
    if layout.by_blanks:
        body, torn = _mended(bytes(body), layout, "\x1f")
        delimiter = "\x1f"
    else:
        table, misfits, lost = _parsed(body, delimiter, layout, stamps_as_text)
        if table is None or lost:
            body, torn = _mended(bytes(body), layout, delimiter)
        else:
            torn = misfits
    if table is None or (not layout.by_blanks and lost):
        table, misfits, _ = _parsed(body, delimiter, layout, stamps_as_text)
        if table is None:
            raise InputError(f"{name}: its lines make no table; export the log as CSV again.")
        torn += misfits
    if torn:
        note = f"{torn} lines had another number of cells than the table and were left out."
    return _as_raw(table, layout, name, bytes(body[:LONGEST_LINE_BYTES]), delimiter, torn, (note,) if note else ())


def _end(data: bytes, layout: Layout) -> int:
    """Where the readings end: a last line without its line end that breaks off within its last number is none."""
    if data.endswith(b"\n"):
        return len(data)
    tail = data[max(layout.offset, len(data) - _TAIL_BYTES) :].decode("utf-8", errors="replace").split("\n")[1:]
    if not cut_at_its_end([split_line(line, layout.delimiter) for line in tail]):
        return len(data)
    return data.rfind(b"\n") + 1


def read_stream(path: Path, offset: int, layout: Layout, *, stamps_as_text: bool = False) -> RawTable | None:
    """Read a text's table from the disk; None where its lines need mending.

    Parameters
    ----------
    path : Path
    offset : int
        Byte at which the readings begin.
    layout : Layout
        Not by blanks.
    stamps_as_text : bool
        As for `read_text`.
    """
    import pyarrow as pa

    with pa.OSFile(str(path)) as stream:
        stream.seek(offset)
        start = stream.read(_BLOCK_BYTES // 8)
        stream.seek(offset)
        table, misfits, lost = _parsed(stream, layout.delimiter, layout, stamps_as_text, _STREAM_BLOCK_BYTES)
    if table is None or lost or misfits:
        return None
    return _as_raw(table, layout, path.name, start, layout.delimiter, 0, ())


def _as_raw(
    table: Any, layout: Layout, name: str, start: bytes, delimiter: str, torn: int, notes: tuple[str, ...]
) -> RawTable:
    head = layout.head
    first = split_line(start.split(b"\n", 1)[0].decode("utf-8", errors="replace"), delimiter)

    def column(k: int) -> RawColumn:
        cell = first[k] if k < len(first) else ""
        return _column(table.column(k), head.titles[k], head.units[k], head.aliases[k], cell)

    if table.num_rows < _WORTH_THREADS:
        columns = tuple(map(column, range(layout.width)))
    else:
        with ThreadPoolExecutor() as side_by_side:
            columns = tuple(side_by_side.map(column, range(layout.width)))
    return RawTable(name, columns, head.preamble, layout.decimal, head.titled, layout.line, torn, notes)


def _parsed(
    source: Any, delimiter: str, layout: Layout, stamps_as_text: bool, block_bytes: int = _BLOCK_BYTES
) -> tuple[Any, int, bool]:
    """Table, lines that did not fit, and whether readings are lost with them; None where the reader gave up."""
    import pyarrow as pa
    from pyarrow import csv

    misfits: list[str] = []
    count = 0

    def set_aside(row: Any) -> str:
        nonlocal count
        count += 1
        if len(misfits) < 1000:
            misfits.append(row.text or "")
        return "skip"

    names = [f"c{k}" for k in range(layout.width)]
    convert = csv.ConvertOptions(
        decimal_point=layout.decimal, null_values=[""], strings_can_be_null=True, check_utf8=False
    )
    if stamps_as_text:
        convert.timestamp_parsers = ["no stamp reads like this %Y"]
    try:
        table = csv.read_csv(
            source if isinstance(source, pa.NativeFile) else pa.BufferReader(pa.py_buffer(source)),
            csv.ReadOptions(column_names=names, block_size=block_bytes),
            csv.ParseOptions(delimiter=delimiter, invalid_row_handler=set_aside),
            convert,
        )
    except (pa.ArrowInvalid, pa.ArrowKeyError):
        return None, 0, True
    lost = any(_holds_readings(line, delimiter) for line in misfits)
    return table, count, lost


def _holds_readings(line: str, delimiter: str) -> bool:
    cells = line.split(delimiter)
    return len(cells) >= 2 and sum(cell_class(cell) == "n" for cell in cells) >= max(2, 0.4 * len(cells))


def _mended(body: bytes, layout: Layout, delimiter: str) -> tuple[bytes, int]:
    """Text whose lines all have the table's width, and how many had to go.

    A short line gets empty cells at its end, a long one loses empty cells there; one with more readings than columns
    goes, since nobody can say which cell belongs to which column.
    """
    width, source = layout.width, layout.delimiter
    kept: list[str] = []
    whole: deque[list[str]] = deque(maxlen=8)
    torn = 0
    for line in body.decode("utf-8", errors="replace").split("\n"):
        if not layout.by_blanks and '"' not in line and line.count(source) == width - 1:
            kept.append(line)
            whole.append(line.split(source))
            continue
        if not line.strip():
            continue
        cells = split_line(line, source)
        while len(cells) > width and not cells[-1].strip():
            cells.pop()
        if len(cells) > width or (len(cells) == 1 and width > 1):
            torn += 1
            continue
        if len(cells) < width:
            cells = without_cut_cell(cells, list(whole))
        else:
            whole.append(cells)
        cells += [""] * (width - len(cells))
        kept.append(delimiter.join(_quoted(cell, delimiter) for cell in cells))
    return "\n".join(kept).encode("utf-8"), torn


def _quoted(cell: str, delimiter: str) -> str:
    plain = cell.replace("\n", " ").replace('"', "")
    return f'"{plain}"' if delimiter in plain else plain


_WORTH_THREADS = 100_000
"""Rows from which columns are turned into numbers side by side."""
_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)$")


def _column(chunked: Any, title: str, unit: str, aliases: tuple[str, ...], first: str) -> RawColumn:
    import pyarrow as pa
    from pyarrow import compute as pc

    kind = chunked.type
    if pa.types.is_null(kind):
        return RawColumn(title, "number", np.full(len(chunked), np.nan), unit=unit, aliases=aliases)
    if pa.types.is_timestamp(kind):
        per_second = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}[kind.unit]
        values = as_floats(pc.cast(chunked, pa.int64()))
        values = np.round(values / per_second, 3) if per_second > 1.0 else values
        offset = _OFFSET.search(first.strip())
        return RawColumn(
            title,
            "utc" if kind.tz else "local",
            values,
            unit=unit,
            aliases=aliases,
            offset_s=(float(f"{offset[1]}1") * (int(offset[2]) * 3600 + int(offset[3]) * 60)) if offset else 0.0,
        )
    if pa.types.is_date(kind) or pa.types.is_time(kind):
        return RawColumn(title, "text", text=one_chunk(pc.cast(chunked, pa.string())), unit=unit, aliases=aliases)
    if pa.types.is_boolean(kind) or pa.types.is_integer(kind) or pa.types.is_floating(kind):
        return RawColumn(title, "number", as_floats(chunked), unit=unit, aliases=aliases)
    return RawColumn(title, "text", text=one_chunk(pc.cast(chunked, pa.string())), unit=unit, aliases=aliases)


def as_floats(chunked: Any) -> Any:
    """Numbers of an Arrow column, NaN where it has none; infinities, which no channel can hold, become NaN too."""
    import pyarrow as pa
    from pyarrow import compute as pc

    if not pa.types.is_float64(chunked.type):
        chunked = pc.cast(chunked, pa.float64(), safe=False)
    values = chunked.to_numpy()
    finite = np.isfinite(values)
    return values if finite.all() else np.where(finite, values, np.nan)


def one_chunk(chunked: Any) -> Any:
    """An Arrow column in one piece."""
    import pyarrow as pa

    if isinstance(chunked, pa.ChunkedArray):
        return chunked.combine_chunks() if chunked.num_chunks != 1 else chunked.chunk(0)
    return chunked
