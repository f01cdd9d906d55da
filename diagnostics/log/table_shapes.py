"""Tables that say the same in another shape: a row for each channel, a column of units beside each column of numbers.

Question: how does such a table become one with a column a channel? Input: a `RawTable`. Output: the same readings as a
`RawTable` with titles and units where the reader looks for them, or the table itself where it has the usual shape.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from diagnostics.errors import InputError
from diagnostics.log.columns import NumberColumn, as_numbers
from diagnostics.log.raw import RawColumn, RawTable
from diagnostics.log.record import Floats
from diagnostics.log.time_words import is_date_title, is_time_title
from diagnostics.log.titles import quantity_of
from diagnostics.log.units import parse_unit, split_title

_MOST_CHANNELS = 40


def usual_shape(table: RawTable, wanted: Mapping[str, str]) -> RawTable:
    """The table with a column a channel, each with its unit.

    Parameters
    ----------
    table : RawTable
    wanted : mapping of str to str
        Columns the user named; a table whose columns are named stays as it is.

    Raises
    ------
    InputError
        If each channel has a row and stamps of its own.
    """
    table = _with_units_from_beside(table)
    titles = {column.title for column in table.columns}
    if any(title.strip() in titles for quantity, title in wanted.items() if quantity not in ("time", "date")):
        return table
    return _unstacked(table)


def _words(column: RawColumn) -> tuple[list[str], NDArray[np.int64]] | None:
    """Distinct words of a short vocabulary and the one of each row; None for any other column."""
    from pyarrow import compute as pc

    if column.kind != "text" or column.text is None or len(column.text) < 4:
        return None
    # A stamp or number differs from row to row, which a glance at the first thousand shows.
    if pc.count_distinct(column.text[:1000]).as_py() > _MOST_CHANNELS + 1:
        return None
    coded = pc.dictionary_encode(column.text)
    words = [word.strip() for word in coded.dictionary.to_pylist()]
    if not words or len(words) > _MOST_CHANNELS + 1:
        return None
    codes = np.asarray(pc.fill_null(coded.indices, -1).to_numpy(zero_copy_only=False), dtype=np.int64)
    return words, codes


def _with_units_from_beside(table: RawTable) -> RawTable:
    columns = list(table.columns)
    for k, (column, beside) in enumerate(zip(table.columns, table.columns[1:], strict=False)):
        if column.unit or split_title(column.title)[1] is not None or column.kind in ("local", "utc"):
            continue
        found = _words(beside)
        if found is None:
            continue
        units = {word for word in found[0] if word}
        if len(units) == 1 and parse_unit(next(iter(units))) is not None and _words(column) is None:
            columns[k] = replace(column, unit=next(iter(units)))
    return replace(table, columns=tuple(columns))


def _unstacked(table: RawTable) -> RawTable:
    for k, column in enumerate(table.columns):
        found = _words(column)
        if found is None:
            continue
        named = {quantity_of(*split_title(word)) for word in found[0]} - {None, "tower"}
        if len(named) >= 2:
            return _by_channel(table, k, *found)
    return table


def _by_channel(table: RawTable, key: int, words: list[str], codes: NDArray[np.int64]) -> RawTable:
    stamps = [
        k
        for k, c in enumerate(table.columns)
        if k != key and (c.kind in ("local", "utc") or is_time_title(c.title) or is_date_title(c.title))
    ] or [0]
    others = {k: as_numbers(c, table.decimal) for k, c in enumerate(table.columns) if k != key and k not in stamps}
    numbers = {k: column for k, column in others.items() if column is not None}
    if len(numbers) != 1 or key in stamps:
        return table
    place, first = _instants([table.columns[k] for k in stamps], codes.size)
    values = next(iter(numbers.values()))
    units = _units(table, key, words, codes, {*stamps, *numbers})
    channels = [
        _channel(values, place[codes == code], codes == code, first.size, word, units.get(code, ""))
        for code, word in enumerate(words)
        if word
    ]
    emptiest = max(float(np.isnan(c.values).mean()) for c in channels if c.values is not None)
    if emptiest > 0.5:
        raise InputError(
            f"{table.name} has a row for each channel in {table.columns[key].title!r}, each with stamps of its own;"
            " export it with a column for each channel, or each channel as a file of its own."
        )
    note = f"Each channel had rows of its own; {table.columns[key].title!r} names them."
    kept = tuple(_rows_of(table.columns[k], first) for k in stamps)
    return replace(table, columns=(*kept, *channels), notes=(*table.notes, note))


def _instants(columns: list[RawColumn], rows: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Which instant each row belongs to, in the order of the file, and the first row of each."""
    from pyarrow import compute as pc

    code = np.zeros(rows, dtype=np.int64)
    for column in columns:
        if column.values is not None:
            own = np.unique(column.values, return_inverse=True)[1]
        else:
            coded = pc.dictionary_encode(column.text)
            own = np.asarray(pc.fill_null(coded.indices, len(coded.dictionary)).to_numpy(zero_copy_only=False))
        code = np.unique(code * (int(own.max()) + 1) + own, return_inverse=True)[1].astype(np.int64)
    first = np.unique(code, return_index=True)[1]
    order = np.argsort(first, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(order.size)
    return rank[code], first[order]


def _units(table: RawTable, key: int, words: list[str], codes: NDArray[np.int64], taken: set[int]) -> dict[int, str]:
    """Unit of each channel, from a column that holds one for each."""
    for k, column in enumerate(table.columns):
        found = None if k == key or k in taken else _words(column)
        if found is None:
            continue
        own = {
            code: {found[0][c] for c in set(found[1][codes == code].tolist()) if c >= 0} for code in range(len(words))
        }
        if all(len(units) == 1 for units in own.values()):
            units = {code: next(iter(units)) for code, units in own.items()}
            if any(parse_unit(unit) is not None for unit in units.values()):
                return units
    return {}


def _channel(
    column: NumberColumn, place: NDArray[np.int64], rows: NDArray[np.bool_], size: int, word: str, unit: str
) -> RawColumn:
    values: Floats = np.full(size, np.nan)
    values[place] = column.values[rows]
    return RawColumn(word, "number", values, unit=unit)


def _rows_of(column: RawColumn, rows: NDArray[np.int64]) -> RawColumn:
    if column.values is not None:
        return replace(column, values=column.values[rows])
    import pyarrow as pa

    return replace(column, text=column.text.take(pa.array(rows)))
