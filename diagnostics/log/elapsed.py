"""Stamps that are plain numbers: counted since 1970, a spreadsheet's days, or the time elapsed since a start."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.raw import RawColumn, RawTable
from diagnostics.log.record import Floats
from diagnostics.log.stamps import StampText, read_stamps, split_stamp
from diagnostics.log.time_words import is_date_title, is_elapsed_title, is_time_title
from diagnostics.log.units import TIME, parse_unit, split_title
from diagnostics.plant_file import LogAnswers

if TYPE_CHECKING:
    from diagnostics.log.clock import Clock

_COUNTS = ((1.0, "seconds"), (1e3, "milliseconds"), (1e6, "microseconds"), (1e9, "nanoseconds"))
_EARLIEST_S, _LATEST_S = 631_152_000.0, 4_102_444_800.0
_SERIAL_EPOCH_DAYS = 25_569
"""Days from 1899-12-30, day 0 of spreadsheets, to 1970-01-01."""
_SERIALS = (32_874.0, 73_051.0)
_DIGITS = ((195_001_010_000.0, 210_012_312_359.0), (19_500_101_000_000.0, 21_001_231_235_959.0))
"""YYYYMMDDhhmm and YYYYMMDDhhmmss as numbers; no count since 1970 that makes sense lies there."""
_START_WORD = re.compile(
    r"start|begin|first|from|since|debut|début|inicio|início|inizio|aanvang|alku|pocz|zacat|začát|von\b|ab\b|logged",
    re.I,
)
_DATE_WORD = re.compile(r"date|datum|fecha|data\b|dato|дата", re.I)
_DATE_TEXT = re.compile(
    r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}(?:[T ,]+\d{1,2}[:.]\d{2}(?:[:.]\d{2})?(?:\s?[ap]\.?m\.?)?)?"
    r"|\d{1,2}[-/.]\d{1,2}[-/.]\d{4}(?:[ ,;]+\d{1,2}[:.]\d{2}(?:[:.]\d{2})?(?:\s?[ap]\.?m\.?)?)?"
    r"|\d{1,2}\.? [^\W\d_]{3,9}\.? \d{4}(?:[ ,;]+\d{1,2}:\d{2}(?::\d{2})?)?",
    re.I,
)
_DURATION_TITLE = re.compile(
    r"elapsed|laufzeit|betriebszeit|[ée]coul|transcurrido|trascorso|decorrido|verstreken|f[öo]rfluten|relative time|"
    r"relativzeit|run ?time|duration|dauer|dur[ée]e",
    re.I,
)
_DURATION = re.compile(r"(?:(\d{1,3})(?:\.| ?d(?:ays?)? ?|[ ,]+))?(\d{1,4}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?")
_CLOCK_TEXT = re.compile(r"(?<!\d)\d{1,2}:\d{2}(?::\d{2})?")


def from_counts(table: RawTable, looks: object, answers: LogAnswers, *, only: int | None = None) -> Clock | None:
    """Stamps from a column of numbers; None where none looks like a time.

    Raises
    ------
    InputError
        If the numbers count from a start that nothing names.
    """
    from diagnostics.log.clock import _clock

    order = [only] if only is not None else _candidates(table)
    for k in order:
        column = table.columns[k]
        digits = _as_digits(column)
        if digits is not None:
            stamps = read_stamps(digits, name=table.name, title=column.title, time_format=answers.time_format)
            return _clock(table, stamps, [k])
        read = _since_1970(column) or _serial(column, named=only is not None or _timelike(column))
        if read is not None:
            stamps, note, utc = read
            if utc:
                stamps = StampText(stamps.local_s, np.zeros(stamps.local_s.size), stamps.filled, 0, True, True)
            return _clock(table, stamps, [k], (note,))
    for k in order:
        column = table.columns[k]
        unit = _unit_s(column)
        if only is None and unit is None and not (is_elapsed_title(column.title, column.aliases) and k == 0):
            continue
        if not _runs_on(column, share=0.9):
            continue
        if unit is None:
            raise InputError(
                f"{table.name}: column {column.title!r} counts time in a unit it does not name; add the unit to its"
                " title, as in 'Elapsed time [s]'."
            )
        start = start_in_preamble(table, answers)
        if start is None:
            raise InputError(
                f"{table.name}: column {column.title!r} counts time from a start that no line above the table names;"
                " add a line like 'Start: 2026-01-31 07:30:00' above the titles."
            )
        assert column.values is not None
        local = np.round(start + column.values * unit, 3)
        stamps = StampText(local, None, column.filled, 0, True, True)
        return _clock(table, stamps, [k], ("It counts from the start that a line above the table names.",))
    return None


def from_durations(table: RawTable, looks: object, answers: LogAnswers) -> Clock | None:
    """Stamps from a column of times elapsed, written as hours, minutes and seconds; None where none is titled so."""
    for k, column in enumerate(table.columns):
        if column.kind != "text" or not _DURATION_TITLE.search(column.title):
            continue
        cells = column.text.to_pylist()
        found = [_DURATION.fullmatch(cell.strip()) if cell else None for cell in cells]
        if sum(f is not None for f in found) < 0.9 * column.filled:
            continue
        seconds = [np.nan if f is None else _seconds(f) for f in found]
        counted = RawColumn(column.title, "number", np.array(seconds), unit="s", aliases=column.aliases)
        columns = tuple(counted if i == k else other for i, other in enumerate(table.columns))
        return from_counts(replace(table, columns=columns), looks, answers, only=k)
    return None


def _seconds(found: re.Match[str]) -> float:
    days, hours, minutes, rest = found.groups()
    whole = int(days or 0) * 86_400.0 + int(hours) * 3600.0 + int(minutes) * 60.0
    return whole + float((rest or "0").replace(",", "."))


def _candidates(table: RawTable) -> list[int]:
    numbers = [k for k, column in enumerate(table.columns) if column.kind == "number" and column.filled]
    named = [k for k in numbers if _timelike(table.columns[k])]
    return named + [k for k in numbers[:1] if k not in named]


def _timelike(column: RawColumn) -> bool:
    return (
        is_time_title(column.title, column.aliases)
        or is_date_title(column.title, column.aliases)
        or bool(re.search(r"epoch|unix|posix|\bts\b", column.title, re.I))
    )


def _runs_on(column: RawColumn, share: float) -> bool:
    values = column.values
    if values is None:
        return False
    steps = np.diff(values[np.isfinite(values)])
    return steps.size > 0 and max(float(np.mean(steps > 0)), float(np.mean(steps < 0))) >= share


def _since_1970(column: RawColumn) -> tuple[StampText, str, bool] | None:
    assert column.values is not None
    known = column.values[np.isfinite(column.values)]
    if not known.size:
        return None
    middle = float(np.median(known))
    for factor, name in _COUNTS:
        if _EARLIEST_S <= middle / factor <= _LATEST_S and (_runs_on(column, 0.5) or known.size < 3):
            seconds = _within(np.round(column.values / factor, 3), _EARLIEST_S, _LATEST_S)
            stamps = StampText(seconds, None, column.filled, 0, True, True)
            return stamps, f"Its numbers count {name} since 1970-01-01 UTC.", True
    return None


def _within(seconds: Floats, low: float, high: float) -> Floats:
    with np.errstate(invalid="ignore"):
        return np.where((seconds >= low) & (seconds <= high), seconds, np.nan)


def _as_digits(column: RawColumn) -> Any:
    """Cells of a column whose numbers are dates and times written without marks, as 20260131073000."""
    assert column.values is not None
    known = column.values[np.isfinite(column.values)]
    middle = float(np.median(known)) if known.size else 0.0
    if not any(low <= middle <= high for low, high in _DIGITS) or (known % 1).any():
        return None
    import pyarrow as pa

    return pa.array([None if np.isnan(v) else f"{v:.0f}" for v in column.values], pa.string())


def _serial(column: RawColumn, *, named: bool) -> tuple[StampText, str, bool] | None:
    assert column.values is not None
    known = column.values[np.isfinite(column.values)]
    if (
        not known.size
        or not named
        or _unit_s(column) not in (None, 86_400.0)
        or not _SERIALS[0] <= float(np.median(known)) <= _SERIALS[1]
    ):
        return None
    if known.size > 2 and not _runs_on(column, 0.5):
        return None
    days = _within(column.values, *_SERIALS)
    # Day fractions hold about a microsecond; what is below a hundredth of a second is rounding of the sheet.
    local = np.round((days - _SERIAL_EPOCH_DAYS) * 86_400.0, 2)
    whole = np.rint(local)
    local = np.where(np.abs(local - whole) <= 0.02, whole, local)
    return StampText(local, None, column.filled, 0, True, True), "Its numbers are a spreadsheet's days.", False


def _unit_s(column: RawColumn) -> float | None:
    for text in (column.unit, column.title, *column.aliases):
        _, unit = split_title(text)
        unit = parse_unit(text) if unit is None else unit
        if unit is not None and unit.kind == TIME:
            return unit.factor
    return None


def start_in_preamble(table: RawTable, answers: LogAnswers) -> float | None:
    """Wall clock [s since 1970-01-01] of the start that a line above the table names; None without.

    Raises
    ------
    InputError
        If day and month of it cannot be told apart.
    """
    lines = sorted(table.preamble, key=lambda line: (not _START_WORD.search(line), not _DATE_WORD.search(line)))
    for line in lines:
        found = _DATE_TEXT.search(line)
        if not found:
            continue
        text = found[0]
        if not split_stamp(text)[1]:
            clock = next((c[0] for other in (line, *lines) if (c := _CLOCK_TEXT.search(other))), "")
            text = f"{text} {clock}".strip()
        import pyarrow as pa

        read = read_stamps(pa.array([text]), name=table.name, title=line[:60], day_first=answers.day_first)
        if np.isfinite(read.local_s[0]):
            return float(read.local_s[0])
    return None
