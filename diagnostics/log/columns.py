"""Which column is which quantity, and in which unit its numbers are.

Question: where are dew point, pressure, flow, temperatures, tower, power? Input: a `RawTable`, the user's answers.
Output: `Assignment`. Method: the user's word first; then title and unit together; among several the better title, the
fuller column; where no unit is named, the other columns and the numbers themselves.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.faults import without_codes
from diagnostics.log.numbers import to_numbers
from diagnostics.log.raw import RawColumn, RawTable
from diagnostics.log.record import Floats
from diagnostics.log.time_words import plain
from diagnostics.log.titles import (
    DEW_POINT,
    MOISTURES,
    RELATIVE_HUMIDITY,
    VAPOUR_PRESSURE,
    WATER_CONTENT,
    quantity_of,
    rank,
)
from diagnostics.log.towers import tower_from_text, tower_from_values
from diagnostics.log.units import (
    DENSITY,
    PERCENT,
    PPM,
    PRESSURE,
    RATIO,
    TEMPERATURE,
    Unit,
    parse_unit,
    split_title,
    temperature_c,
)

_MOST_FAULTS_SHOWN = 4
_COLD_C = -10.0
_SIGNAL = re.compile(r"[\[(]\s*(?:mA|µA|V|mV|Ohm|Ω|Hz|counts?|raw|digits?)\s*[\])]", re.I)
"""A signal that nobody has scaled yet says nothing in the quantity's own unit."""
_MOISTURE_IN = {
    PPM: WATER_CONTENT,
    DENSITY: WATER_CONTENT,
    RATIO: WATER_CONTENT,
    PERCENT: RELATIVE_HUMIDITY,
    PRESSURE: VAPOUR_PRESSURE,
}
_SAYS_LITTLE = re.compile(
    r"(d ?p|t ?p|values?|werte?|messwert|valeur|valor|valore|waarde|measurement|reading|probe|sensor|pv)?( ?\d{0,2})"
    r"|(column|channel|kanal|canal|canale|ch|ai|analog|analogue|input)( in)? ?\d{0,2}"
)


@dataclass(frozen=True)
class NumberColumn:
    """A column as numbers, its codes for "no reading" taken out.

    Attributes
    ----------
    header, name : str
        Title as in the file; the same without its unit.
    values : ndarray, shape (n,)
        In the file's unit.
    unit : Unit or None
    faults : mapping of str to int
        What stood for "no reading", with counts.
    empty : int
        Cells left empty.
    """

    header: str
    name: str
    values: Floats
    unit: Unit | None
    faults: Mapping[str, int] = field(default_factory=dict)
    empty: int = 0
    bounded: int = 0


@dataclass(frozen=True)
class Assignment:
    """Columns by quantity, the rest by title, and how it came about."""

    chosen: Mapping[str, NumberColumn]
    rest: Mapping[str, NumberColumn]
    rivals: Mapping[str, tuple[NumberColumn, ...]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def column_named(table: RawTable, wanted: str, quantity: str) -> int:
    """Index of the column that the user calls by title, alias or number.

    Raises
    ------
    InputError
        If no column is called so.
    """
    exact = [k for k, c in enumerate(table.columns) if wanted.strip() in (c.title, *c.aliases)]
    if exact:
        return exact[0]
    low = plain(wanted)
    for form in (lambda text: plain(text), lambda text: plain(split_title(text)[0])):
        loose = [k for k, c in enumerate(table.columns) if low and low in [form(t) for t in (c.title, *c.aliases)]]
        if len(loose) == 1:
            return loose[0]
    number = re.fullmatch(r"(?:column\s*|#)(\d{1,4})", wanted.strip(), re.I)
    if number and 1 <= int(number[1]) <= len(table.columns):
        return int(number[1]) - 1
    titles = [c.title for c in table.columns]
    near = difflib.get_close_matches(wanted, titles, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]!r}?" if near else f"it has {', '.join(map(repr, titles[:12]))}."
    raise InputError(f"{table.name} has no column {wanted!r} for {quantity}; {hint}")


def as_numbers(column: RawColumn, decimal: str) -> NumberColumn | None:
    """A column as numbers; None where most of its cells hold none."""
    name, unit = split_title(column.title)
    if unit is None and column.unit:
        unit = parse_unit(column.unit)
    for alias in column.aliases:
        if unit is None:
            unit = split_title(alias)[1]
    faults: dict[str, int] = {}
    bounded = 0
    if column.kind in ("local", "utc"):
        return None
    if column.values is not None:
        values = column.values
        empty = int(values.size - np.count_nonzero(np.isfinite(values)))
    else:
        read = to_numbers(column.text, decimal)
        values, faults, bounded = read.values, dict(read.faults), read.bounded
        empty = int(values.size) - read.filled
        numbers = int(np.count_nonzero(np.isfinite(values)))
        if numbers < 0.2 * read.filled or numbers == 0 or len(faults) > 40 + 0.05 * numbers:
            return None
        if unit is None and read.unit:
            unit = parse_unit(read.unit)
    values, codes = without_codes(values)
    for code, count in codes.items():
        faults[f"{code:g}"] = faults.get(f"{code:g}", 0) + count
    return NumberColumn(column.title, name, values, unit, faults, empty, bounded)


def assign(
    table: RawTable,
    taken: frozenset[int],
    *,
    columns: Mapping[str, str],
    units: Mapping[str, str],
) -> Assignment:
    """Find every quantity's column.

    Parameters
    ----------
    table : RawTable
    taken : frozenset of int
        Columns that hold the time.
    columns, units : mapping of str to str
        The user's answers by quantity.

    Raises
    ------
    InputError
        If a column that the user named is missing or holds no numbers, or a unit is unknown.
    """
    notes: list[str] = []
    chosen: dict[str, NumberColumn] = {}
    used = set(taken)
    for quantity, wanted in columns.items():
        if quantity in ("time", "date"):
            continue
        k = column_named(table, wanted, quantity)
        chosen[quantity] = _as_asked(table, k, quantity)
        used.add(k)
    numeric: dict[int, NumberColumn] = {}
    candidates: dict[str, list[int]] = {}
    for k, raw in enumerate(table.columns):
        if k in used:
            continue
        column = as_numbers(raw, table.decimal)
        named = None if _SIGNAL.search(raw.title) or _SIGNAL.search(f"[{raw.unit}]") else _quantity(raw, column)
        if named == "tower" and "tower" not in chosen:
            tower = _tower(raw, column)
            if tower is not None:
                chosen["tower"] = tower
                notes.append(f"Which tower dries was read from {raw.title!r}.")
                continue
        if column is None:
            continue
        numeric[k] = column
        if named is not None and named != "tower" and np.isfinite(column.values).any():
            candidates.setdefault(named, []).append(k)
    _weak_dew_point(numeric, candidates, chosen, notes)
    rivals: dict[str, tuple[NumberColumn, ...]] = {}
    rest = dict(numeric)
    for quantity, found in candidates.items():
        if quantity in chosen:
            continue
        best = min(found, key=lambda k: _order(numeric[k], quantity, k)) if len(found) > 1 else found[0]
        chosen[quantity] = numeric[best]
        del rest[best]
        others = [numeric[k] for k in found if k != best]
        if others:
            rivals[quantity] = tuple(others)
            notes.append(
                f"Several columns hold a {quantity.replace('_', ' ')}; {numeric[best].header!r} was taken, not"
                f" {', '.join(repr(o.header) for o in others)}."
            )
    chosen = {q: _with_unit(c, units[q], q) if q in units else c for q, c in chosen.items()}
    chosen = _moisture_by_its_unit(chosen, units)
    filled = {c.header: c for c in rest.values() if np.isfinite(c.values).any()}
    return Assignment(chosen, filled, rivals, tuple(notes))


def _moisture_by_its_unit(chosen: Mapping[str, NumberColumn], units: Mapping[str, str]) -> dict[str, NumberColumn]:
    """A column named as the dew point stands for whichever moisture its unit is of, as does a unit told for it."""
    found = dict(chosen)
    other = next((quantity for quantity in MOISTURES if quantity in found), None)
    if other not in (None, DEW_POINT) and DEW_POINT in units:
        found[DEW_POINT] = _with_unit(found.pop(other), units[DEW_POINT], DEW_POINT)
    column = found.get(DEW_POINT)
    kind = None if column is None or column.unit is None else _MOISTURE_IN.get(column.unit.kind)
    return found if kind is None else {kind: found.pop(DEW_POINT)} | found


def _quantity(raw: RawColumn, column: NumberColumn | None) -> str | None:
    unit = column.unit if column is not None else None
    for text in (raw.title, *raw.aliases):
        name, own = split_title(text)
        quantity = quantity_of(name, own or unit)
        if quantity is not None:
            return quantity
    return None


def _order(column: NumberColumn, quantity: str, k: int) -> tuple[float, ...]:
    missing = 1.0 - float(np.count_nonzero(np.isfinite(column.values))) / max(1, column.values.size)
    return (missing > 0.5, rank(column.name, quantity), column.unit is None, round(missing, 2), k)


def _as_asked(table: RawTable, k: int, quantity: str) -> NumberColumn:
    raw = table.columns[k]
    if quantity == "tower":
        tower = _tower(raw, as_numbers(raw, table.decimal))
        if tower is None:
            raise InputError(f"{table.name}: column {raw.title!r} does not tell two towers apart; name another.")
        return tower
    column = as_numbers(raw, table.decimal)
    if column is None or not np.isfinite(column.values).any():
        raise InputError(f"{table.name}: column {raw.title!r} holds no numbers for {quantity}; name another.")
    return column


def _tower(raw: RawColumn, column: NumberColumn | None) -> NumberColumn | None:
    values = None
    if column is not None:
        values = tower_from_values(column.values)
    elif raw.text is not None:
        values = tower_from_text(raw.text)
    return None if values is None else NumberColumn(raw.title, raw.title, values, None)


def _weak_dew_point(
    numeric: Mapping[int, NumberColumn],
    candidates: dict[str, list[int]],
    chosen: Mapping[str, NumberColumn],
    notes: list[str],
) -> None:
    """A column under a title that says little is the dew point where its numbers are far below freezing.

    That is DP or TP, which may also be a pressure drop or a test point, or the only column of temperatures under a
    mere unit or a word like "value"; no other air near a dryer is as cold.
    """
    if any(moisture in candidates or moisture in chosen for moisture in MOISTURES):
        return
    plausible = []
    for k, column in numeric.items():
        known = column.values[np.isfinite(column.values)]
        if not known.size or not (column.unit is None or column.unit.kind == TEMPERATURE):
            continue
        coldest = temperature_c(np.array([np.median(known)]), column.unit.name if column.unit else "degC")[0]
        if -110.0 < coldest < _COLD_C and _SAYS_LITTLE.fullmatch(plain(column.name)):
            plausible.append(k)
    if len(plausible) == 1:
        candidates["dew_point"] = plausible
        candidates["temperature"] = [k for k in candidates.get("temperature", []) if k not in plausible]
        if not candidates["temperature"]:
            del candidates["temperature"]
        header = numeric[plausible[0]].header
        notes.append(f"{header!r} was taken as the dew point by its numbers; no other air near a dryer is as cold.")


def _with_unit(column: NumberColumn, text: str, quantity: str) -> NumberColumn:
    unit = parse_unit(text)
    if unit is None:
        raise InputError(f"[log] units: {text!r} for {quantity} is no unit known here; write it like degC, bar, m3/h.")
    return NumberColumn(column.header, column.name, column.values, unit, column.faults, column.empty, column.bounded)


def say_faults(columns: Mapping[str, NumberColumn]) -> tuple[int, list[str]]:
    """How many cells of the channels hold no number, and a sentence for each channel that has any."""
    total = 0
    notes = []
    for column in columns.values():
        count = sum(column.faults.values())
        total += count + column.empty
        if count:
            common = sorted(column.faults.items(), key=lambda item: -item[1])[:_MOST_FAULTS_SHOWN]
            shown = ", ".join(f"{word!r} {n} times" for word, n in common)
            more = len(column.faults) - len(common)
            shown += f" and {more} more" if more > 0 else ""
            notes.append(f"{count} cells of {column.header!r} stand for no reading ({shown}) and count as missing.")
        if column.bounded:
            notes.append(f"{column.bounded} cells of {column.header!r} give only a bound such as '<-80'; it was taken.")
    return total, notes
