"""A table as it stands in a file: titles and cells, before anyone knows what they mean."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from diagnostics.log.record import Floats


@dataclass(frozen=True)
class RawColumn:
    """One column.

    Attributes
    ----------
    title : str
        As it stands in the file, or ``column 3`` where there is no title row.
    aliases : tuple of str
        What other title rows call it.
    unit : str
        From a units row, "" without.
    kind : str
        ``number``, ``text``, ``local`` (instants of a wall clock) or ``utc`` (instants with an offset).
    values : ndarray of float, shape (n,), or None
        Numbers, or seconds since 1970-01-01; NaN where a cell is empty.
    text : pyarrow.StringArray, length n, or None
        Cells of a ``text`` column; null where empty.
    offset_s : float or None
        Offset of the first ``utc`` stamp, where the file shows one.
    """

    title: str
    kind: Literal["number", "text", "local", "utc"]
    values: Floats | None = None
    text: Any = None
    unit: str = ""
    aliases: tuple[str, ...] = ()
    offset_s: float | None = None

    def __len__(self) -> int:
        return len(self.text) if self.values is None else int(self.values.size)

    @property
    def filled(self) -> int:
        """Cells that are not empty."""
        if self.values is None:
            return len(self.text) - int(self.text.null_count)
        return int(np.isfinite(self.values).sum())


@dataclass(frozen=True)
class RawTable:
    """A file's table.

    Attributes
    ----------
    name : str
        File name for people.
    columns : tuple of RawColumn
        All of one length.
    preamble : tuple of str
        Lines before the table.
    decimal : str
        Decimal mark of the file, ``.`` or ``,``.
    titled : bool
        Whether there was a title row.
    line : int
        Line of the first data row, counted from 1.
    rows_torn : int
        Lines whose number of cells did not fit, left out.
    notes : tuple of str
    """

    name: str
    columns: tuple[RawColumn, ...]
    preamble: tuple[str, ...] = ()
    decimal: str = "."
    titled: bool = True
    line: int = 1
    rows_torn: int = 0
    notes: tuple[str, ...] = field(default=())
