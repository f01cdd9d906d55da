"""The reader: one dryer's log files become one `Log`.

Question: what did the logger record, and when? Input: files of any usual make and the plant. Output: a `Log`, with a
sentence for every decision that was made on the way.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.channel_names import named_channels
from diagnostics.log.channels import Channels, to_channels
from diagnostics.log.clock import Clock, find_clock
from diagnostics.log.columns import Assignment, NumberColumn, assign, column_named, say_faults
from diagnostics.log.contents import Content, open_content
from diagnostics.log.encoding import plain_quotes, to_utf8
from diagnostics.log.joining import join
from diagnostics.log.layout import find_layout
from diagnostics.log.order import Order, arrange, is_newest_first
from diagnostics.log.raw import RawTable
from diagnostics.log.record import ClockJump, Flags, Floats, Log, Upload
from diagnostics.log.streamed_text import read_streamed
from diagnostics.log.table_shapes import usual_shape
from diagnostics.log.text_table import read_text
from diagnostics.log.titles import DEW_POINT, MOISTURES, quantity_of
from diagnostics.log.units import split_title
from diagnostics.log.workbook import read_parquet, read_workbook
from diagnostics.log.zone import to_instants
from diagnostics.plant import Plant

_FEWEST_ROWS = 2
_WORTH_A_THREAD_BYTES = 4_000_000
_PIECE_ROWS = 65_536


def read_log(
    paths: str | Path | Upload | Sequence[str | Path | Upload],
    plant: Plant,
    *,
    columns: Mapping[str, str] | None = None,
    progress: Callable[[str], None] | None = None,
    moisture_required: bool = True,
) -> Log:
    """Read one dryer's log files.

    Parameters
    ----------
    paths : path or upload, or a sequence of them
        CSV and other text, workbooks (.xlsx, .xls, .ods), Parquet; each plain or in a gzip or zip of one member.
    plant : Plant
        Site's zone and barometer, line pressure, the flow meter's reference state, answers in ``[log]``.
    columns : mapping of str to str, optional
        Quantity to column title; overrides ``[log] columns``.
    progress : callable, optional
        Called with the name of each step as it begins.
    moisture_required : bool
        False lets a log without moisture pass, for its rhythm alone.

    Returns
    -------
    Log
        Ascending in time; several files joined.

    Raises
    ------
    InputError
        If a file cannot be read as a log; the sentence names file, line or column and what would mend it.
    """
    files = [paths] if isinstance(paths, str | Path | Upload) else list(paths)
    if not files:
        raise InputError("No log was named; name at least one file.")
    wanted: dict[str, str] = {str(quantity): title for quantity, title in plant.log.columns.items()}
    wanted.update(columns or {})
    several = len(files) > 1
    logs = []
    missing: list[InputError] = []
    for file in files:
        if progress is not None:
            progress(f"reading {file.name if isinstance(file, Upload) else Path(file).name}")
        table, digest, notes = _table_of(file, plant)
        here, unmet = _present(table, wanted) if several else (wanted, [])
        missing.extend(unmet)
        required = moisture_required and not several
        logs.append(_read_table(table, notes, plant, here, digest, required))
    if len(missing) >= len(files) and missing:
        raise missing[0]
    log = join(logs)
    if moisture_required and "dew_point" not in log.channels:
        raise InputError(
            f"{log.source} hold no dew point and no other moisture that their titles name; name the column with"
            " --column dew_point=HEADER."
        )
    return log


def _table_of(file: str | Path | Upload, plant: Plant) -> tuple[RawTable, str, tuple[str, ...]]:
    streamed = read_streamed(file, plant)
    if streamed is not None:
        return *streamed, ()
    content, raw = open_content(file)
    return *_table_and_digest(content, raw, plant), content.notes


def _table_and_digest(content: Content, raw: bytes, plant: Plant) -> tuple[RawTable, str]:
    if len(raw) < _WORTH_A_THREAD_BYTES:
        return _table(content, plant), hashlib.sha256(raw).hexdigest()
    # The digest needs no lock and no more time than the parser beside it.
    with ThreadPoolExecutor(1) as beside:
        digest = beside.submit(hashlib.sha256, raw)
        return _table(content, plant), digest.result().hexdigest()


def _present(table: RawTable, wanted: Mapping[str, str]) -> tuple[dict[str, str], list[InputError]]:
    """Of several logs each may lack a named column; those it has, and what is said about the others."""
    here, unmet = {}, []
    for quantity, title in wanted.items():
        try:
            column_named(table, title, quantity)
        except InputError as error:
            unmet.append(error)
        else:
            here[quantity] = title
    return here, unmet


def _table(content: Content, plant: Plant) -> RawTable:
    if content.kind == "workbook":
        return read_workbook(content)
    if content.kind == "parquet":
        return read_parquet(content)
    data = plain_quotes(to_utf8(content.data)[0])
    layout = find_layout(data, content.name, delimiter=plant.log.delimiter, decimal=plant.log.decimal)
    return read_text(data, layout, content.name, stamps_as_text=plant.log.time_format is not None)


@dataclass(frozen=True)
class _Placed:
    """Rows of a table in the order of time."""

    rows: np.ndarray | slice
    order: Order
    jumps: tuple[ClockJump, ...]
    timezone: str | None
    notes: tuple[str, ...]


def _read_table(
    table: RawTable, notes: tuple[str, ...], plant: Plant, wanted: Mapping[str, str], sha256: str, required: bool
) -> Log:
    table = named_channels(usual_shape(table, wanted))
    time_column, date_column = (column_named(table, wanted[q], q) if q in wanted else None for q in ("time", "date"))
    clock = find_clock(table, plant.log, time_column=time_column, date_column=date_column)
    assignment = assign(table, clock.columns, columns=wanted, units={str(q): u for q, u in plant.log.units.items()})
    _refuse_other_order(table, assignment)
    if required:
        _refuse_wordy(table, assignment)
    channels = to_channels(assignment, plant, table.name, moisture_required=required)
    _refuse_impossible(table, channels, required)
    readable = np.isfinite(clock.local_s)
    _refuse_unreadable(table, clock, readable)
    placed = _place(clock, readable, plant, assignment)
    time_s = placed.order.time_s
    _refuse_half_days(table, clock, placed.jumps)
    if time_s.size < _FEWEST_ROWS:
        raise InputError(
            f"{table.name}: all rows carry the same time in {clock.header!r}; name the right column with --column"
            " time=HEADER."
        )
    missing, fault_notes = say_faults(assignment.chosen)
    dropped = max(clock.filled - int(np.count_nonzero(readable)), _rows_without_stamp(assignment, readable))
    other = {title: c.values[placed.rows] for title, c in {**assignment.rest, **_unused(assignment, channels)}.items()}
    return Log(
        source=table.name,
        time_s=time_s,
        channels={quantity: values[placed.rows] for quantity, values in channels.values.items()},
        columns=channels.columns,
        timezone=placed.timezone,
        interval_s=round(_median_step_s(time_s), 3),
        other=other,
        moisture_unit=channels.moisture_unit,
        moisture_basis=channels.moisture_basis,
        titled_basis=channels.titled_basis,
        rows_dropped=dropped + table.rows_torn,
        rows_repeated=placed.order.repeated,
        cells_missing=missing + channels.impossible,
        clock_jumps=placed.jumps,
        notes=(
            *notes,
            *table.notes,
            *clock.notes,
            *_say_dropped(clock, dropped),
            *placed.notes,
            *assignment.notes,
            *channels.notes,
            *fault_notes,
        ),
        sha256=sha256,
    )


def _unused(assignment: Assignment, channels: Channels) -> dict[str, NumberColumn]:
    """Columns that a title claimed but no channel took, such as a humidity beside the dew point."""
    taken = {column.header for column in channels.columns.values()}
    return {c.header: c for c in assignment.chosen.values() if c.header not in taken}


def _refuse_other_order(table: RawTable, assignment: Assignment) -> None:
    """Titles that stand again, over other columns than at the top, make numbers change their meaning on the way."""
    titles = {column.title for column in table.columns}
    for column in assignment.chosen.values():
        for word in column.faults:
            if word in titles and word != column.header:
                text = next(c.text for c in table.columns if c.title == column.header)
                line = table.line + (text.index(word).as_py() if text is not None else 0)
                raise InputError(
                    f"{table.name}, line {line}: the titles stand again, in another order ({word!r} over"
                    f" {column.header!r}); save the part from there on as a file of its own and name both files."
                )


def _refuse_wordy(table: RawTable, assignment: Assignment) -> None:
    """A dew point's column without a single number, where no other moisture stands beside it."""
    if set(MOISTURES) & set(assignment.chosen):
        return
    numeric = {column.header for column in (*assignment.chosen.values(), *assignment.rest.values())}
    for column in table.columns:
        if (
            column.text is not None
            and column.title not in numeric
            and quantity_of(*split_title(column.title)) == DEW_POINT
        ):
            shown = next((cell.as_py() for cell in column.text if cell.is_valid), "")
            raise InputError(
                f"{table.name}: {column.title!r} holds no numbers but texts such as {shown!r}; export its readings, or"
                " name another column with --column dew_point=HEADER."
            )


def _refuse_impossible(table: RawTable, channels: Channels, required: bool) -> None:
    if not required or "dew_point" not in channels.values or np.isfinite(channels.values["dew_point"]).any():
        return
    column = channels.columns["dew_point"]
    raise InputError(
        f"{table.name}: none of the numbers in {column.header!r}, read as {column.unit}, can be a dew point; correct"
        " the unit in [log] units or name another column with --column dew_point=HEADER."
    )


def _refuse_half_days(table: RawTable, clock: Clock, jumps: tuple[ClockJump, ...]) -> None:
    """Hours from 1 to 12 that start over at one: a 12-hour clock whose halves of the day nothing tells apart."""
    if not any(-12 * 3600.0 <= jump.step_s <= -10.5 * 3600.0 for jump in jumps):
        return
    hours = np.floor(clock.local_s[np.isfinite(clock.local_s)] % 86_400.0 / 3600.0)
    if hours.min() >= 1 and hours.max() == 12:
        raise InputError(
            f"{table.name}: the hours in {clock.header!r} run from 1 to 12 and start over, without a mark for morning"
            " and afternoon; export the log with a 24-hour clock or with AM and PM."
        )


def _refuse_unreadable(table: RawTable, clock: Clock, readable: Flags) -> None:
    count = int(np.count_nonzero(readable))
    if count < _FEWEST_ROWS:
        cells: Any = next((c.text for c in table.columns if c.title == clock.header and c.text is not None), [])
        shown = next((f", which shows {cell.as_py()!r}" for cell in cells if cell.is_valid), "")
        raise InputError(
            f"{table.name}: {count} of {clock.filled} rows have a readable time in {clock.header!r}{shown}; a log needs"
            f" at least {_FEWEST_ROWS}. Name the right column with --column time=HEADER or give [log] time_format."
        )
    if count < 0.5 * clock.filled:
        first = table.line + int(np.argmin(readable))
        raise InputError(
            f"{table.name}: only {count} of {clock.filled} rows have a readable time in {clock.header!r} (line {first}"
            " has none); correct [log] day_first or time_format, or name another column with --column time=HEADER."
        )


def _rows_without_stamp(assignment: Assignment, readable: Flags) -> int:
    if readable.all():
        return 0
    lost = np.flatnonzero(~readable)
    holds = np.zeros(lost.size, dtype=bool)
    for column in (*assignment.chosen.values(), *assignment.rest.values()):
        holds |= np.isfinite(column.values[lost])
    return int(holds.sum())


def _say_dropped(clock: Clock, dropped: int) -> list[str]:
    notes = []
    if dropped:
        dates = f", {clock.impossible} of them with a date that no calendar holds" if clock.impossible else ""
        notes.append(f"{dropped} rows have no readable time{dates} and were left out.")
    return notes


def _place(clock: Clock, readable: Flags, plant: Plant, assignment: Assignment) -> _Placed:
    """Instants of the readable rows in the order of time."""
    rows: np.ndarray | slice = slice(None) if readable.all() else np.flatnonzero(readable)
    local = clock.local_s[rows]
    offset = clock.offset_s[rows] if clock.offset_s is not None else None
    notes: list[str] = []
    if is_newest_first(local if offset is None else local - np.nan_to_num(offset)):
        rows, local = (slice(None, None, -1) if isinstance(rows, slice) else rows[::-1]), local[::-1]
        offset = offset[::-1] if offset is not None else None
        notes.append("The log runs from the newest reading to the oldest; it was turned.")
    timezone = plant.site.timezone
    if offset is not None and timezone is None:
        timezone = _fixed_zone(float(offset[np.isfinite(offset)][0]))
    instants = to_instants(local, timezone)
    time_s, jumps = instants.time_s, instants.clock_jumps
    if offset is not None:
        own = np.isfinite(offset)
        time_s = np.where(own, local - np.nan_to_num(offset), time_s)
        jumps = () if own.mean() > 0.5 else jumps
    else:
        notes.extend(instants.notes)
        notes.append(
            f"Its stamps were taken as local time of {timezone}."
            if timezone
            else "No zone is known; its stamps were laid on UTC as they stand. Give site.timezone to have them placed."
        )
    message = _messages(assignment, rows, time_s)
    if message is not None:
        rows, time_s = np.arange(readable.size)[rows][~message], time_s[~message]
        notes.append(f"{int(message.sum())} rows without a number share the stamp of a reading and were left out.")
    order = arrange(time_s, timezone, _identical(assignment, rows, time_s))
    all_jumps = tuple(sorted((*jumps, *order.clock_jumps), key=lambda jump: jump.time_s))
    return _Placed(_taken(rows, order.rows, readable.size), order, all_jumps, timezone, (*notes, *order.notes))


def _taken(rows: np.ndarray | slice, kept: np.ndarray | slice, size: int) -> np.ndarray | slice:
    """Rows of the file behind rows of what was read; all rows in their own order need no copy of every channel."""
    if isinstance(kept, slice):
        return rows
    taken = np.arange(size)[rows][kept]
    return slice(None) if taken.size == size and bool((np.diff(taken) == 1).all()) else taken


def _median_step_s(time_s: Floats) -> float:
    """Median step; where one step makes up more than half of all, it is the median and no array of steps is needed."""
    if time_s.size < 2:
        return 0.0
    step = float(time_s[1] - time_s[0])
    alike = sum(
        int(np.count_nonzero(np.diff(time_s[at : at + _PIECE_ROWS + 1]) == step))
        for at in range(0, time_s.size - 1, _PIECE_ROWS)
    )
    return step if alike > 0.5 * (time_s.size - 1) else float(np.median(np.diff(time_s)))


def _fixed_zone(offset_s: float) -> str:
    if offset_s == 0.0:
        return "UTC"
    sign = "-" if offset_s < 0 else "+"
    minutes = int(abs(offset_s) // 60)
    return f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"


def _messages(assignment: Assignment, rows: np.ndarray | slice, time_s: Floats) -> Flags | None:
    """Rows that hold a logger's message instead of numbers, at the stamp of a reading; None where there are none."""
    if not (time_s[1:] == time_s[:-1]).any():
        return None
    empty = np.ones(time_s.size, dtype=bool)
    for column in assignment.chosen.values():
        empty &= ~np.isfinite(column.values[rows])
    message: Flags = empty & np.isin(time_s, time_s[~empty]) if empty.any() else empty
    return message if message.any() else None


def _identical(assignment: Assignment, rows: np.ndarray | slice, time_s: Floats) -> Flags | None:
    """Rows whose numbers all equal those of the row before; None where no stamp repeats."""
    if time_s.size < 2 or not (time_s[1:] == time_s[:-1]).any():
        return None
    same = np.ones(time_s.size, dtype=bool)
    same[0] = False
    for column in (*assignment.chosen.values(), *assignment.rest.values()):
        values = np.nan_to_num(column.values[rows], nan=np.inf)
        same[1:] &= values[1:] == values[:-1]
    return same
