"""Stamps whose parts stand in columns of their own: year, month, day, hour … or year, day of the year, HHMM."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from diagnostics.log.dates import month_of
from diagnostics.log.raw import RawColumn, RawTable
from diagnostics.log.record import Floats
from diagnostics.log.stamps import ZONE_S, StampText
from diagnostics.log.time_words import is_time_title, plain
from diagnostics.plant_file import LogAnswers

if TYPE_CHECKING:
    from diagnostics.log.clock import Clock

_NAMES = {
    "year": "year yr yyyy jahr annee ano anno jaar ar vuosi rok ev год",
    "day_of_year": "doy dayofyear day_of_year yearday yday jday julian julianday julian_day jour_julien tag_im_jahr",
    "month": "month mon mo mm monat mois mes mese mes maand manad maned kuukausi miesiac mesic honap месяц",
    "day": "day dd tag jour dia giorno dag paiva dzien den nap день dayofmonth day_of_month",
    "hour": "hour hr hh hours stunde std heure hora ora uur timme time_h tunti godzina hodina ora час",
    "minute": "minute min mins minuten minuto minuut minut minuutti minuta perc минута",
    "second": "second sec secs ss sekunde seconde segundo secondo sekund sekunti sekunda masodperc секунда",
}
_PART_OF = {name.replace("_", " "): part for part, names in _NAMES.items() for name in names.split()}
_RANGES = {
    "year": (1950, 2150),
    "day_of_year": (1, 367),
    "month": (1, 12),
    "day": (1, 31),
    "hour": (0, 24),
    "minute": (0, 59),
    "second": (0, 60.999),
}


def calendar_columns(table: RawTable) -> dict[str, int]:
    """Which column holds which part of the stamp, by title and by the range of its numbers."""
    found: dict[str, int] = {}
    for k, column in enumerate(table.columns):
        for text in (column.title, *column.aliases):
            part = _PART_OF.get(plain(text))
            if part is not None and part not in found and _within(column, part):
                found[part] = k
                break
    return found if found or table.titled else _by_position(table)


def _within(column: RawColumn, part: str) -> bool:
    if part == "month" and column.text is not None:
        return all(month_of(cell) is not None for cell in column.text[:20].to_pylist() if cell)
    if column.kind != "number" or column.values is None:
        return False
    known = column.values[np.isfinite(column.values)]
    low, high = _RANGES[part]
    # A few cells out of range are torn rows, not another quantity.
    return bool(known.size) and float(np.mean((known >= low) & (known <= high))) > 0.95


def _by_position(table: RawTable) -> dict[str, int]:
    """Year, month, day, hour side by side in a table without titles, told by a year of four digits."""
    for k, column in enumerate(table.columns):
        if not _within(column, "year") or column.values is None or np.nanstd(column.values) > 2.0:
            continue
        found = {"year": k}
        for step, part in enumerate(("month", "day", "hour"), start=1):
            if k + step < len(table.columns) and _within(table.columns[k + step], part):
                found[part] = k + step
        if len(found) == 4:
            return found
    return {}


def from_calendar_columns(table: RawTable, looks: object, answers: LogAnswers) -> Clock | None:
    """Stamps from such columns; None where the table has none."""
    from diagnostics.log.clock import _clock

    found = calendar_columns(table)
    clock_part = None
    if "year" in found and "day_of_year" in found and "hour" not in found:
        clock_part = _hours_and_minutes(table, set(found.values()))
    if "year" not in found or not ({"day_of_year"} <= found.keys() or {"month", "day"} <= found.keys()):
        return None
    size = len(table.columns[0])

    def part(name: str, default: float) -> Floats:
        return _numbers(table.columns[found[name]]) if name in found else np.full(size, default)

    year = part("year", np.nan)
    if "month" in found and "day" in found:
        days = _days(year, part("month", 1), part("day", 1))
    else:
        days = _days(year, np.ones(size), np.ones(size)) + part("day_of_year", 1) - 1.0
    hhmm = np.zeros(size)
    used = [found[name] for name in _NAMES if name in found]
    if clock_part is not None:
        values = _numbers(table.columns[clock_part])
        hhmm = np.floor(values / 100.0) * 3600.0 + (values % 100.0) * 60.0
        hhmm[(values % 100 > 59) | (values > 2400)] = np.nan
        used.append(clock_part)
    of_day = part("hour", 0) * 3600.0 + part("minute", 0) * 60.0 + part("second", 0)
    local = days * 86400.0 + of_day + hhmm
    filled = int(np.isfinite(year).sum())
    impossible = int((np.isfinite(year) & ~np.isfinite(days)).sum())
    return _clock(table, StampText(local, None, filled, impossible, True, True), used)


def _numbers(column: RawColumn) -> Floats:
    if column.values is not None:
        return column.values
    months = {cell: float(month_of(cell) or np.nan) for cell in set(column.text.to_pylist()) if cell}
    return np.array([months.get(cell, np.nan) for cell in column.text.to_pylist()])


def _hours_and_minutes(table: RawTable, taken: set[int]) -> int | None:
    for k, column in enumerate(table.columns):
        if k in taken or column.kind != "number" or column.values is None:
            continue
        known = column.values[np.isfinite(column.values)]
        if not known.size or known.min() < 0 or known.max() > 2400 or (known % 1).any() or (known % 100 > 59).any():
            continue
        name = plain(column.title)
        if is_time_title(column.title) or name in ("hhmm", "hour minute") or column.title.strip() in ZONE_S:
            return k
    return None


def _days(year: Floats, month: Floats, day: Floats) -> Floats:
    """Days since 1970-01-01, NaN where no calendar holds the date."""
    triples = np.stack((year, month, day), axis=1)
    whole = np.isfinite(triples).all(axis=1)
    days = np.full(year.size, np.nan)
    if whole.any():
        distinct, codes = np.unique(triples[whole], axis=0, return_inverse=True)
        days[whole] = np.array([_day_number(*row) for row in distinct])[codes.reshape(-1)]
    return days


def _day_number(year: float, month: float, day: float) -> float:
    try:
        return float(dt.date(int(year), int(month), int(day)).toordinal() - dt.date(1970, 1, 1).toordinal())
    except ValueError:
        return np.nan
