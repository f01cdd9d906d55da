"""Wall clock to instants: the site's zone, and both changes of its clock.

Question: which instant does each local stamp mean? Input: local seconds in the order of the file and the zone. Output:
`Instants`. Method: offsets follow the zone's own changes. The hour that occurs twice in autumn is parted where the
stamps go back; where they run straight through either change, the logger's clock was never changed and keeps the
offset it began with.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from diagnostics.log.record import ClockJump, Floats
from diagnostics.moment import say_time, zone_of

_STEP_S = 6 * 3600.0
_MOST_SPAN_S = 60 * 366 * 86400.0
_SPAN_OF_ZONES_S = (-2.0e9, 4.1e9)


@dataclass(frozen=True, slots=True)
class Change:
    """A change of the zone's clock at an instant [epoch s], offsets [s] before and after."""

    time_s: float
    before_s: float
    after_s: float


@dataclass(frozen=True)
class Instants:
    """Epoch seconds UTC, NaN where the stamp was unreadable; jumps that the zone explains."""

    time_s: Floats
    clock_jumps: tuple[ClockJump, ...]
    notes: tuple[str, ...]


def changes_between(timezone: str, start_s: float, end_s: float) -> list[Change]:
    """Changes of a zone's clock from start to end [epoch s], to the second."""
    zone = zone_of(timezone)
    if zone is None:
        return []
    start_s = max(start_s, _SPAN_OF_ZONES_S[0])
    end_s = min(end_s, _SPAN_OF_ZONES_S[1], start_s + _MOST_SPAN_S)

    def offset(time_s: float) -> float:
        shift = dt.datetime.fromtimestamp(time_s, zone).utcoffset()
        return shift.total_seconds() if shift is not None else 0.0

    found = []
    for low in np.arange(start_s, end_s, _STEP_S):
        high = low + _STEP_S
        before, after = offset(float(low)), offset(float(high))
        if before == after:
            continue
        first, last = int(low), int(high)
        while last - first > 1:
            middle = (first + last) // 2
            first, last = (middle, last) if offset(middle) == before else (first, middle)
        found.append(Change(float(last), before, after))
    return found


def to_instants(local_s: Floats, timezone: str | None) -> Instants:
    """Instants of local stamps.

    Parameters
    ----------
    local_s : ndarray, shape (n,)
        Seconds of the wall clock in the order of the file, oldest first; NaN where unreadable.
    timezone : str or None
        None lays the stamps on UTC.

    Returns
    -------
    Instants
    """
    known = np.isfinite(local_s)
    if timezone is None or not known.any():
        return Instants(local_s.copy(), (), ())
    whole = bool(known.all())
    local = local_s if whole else local_s[known]
    changes = changes_between(timezone, float(local.min()) - 2 * 86400.0, float(local.max()) + 2 * 86400.0)
    zone = zone_of(timezone)
    start = min(max(float(local.min()) - 2 * 86400.0, _SPAN_OF_ZONES_S[0]), _SPAN_OF_ZONES_S[1])
    shift = dt.datetime.fromtimestamp(start, zone).utcoffset()
    first_s = shift.total_seconds() if shift is not None else 0.0
    if not changes and whole:
        return Instants(local_s - first_s, (), ())
    offset = np.full(local.size, first_s)
    interval = _usual_step(local)
    jumps: list[ClockJump] = []
    notes: list[str] = []
    for change in changes:
        if change.after_s > change.before_s:
            stands = _spring(local, change, interval)
        else:
            stands = _autumn(local, change, interval, jumps, notes, timezone)
        if stands:
            notes.append(
                f"The stamps run straight through the clock change at {say_time(change.time_s, timezone)}: the logger's"
                " clock was not changed, its stamps keep the offset from before."
            )
            # What was explained up to here stays; from here on the clock follows no zone.
            break
        offset[local >= _boundary(change)] = change.after_s
        if change.after_s < change.before_s:
            _autumn_offsets(local, change, offset)
    time_s = np.full(local_s.shape, np.nan)
    time_s[known] = local - offset
    return Instants(time_s, tuple(jumps), tuple(notes))


def _boundary(change: Change) -> float:
    return change.time_s + max(change.before_s, change.after_s)


def _usual_step(local: Floats) -> float:
    every = max(1, (local.size - 1) // 100_000)
    steps = local[1::every] - local[:-1:every]
    ahead = steps[steps > 0]
    return float(np.median(ahead)) if ahead.size else 0.0


def _spring(local: Floats, change: Change, interval: float) -> bool:
    """Whether stamps stand within the hour that the zone leaves out, in unbroken sequence."""
    low, high = change.time_s + change.before_s, change.time_s + change.after_s
    inside = np.flatnonzero((local >= low) & (local < high))
    if inside.size == 0 or interval <= 0 or interval > high - low:
        return False
    first, last = int(inside[0]), int(inside[-1])
    joined_before = first == 0 or 0 < local[first] - local[first - 1] <= 3.05 * interval
    joined_after = last == local.size - 1 or 0 < local[last + 1] - local[last] <= 3.05 * interval
    return joined_before and joined_after


def _autumn(
    local: Floats,
    change: Change,
    interval: float,
    jumps: list[ClockJump],
    notes: list[str],
    timezone: str,
) -> bool:
    """Whether stamps run straight through the hour that the zone has twice; notes a jump where they go back."""
    low, high = change.time_s + change.after_s, change.time_s + change.before_s
    inside = np.flatnonzero((local >= low) & (local < high))
    if inside.size == 0:
        return False
    if _turn(local, inside, high - low) is not None:
        jumps.append(ClockJump(change.time_s, change.after_s - change.before_s, True))
        notes.append(
            f"The hour that the end of summer time repeats ({say_time(change.time_s, timezone)}) was told apart by the"
            " order of its rows."
        )
        return False
    first, last = int(inside[0]), int(inside[-1])
    if first == 0 or last == local.size - 1 or interval <= 0 or interval > high - low:
        return False
    run = np.diff(local[first - 1 : last + 2])
    return bool(run.min() > 0 and run.max() <= 3.05 * interval)


def _turn(local: Floats, inside: np.ndarray, width: float) -> int | None:
    """Row of the second pass's first stamp, where the rows in the doubled hour go back once."""
    steps = np.diff(local[inside])
    if inside.size == 2 and steps[0] == 0:
        return 1
    back = np.flatnonzero(steps < 0)
    if back.size != 1:
        return None
    first_pass, second_pass = local[inside[: back[0] + 1]], local[inside[back[0] + 1 :]]
    drop = first_pass[-1] - second_pass[0]
    return int(back[0]) + 1 if drop > 0.2 * width or (first_pass.size == second_pass.size == 1) else None


def _autumn_offsets(local: Floats, change: Change, offset: Floats) -> None:
    low, high = change.time_s + change.after_s, change.time_s + change.before_s
    inside = np.flatnonzero((local >= low) & (local < high))
    if inside.size == 0:
        return
    turn = _turn(local, inside, high - low)
    if turn is not None:
        offset[inside[turn:]] = change.after_s
        return
    steps = np.diff(local[inside])
    interval = _usual_step(local)
    holes = np.flatnonzero(steps > 3.05 * interval) if interval > 0 else np.array([], dtype=int)
    first, last = int(inside[0]), int(inside[-1])
    joined_before = first > 0 and 0 < local[first] - local[first - 1] <= 3.05 * interval
    joined_after = last < local.size - 1 and 0 < local[last + 1] - local[last] <= 3.05 * interval
    if joined_before and joined_after and not holes.size:
        # Rows too sparse to repeat a stamp: the pass under which both neighbours are nearest to one step away.
        before, after, width = local[first] - local[first - 1], local[last + 1] - local[last], high - low
        as_first = abs(before - interval) + abs(after + width - interval)
        as_second = abs(before + width - interval) + abs(after - interval)
        if as_second < as_first:
            offset[inside] = change.after_s
    elif joined_after and not joined_before:
        offset[inside] = change.after_s
    elif joined_after and holes.size:
        offset[inside[holes[-1] + 1 :]] = change.after_s
