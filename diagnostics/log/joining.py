"""Several logs of one dryer become one.

Question: what is the whole record? Input: logs as read. Output: one `Log`. Method: sorted by their start; a log that
repeats time which another covers gives only its new rows; a log without moisture that runs beside one with it lends
its channels, each reading to the row nearest in time.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

from diagnostics.log.record import Column, Floats, Log
from diagnostics.moment import say_time

_NEAR = 0.6


def join(logs: Sequence[Log]) -> Log:
    """Join logs of one dryer in time.

    Parameters
    ----------
    logs : sequence of Log
        At least one.

    Returns
    -------
    Log
    """
    if len(logs) == 1:
        return logs[0]
    ordered = sorted(logs, key=lambda log: float(log.time_s[0]))
    wet = [log for log in ordered if "dew_point" in log.channels]
    beside = [log for log in ordered if "dew_point" not in log.channels] if wet else []
    joined = (wet or ordered)[0]
    for log in (wet or ordered)[1:]:
        joined = _append(joined, log)
    for log in beside:
        joined = _lend(joined, log)
    digest = hashlib.sha256("".join(log.sha256 for log in ordered).encode()).hexdigest()
    return _replaced(
        joined,
        source=", ".join(log.source for log in ordered),
        rows_dropped=sum(log.rows_dropped for log in ordered),
        cells_missing=sum(log.cells_missing for log in ordered),
        clock_jumps=tuple(sorted((j for log in ordered for j in log.clock_jumps), key=lambda j: j.time_s)),
        sha256=digest,
    )


def _replaced(log: Log, **changes: object) -> Log:
    from dataclasses import replace

    return replace(log, **changes)  # type: ignore[arg-type]


def _append(first: Log, second: Log) -> Log:
    """Both logs' rows in the order of time; rows of the second within the first's time are merged or set aside."""
    interval = max(min(first.interval_s, second.interval_s), 1e-3)
    nearest, at = _nearest(first.time_s, second.time_s)
    repeats = nearest < _NEAR * interval
    new = ~repeats
    time_s = np.concatenate((first.time_s, second.time_s[new]))
    order = np.argsort(time_s, kind="stable")
    channels = _merged(first.channels, second.channels, first.samples, at, repeats, new, order)
    other = _merged(first.other, second.other, first.samples, at, repeats, new, order)
    notes = [*first.notes, *(note for note in second.notes if note not in first.notes)]
    count = int(repeats.sum())
    if count:
        notes.append(
            f"{count} rows of {second.source} lie at times that {first.source} covers already (from"
            f" {say_time(float(second.time_s[repeats][0]), first.timezone)}) and were set aside."
        )
    notes.extend(_differences(first, second))
    sorted_s = time_s[order]
    lengths = (first.samples, second.samples)
    return _replaced(
        first,
        source=f"{first.source}, {second.source}",
        time_s=sorted_s,
        channels=channels,
        other=other,
        columns={**second.columns, **first.columns},
        timezone=first.timezone or second.timezone,
        interval_s=first.interval_s if lengths[0] >= lengths[1] else second.interval_s,
        rows_repeated=first.rows_repeated + second.rows_repeated + count,
        notes=tuple(notes),
    )


def _nearest(known_s: Floats, wanted_s: Floats) -> tuple[Floats, np.ndarray]:
    """Distance [s] from each wanted instant to the nearest known one, and the index of that."""
    at = np.searchsorted(known_s, wanted_s)
    before, after = np.clip(at - 1, 0, known_s.size - 1), np.clip(at, 0, known_s.size - 1)
    left, right = np.abs(wanted_s - known_s[before]), np.abs(known_s[after] - wanted_s)
    return np.minimum(left, right), np.where(left <= right, before, after)


def _merged(
    first: object, second: object, size: int, at: np.ndarray, repeats: np.ndarray, new: np.ndarray, order: np.ndarray
) -> dict[str, Floats]:
    one: dict[str, Floats] = dict(first)  # type: ignore[call-overload]
    two: dict[str, Floats] = dict(second)  # type: ignore[call-overload]
    merged = {}
    for key in dict.fromkeys((*one, *two)):
        head = one[key].copy() if key in one else np.full(size, np.nan)
        tail = two[key] if key in two else np.full(repeats.size, np.nan)
        # Where both logs have a row, the second fills only what the first lacks.
        places, given = at[repeats], tail[repeats]
        lacking = ~np.isfinite(head[places])
        head[places[lacking]] = given[lacking]
        merged[key] = np.concatenate((head, tail[new]))[order]
    return merged


def _differences(first: Log, second: Log) -> list[str]:
    notes = []
    for quantity in dict.fromkeys((*first.channels, *second.channels)):
        here, there = quantity in first.channels, quantity in second.channels
        if here != there:
            lacking = second.source if here else first.source
            notes.append(f"{lacking} has no {quantity.replace('_', ' ')}; its rows lack it.")
    if first.moisture_unit != second.moisture_unit:
        notes.append(
            f"{second.source} logs moisture in {second.moisture_unit}, {first.source} in {first.moisture_unit}."
        )
    return notes


def _lend(main: Log, beside: Log) -> Log:
    """Channels of a log without moisture, each reading to the nearest row within its own interval."""
    distance, at = _nearest(beside.time_s, main.time_s)
    close = distance <= max(beside.interval_s, main.interval_s)
    lent = []
    channels, other = dict(main.channels), dict(main.other)
    columns: dict[str, Column] = dict(main.columns)
    for source, target in ((beside.channels, channels), (beside.other, other)):
        for key, values in source.items():
            if key in target:
                continue
            target[key] = np.where(close, values[at], np.nan)
            lent.append(key)
            if key in beside.columns:
                columns[key] = beside.columns[key]
    note = (
        f"{beside.source} holds no moisture; its {', '.join(k.replace('_', ' ') for k in lent) or 'columns'} were laid"
        f" beside {main.source}, nearest in time ({int(close.sum())} rows)."
    )
    return _replaced(
        main,
        channels=channels,
        other=other,
        columns=columns,
        notes=(*main.notes, *beside.notes, note),
        source=f"{main.source}, {beside.source}",
    )
