"""Columns that carry a channel's number, the channel's name standing above the table.

Question: what does "Channel 2" measure? Input: a `RawTable`. Output: the same with the name from the lines above in
the column's title. Method: a line that begins with the column's own title, or with the channel's number
alone, and goes on with the name of a quantity.
"""

from __future__ import annotations

import re
from dataclasses import replace

from diagnostics.log.raw import RawTable
from diagnostics.log.time_words import plain
from diagnostics.log.titles import quantity_of
from diagnostics.log.units import parse_unit, split_title

_WORD = (
    r"(?:channel|chan|kanal|kan|kanaal|voie|canal|canale|kanava|csatorna|ch|ai|an|input|in|eingang|entree|sensor|sonde|"
    r"probe|k|c|s)"
)
_NUMBERED = re.compile(rf"(?:{_WORD}\.? ?)?0*(\d{{1,3}})", re.I)
_LINE = re.compile(rf"\W*(?:{_WORD}\.?\s?)?(?:no\.?\s?|nr\.?\s?|#\s?)?0*(\d{{1,3}})(?!\d)\s*[:;,.=)\]|-]*\s+(.+)", re.I)


def named_channels(table: RawTable) -> RawTable:
    """The table with the names of numbered channels beside their titles.

    Parameters
    ----------
    table : RawTable
    """
    numbers = {k: found[1] for k, c in enumerate(table.columns) if (found := _NUMBERED.fullmatch(plain(c.title)))}
    if not numbers or not table.titled:
        return table
    names: dict[str, list[str]] = {}
    for line in table.preamble:
        found = _LINE.fullmatch(line.strip())
        if found and _quantity(found[2]) is not None:
            names.setdefault(found[1], []).append(found[2].strip())
    columns = list(table.columns)
    notes = []
    for k, number in numbers.items():
        told = names.get(number, [])
        if len(told) == 1:
            own = columns[k].title
            columns[k] = replace(columns[k], title=f"{own} {told[0]}", aliases=(own, *columns[k].aliases))
            notes.append(f"{own!r} is {told[0]!r} by the lines above the table.")
    return replace(table, columns=tuple(columns), notes=(*table.notes, *notes))


def _quantity(text: str) -> str | None:
    name, unit = split_title(text)
    if unit is None:
        head, _, tail = text.strip().rpartition(" ")
        unit = parse_unit(tail)
        name = head if unit is not None else name
    return quantity_of(name, unit)
