"""Which columns hold the time, and the stamps they make.

Question: when was each row logged? Input: a `RawTable` and the user's answers. Output: `Clock`. Method: what columns
hold decides, titles break ties. In order of trust: a stamp with its offset; date and time in one column; date and time
in two; year, month, day, hour in columns of their own; year with day of the year; seconds since 1970; a spreadsheet's
day numbers; time elapsed since a start that the lines above the table name.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.calendar_columns import from_calendar_columns
from diagnostics.log.elapsed import from_counts, from_durations
from diagnostics.log.raw import RawColumn, RawTable
from diagnostics.log.record import Floats
from diagnostics.log.stamps import ZONE_S, StampText, read_date_and_time, read_stamps, split_stamp
from diagnostics.log.time_words import is_date_title, is_time_title
from diagnostics.plant_file import LogAnswers


@dataclass(frozen=True)
class Clock:
    """Stamps of a table's rows, in the order of the file.

    Attributes
    ----------
    local_s : ndarray, shape (n,)
        Seconds since 1970-01-01 of the wall clock, NaN where unreadable.
    offset_s : ndarray, shape (n,), or None
        Offset from UTC that a stamp carries, NaN where it carries none.
    columns : frozenset of int
        Columns that the time was read from, or that only repeat it.
    filled : int
        Rows with anything in their stamp.
    impossible : int
        Rows with a date no calendar holds.
    header : str
        Titles of the columns, for people.
    notes : tuple of str
    """

    local_s: Floats
    offset_s: Floats | None
    columns: frozenset[int]
    filled: int
    impossible: int
    header: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Look:
    """What a text column's cells look like."""

    has_date: bool
    has_time: bool
    has_offset: bool


def find_clock(
    table: RawTable,
    answers: LogAnswers,
    *,
    time_column: int | None = None,
    date_column: int | None = None,
) -> Clock:
    """Find and read the stamps of a table.

    Parameters
    ----------
    table : RawTable
    answers : LogAnswers
        ``time_format``, ``day_first``.
    time_column, date_column : int, optional
        Columns that the user named.

    Raises
    ------
    InputError
        If no column holds the time, or day and month cannot be told apart.
    """
    if time_column is not None or date_column is not None:
        return _named(table, answers, time_column, date_column)
    looks = {k: _look(column) for k, column in enumerate(table.columns)}
    counted = (from_durations, from_calendar_columns, from_counts)
    for attempt in (_whole_stamps, _date_beside_time, *counted, _dates_only, _times_only):
        clock = attempt(table, looks, answers)
        if clock is not None:
            return _with_title_zone(clock)
    shown = ", ".join(repr(column.title) for column in table.columns[:6])
    raise InputError(
        f"{table.name}: no column holds a time (found {shown}); name it with --column time=HEADER, and if its form is"
        " unusual give [log] time_format."
    )


def _look(column: RawColumn) -> _Look | None:
    if column.kind in ("local", "utc"):
        values = column.values
        if values is None or not np.isfinite(values).any():
            return None
        known = values[:: max(1, values.size // 5000)]
        known = known[np.isfinite(known)]
        if not known.size:
            known = values[np.isfinite(values)]
        has_time = bool((known % 86400.0 != 0).any())
        return _Look(
            bool((known > 366 * 86400.0).any() or (known < -30 * 366 * 86400.0).any()), has_time, column.kind == "utc"
        )
    if column.kind == "number":
        return None
    cells = _sample(column)
    if not cells:
        return None
    from diagnostics.log.dates import looks_like_date
    from diagnostics.log.stamps import time_of_day_s

    dates = times = offsets = 0
    for cell in cells:
        date, time = split_stamp(cell)
        seconds, offset = time_of_day_s(time) if time else (np.nan, np.nan)
        dates += looks_like_date(date)
        times += bool(np.isfinite(seconds))
        offsets += bool(np.isfinite(offset))
    need = 0.5 * len(cells)
    if dates <= need and times <= need:
        return None
    return _Look(dates > need, times > need, offsets > need)


def _sample(column: RawColumn) -> list[str]:
    text = column.text
    step = max(1, len(text) // 60)
    return [cell.strip() for cell in text[::step].to_pylist() if cell and cell.strip()] if len(text) else []


def _read(table: RawTable, k: int, answers: LogAnswers) -> StampText:
    column = table.columns[k]
    if column.values is not None:
        offset = None
        local = column.values
        if column.kind == "utc":
            shift = column.offset_s or 0.0
            offset = np.full(local.size, shift)
            local = local + shift
        return StampText(local, offset, column.filled, 0, True, True)
    return read_stamps(
        column.text, name=table.name, title=column.title, day_first=answers.day_first, time_format=answers.time_format
    )


def _clock(table: RawTable, stamps: StampText, used: Sequence[int], notes: tuple[str, ...] = ()) -> Clock:
    header = " + ".join(table.columns[k].title for k in used)
    repeats = _repeating_columns(table) if used else frozenset()
    return Clock(
        stamps.local_s,
        stamps.offset_s,
        frozenset(used) | repeats,
        stamps.filled,
        stamps.impossible,
        header,
        (f"The time was read from {header!r}.", *stamps.notes, *notes),
    )


def _repeating_columns(table: RawTable) -> frozenset[int]:
    from diagnostics.log.calendar_columns import calendar_columns

    found = calendar_columns(table)
    return frozenset(found.values()) if "year" in found and len(found) >= 3 else frozenset()


Looks = dict[int, _Look | None]


def _whole_stamps(table: RawTable, looks: Looks, answers: LogAnswers) -> Clock | None:
    whole = [k for k, look in looks.items() if look and look.has_date and look.has_time]
    if not whole:
        return None
    lacking = {k: 1.0 - table.columns[k].filled / max(1, len(table.columns[k])) for k in whole}
    best = min(
        whole,
        key=lambda k: (
            lacking[k] > 0.5,
            not looks[k].has_offset,  # type: ignore[union-attr]
            not is_time_title(table.columns[k].title, table.columns[k].aliases),
            k,
        ),
    )
    others = [table.columns[k].title for k in whole if k != best]
    notes = (f"Further columns of stamps were left aside: {', '.join(others)}.",) if others else ()
    return _clock(table, _read(table, best, answers), [best], notes)


def _date_beside_time(table: RawTable, looks: Looks, answers: LogAnswers) -> Clock | None:
    dates = [k for k, look in looks.items() if look and look.has_date and not look.has_time]
    times = [k for k, look in looks.items() if look and look.has_time and k not in dates]
    if not times:
        # "11.12.10" is a time of day or a date; beside another date and under a time's title it is the time.
        times = [k for k in dates if is_time_title(table.columns[k].title, table.columns[k].aliases)]
        dates = [k for k in dates if k not in times]
    numeric_date = _numeric(table, 19_000_101, 21_001_231, is_date_title)
    numeric_time = _numeric(table, 0, 235_959, is_time_title)
    if not dates and numeric_date is not None:
        dates = [numeric_date]
    if dates and not times and numeric_time is not None and numeric_time not in dates:
        times = [numeric_time]
    if not dates or not times:
        return None
    date = min(dates, key=lambda k: (not is_date_title(table.columns[k].title, table.columns[k].aliases), k))
    time = min(times, key=lambda k: (not is_time_title(table.columns[k].title, table.columns[k].aliases), k))
    return _clock(table, _joined(table, date, time, answers), [date, time])


def _numeric(table: RawTable, low: float, high: float, named: Callable[..., bool]) -> int | None:
    for k, column in enumerate(table.columns):
        if column.kind != "number" or column.values is None or not named(column.title, column.aliases):
            continue
        known = column.values[np.isfinite(column.values)]
        if known.size and known.min() >= low and known.max() <= high and not (known % 1).any():
            return k
    return None


def _as_words(column: RawColumn, digits: int) -> object:
    import pyarrow as pa

    if column.text is not None:
        return column.text
    assert column.values is not None
    if column.kind in ("local", "utc"):
        import pandas as pd

        shown = pd.to_datetime(pd.Series(column.values), unit="s").dt.strftime("%Y-%m-%d %H:%M:%S.%f")
        return pa.array([None if text != text else text for text in shown.tolist()], pa.string())
    return pa.array([None if np.isnan(v) else f"{v:0{digits}.0f}" for v in column.values], pa.string())


def _joined(table: RawTable, date: int, time: int, answers: LogAnswers) -> StampText:
    from pyarrow import compute as pc

    date_words = _as_words(table.columns[date], 8)
    longest = table.columns[time].values
    digits = 6 if longest is None or np.nanmax(longest, initial=0.0) > 2400 else 4
    time_words = _as_words(table.columns[time], digits)
    title = f"{table.columns[date].title} + {table.columns[time].title}"
    if answers.time_format is not None:
        both = pc.binary_join_element_wise(date_words, time_words, " ")
        return read_stamps(both, name=table.name, title=title, time_format=answers.time_format)
    stamps = read_date_and_time(date_words, time_words, name=table.name, title=title, day_first=answers.day_first)
    if table.columns[date].filled > 0.5 * table.columns[time].filled:
        return stamps
    return _days_carried_on(stamps, date_words, time_words)


def _days_carried_on(stamps: StampText, date_words: object, time_words: object) -> StampText:
    """Stamps of a table that names the day only where it begins, as merged cells do."""
    from pyarrow import compute as pc

    clock = read_date_and_time(pc.if_else(False, date_words, None), time_words, name="", title="").local_s
    day = np.where(np.isfinite(stamps.local_s), np.floor(stamps.local_s / 86_400.0), np.nan)
    named = np.flatnonzero(np.isfinite(day))
    if not named.size or named[0] != int(np.argmax(np.isfinite(clock))):
        return stamps
    last = np.maximum.accumulate(np.where(np.isfinite(day), np.arange(day.size), -1))
    known = np.flatnonzero(np.isfinite(clock) & (last >= 0))
    over = np.zeros(day.size)
    over[known[1:]] = (np.diff(clock[known]) < -0.5 * 86_400.0) & ~np.isfinite(day[known[1:]])
    passed = np.cumsum(over)
    local = np.full(day.size, np.nan)
    local[known] = (day[last[known]] + passed[known] - passed[last[known]]) * 86_400.0 + clock[known]
    note = "Dates stand only where a day begins; the rows below were taken as the same day, and on past midnight."
    return StampText(local, stamps.offset_s, int(np.isfinite(clock).sum()), 0, True, True, (*stamps.notes, note))


def _named(table: RawTable, answers: LogAnswers, time: int | None, date: int | None) -> Clock:
    if time is not None and date is not None:
        return _with_title_zone(_clock(table, _joined(table, date, time, answers), [date, time]))
    only = time if time is not None else date
    assert only is not None
    column = table.columns[only]
    if column.kind == "number":
        clock = from_counts(table, {}, answers, only=only)
        if clock is None:
            raise InputError(
                f"{table.name}: column {column.title!r} was named as the time but holds no stamps; name another with"
                " --column time=HEADER."
            )
        return _with_title_zone(clock)
    stamps = _read(table, only, answers)
    looks = {k: _look(c) for k, c in enumerate(table.columns)}
    if stamps.has_time and not stamps.has_date:
        dates = [k for k, look in looks.items() if look and look.has_date and not look.has_time and k != only]
        if dates:
            return _with_title_zone(_clock(table, _joined(table, dates[0], only, answers), [dates[0], only]))
        timed = _times_only(table, {only: looks[only]}, answers)
        if timed is not None:
            return _with_title_zone(timed)
    if date is not None and time is None:
        times = [k for k, look in looks.items() if look and look.has_time and not look.has_date]
        if times and not stamps.has_time:
            return _with_title_zone(_clock(table, _joined(table, only, times[0], answers), [only, times[0]]))
    return _with_title_zone(_clock(table, stamps, [only]))


def _dates_only(table: RawTable, looks: Looks, answers: LogAnswers) -> Clock | None:
    dates = [k for k, look in looks.items() if look and look.has_date]
    if not dates:
        return None
    best = min(dates, key=lambda k: (not is_date_title(table.columns[k].title, table.columns[k].aliases), k))
    return _clock(table, _read(table, best, answers), [best])


def _times_only(table: RawTable, looks: Looks, answers: LogAnswers) -> Clock | None:
    from diagnostics.log.elapsed import start_in_preamble

    times = [k for k, look in looks.items() if look and look.has_time]
    if not times:
        return None
    column = table.columns[times[0]]
    cells = _sample(column)
    unread = [date for cell in cells if (date := split_stamp(cell)[0])]
    if len(unread) > 0.5 * len(cells):
        raise InputError(
            f"{table.name}: column {column.title!r} shows dates such as {unread[0]!r} in a form that is not read here;"
            " write them in numbers, as in 2026-01-31, or give [log] time_format."
        )
    start = start_in_preamble(table, answers)
    if start is None:
        raise InputError(
            f"{table.name}: column {column.title!r} holds times of day but no column and no line above the table holds"
            " the date; add a line like 'Date: 2026-01-31' above the titles."
        )
    stamps = _read(table, times[0], answers)
    seconds = stamps.local_s
    known = np.isfinite(seconds)
    steps = np.diff(seconds[known], prepend=seconds[known][:1])
    days = np.cumsum(steps < -12 * 3600.0)
    local = seconds.copy()
    local[known] += days * 86400.0 + np.floor(start / 86400.0) * 86400.0
    whole = StampText(local, stamps.offset_s, stamps.filled, 0, True, True, stamps.notes)
    return _clock(table, whole, [times[0]], ("The date was taken from a line above the table.",))


_UTC_TITLE = re.compile(r"\b(?:UTC|GMT|Zulu)\b\s*(?:([+-])\s*(\d{1,2})(?::?(\d{2}))?)?", re.I)
_ZONE_TITLE = re.compile(r"(?:^|[\s(\[_])(" + "|".join(sorted(ZONE_S, key=len, reverse=True)) + r")(?:$|[\s)\]_])")


def _with_title_zone(clock: Clock) -> Clock:
    """Stamps without offset under a title such as ``Time (UTC)`` are that zone's."""
    if clock.offset_s is not None:
        return clock
    found = _UTC_TITLE.search(clock.header.replace("_", " "))
    if found:
        shift = 0.0
        if found[1]:
            shift = (int(found[2]) * 3600.0 + int(found[3] or 0) * 60.0) * (-1.0 if found[1] == "-" else 1.0)
        named = found[0].strip()
    else:
        abbreviation = _ZONE_TITLE.search(clock.header)
        if not abbreviation:
            return clock
        named, shift = abbreviation[1], ZONE_S[abbreviation[1]]
    note = f"The title {clock.header!r} names {named}; the stamps were taken in it."
    return Clock(
        clock.local_s,
        np.full(clock.local_s.size, shift),
        clock.columns,
        clock.filled,
        clock.impossible,
        clock.header,
        (*clock.notes, note),
    )
