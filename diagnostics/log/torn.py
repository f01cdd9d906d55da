"""Readings cut off in the middle, where the supply failed while a line was being written.

Question: is the last number of a line that breaks off the reading, or its beginning? Input: the line's cells and those
of the lines before. Output: the cells without a number that was cut. Method: a logger writes a column with the same
number of decimals on every line; a last cell with fewer of them has lost its end.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_ALIKE = 6
_CUT = re.compile(r"\s*[-+\u2212]?\d*(?:[.,](\d*))?\s*")


def without_cut_cell(cells: Sequence[str], before: Sequence[Sequence[str]]) -> list[str]:
    """Cells of a line that broke off, the last one emptied where its number is not whole.

    Parameters
    ----------
    cells : sequence of str
        What the line holds.
    before : sequence of sequence of str
        Cells of the lines before it.
    """
    at = len(cells) - 1
    above = [row[at] for row in before[-_ALIKE:] if len(row) > at]
    if len(above) < _ALIKE:
        return list(cells)
    usual = {_decimals(cell) for cell in above}
    least = min(d for d in usual if d is not None) if None not in usual and len(usual) == 1 else None
    if least is None:
        # No number but a stamp, say; one that is as long on every line is not whole where it is shorter.
        cut = len({len(cell) for cell in above}) == 1 and 0 < len(cells[at]) < len(above[0])
    else:
        own = _decimals(cells[at])
        cut = own is not None and own < least
    return [*cells[:at], ""] if cut else list(cells)


def cut_at_its_end(lines: Sequence[Sequence[str]]) -> bool:
    """Whether the last of several lines, given as cells, ends with a number that was cut."""
    return bool(lines) and bool(lines[-1]) and without_cut_cell(lines[-1], lines[:-1]) != list(lines[-1])


def _decimals(cell: str) -> int | None:
    found = _CUT.fullmatch(cell)
    return None if found is None else len(found[1] or "")
