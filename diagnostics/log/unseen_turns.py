"""Turns of a timer that the reading does not show though they must have come: no air at the sensor meanwhile.

Question: did the sample stand still for several long half-cycles? Input: dew point at line pressure. Output: stretches.
Method: each turn of a heated dryer shows as a quick rise; where they come at even distances, a stretch without any, in
which the reading creeps and after which they come on the beat of before, is one in which the timer went on unseen. A
dryer that stopped for a while comes back off the beat, one under dew-point control has no even distances.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.quiet import Quiet
from diagnostics.log.record import Floats

_RISE_S = 900.0
_LEAST_RISE_K = 1.5
_EVEN, _ON_BEAT = 0.08, 0.12
_LEAST_TURNS = 2.5
_CREEP_K = 1.0
_STILL = 0.4
_CLEAR = 0.4
_READ_SHARE = 0.8
_BACK = 0.25


def find_unseen_turns(time_s: Floats, dew_point_c: Floats, half_cycle_s: float) -> list[Quiet]:
    """Stretches of three half-cycles and more whose turns do not show.

    Parameters
    ----------
    time_s, dew_point_c : ndarray, shape (n,)
        Valid readings [epoch s, degC].
    half_cycle_s : float
        Nameplate [s]; half-cycles shorter than an hour are `quiet`'s.

    Returns
    -------
    list of Quiet
    """
    if half_cycle_s < 3600.0 or time_s.size < 200:
        return []
    rise = _rises(time_s, dew_point_c, half_cycle_s)
    turns, rise_k = _turns(time_s, rise, half_cycle_s)
    if turns.size < 6:
        return []
    # The sample's own first creep may look like one turn more beside the hole.
    found = next((f for skip in (0, -1, 1) if (f := _hole_on_the_beat(time_s, turns, skip))), None)
    if found is None:
        return []
    seen, again, period = found
    if _faint_turns(time_s, rise, (seen, again), period):
        return []
    still = _snaps_back(time_s, dew_point_c, (seen, again), period) or _falls_silent(dew_point_c, (seen, again))
    if not still and not _too_dry(time_s, dew_point_c, turns, (seen, again), period):
        return []
    first, last = _edges(time_s, dew_point_c, seen, again, period)
    margin = max(1, (last - first) // 10)
    inside = dew_point_c[first + margin : last + 1 - margin]
    if inside.size < 20 or time_s[last] - time_s[first] < 2.0 * period or float(np.ptp(inside)) < _CREEP_K:
        return []
    if (
        _turns_by_falls(time_s, inside, rise_k)
        or not _read_throughout(time_s, first, last)
        or not _comes_back(time_s, dew_point_c, first, last, period)
    ):
        return []
    steps = np.abs(np.diff(inside, 2))
    return [Quiet(first, last, float(np.median(steps)), rise_k, float(np.ptp(inside)))]


def _turns_by_falls(time_s: Floats, inside: Floats, rise_k: float) -> bool:
    """Whether a fresh bed's drier air falls in at a turn: behind a bed that breaks through, the level shows no rise."""
    ahead = max(1, round(_RISE_S / max(float(np.median(np.diff(time_s))), 1e-3)))
    falls = inside[:-ahead] - inside[ahead:]
    return falls.size > 0 and float(falls.max()) > max(2.0, 0.5 * rise_k)


def _read_throughout(time_s: Floats, first: int, last: int) -> bool:
    """Whether readings fill the stretch: turns that nobody logged are no turns that the reading does not show."""
    usual = float(np.median(np.diff(time_s)))
    return (last - first) * usual > _READ_SHARE * float(time_s[last] - time_s[first])


def _comes_back(time_s: Floats, dew_point_c: Floats, first: int, last: int, period_s: float) -> bool:
    """Whether the level behind the stretch is that before it; air that stays wet, or dries slowly, is the dryer's."""
    before = dew_point_c[(time_s >= time_s[first] - 3.0 * period_s) & (time_s < time_s[first])]
    after = dew_point_c[(time_s > time_s[last] + 0.5 * period_s) & (time_s <= time_s[last] + 3.5 * period_s)]
    if min(before.size, after.size) < 5:
        return False
    creep = float(np.ptp(dew_point_c[first : last + 1]))
    return abs(float(np.median(after)) - float(np.median(before))) <= max(2.0, _BACK * creep)


def _hole_on_the_beat(time_s: Floats, turns: NDArray[np.intp], skip: int) -> tuple[int, int, float] | None:
    """Last turn seen, first seen again, period [s], where one hole parts turns at even distances that share a beat.

    ``skip`` leaves out the turn before the hole (-1) or behind it (1).
    """
    period = float(np.median(np.diff(time_s[turns])))
    holes = np.flatnonzero(np.diff(time_s[turns]) > _LEAST_TURNS * period)
    if holes.size != 1:
        return None
    hole = int(holes[0])
    if skip:
        turns = np.delete(turns, hole if skip < 0 else hole + 1)
        hole -= skip < 0
    if hole < 2 or turns.size - hole < 3:
        return None
    beats = np.delete(np.diff(time_s[turns]), hole) / period
    even = np.abs(beats - np.round(beats)) < _EVEN * np.maximum(np.round(beats), 1.0)
    if even.mean() < 0.9 or not _on_beat(time_s[turns], hole):
        return None
    return int(turns[hole]), int(turns[hole + 1]), period


def _rises(time_s: Floats, dew_point_c: Floats, half_cycle_s: float) -> Floats:
    """Rise within a quarter of an hour from each reading on [K]; nothing where readings are too far apart."""
    step = max(float(np.median(np.diff(time_s))), 1e-3)
    ahead = max(1, round(_RISE_S / step))
    if dew_point_c.size < 4 * ahead or half_cycle_s < 4.0 * ahead * step:
        return np.zeros(0)
    rise = dew_point_c[ahead:] - dew_point_c[:-ahead]
    rise[time_s[ahead:] - time_s[:-ahead] > 1.5 * ahead * step] = 0.0
    result: Floats = rise
    return result


def _turns(time_s: Floats, rise: Floats, half_cycle_s: float) -> tuple[NDArray[np.intp], float]:
    """Readings before each quick rise, and how high such a rise is as a rule [K]."""
    none = np.zeros(0, dtype=np.intp)
    if not rise.size:
        return none, 0.0
    block = max(1, round(half_cycle_s / max(float(np.median(np.diff(time_s))), 1e-3)))
    highest = [float(piece.max()) for piece in np.array_split(rise, max(1, rise.size // block))]
    usual = float(np.percentile(highest, 60))
    if usual < _LEAST_RISE_K:
        return none, usual
    steep = np.flatnonzero(rise > _CLEAR * usual)
    groups = np.split(steep, np.flatnonzero(np.diff(time_s[steep]) > 0.3 * half_cycle_s) + 1)
    return np.array([group[int(np.argmax(rise[group]))] for group in groups if group.size], dtype=np.intp), usual


def _faint_turns(time_s: Floats, rise: Floats, hole: tuple[int, int], period_s: float) -> bool:
    """Whether the beat goes on within the hole, only lower: air that a leak keeps wet still shows its turns."""
    begin, end = float(time_s[hole[0]]), float(time_s[hole[1]])
    beats = max(2, round((end - begin) / period_s))
    place = (time_s[hole[0] : hole[1]] - begin) / (end - begin) * beats
    highest: dict[bool, list[float]] = {True: [], False: []}
    for k in range(1, 2 * beats - 1):
        near = np.abs(place - 0.5 * k) < 0.15
        if near.any():
            highest[k % 2 == 0].append(float(rise[hole[0] : hole[1]][near].max()))
    if not highest[True] or not highest[False]:
        return True
    on, off = (float(np.median(highest[key])) for key in (True, False))
    return on > max(2.0 * abs(off), off + 0.5)


def _snaps_back(time_s: Floats, dew_point_c: Floats, hole: tuple[int, int], period_s: float) -> bool:
    """Whether the hole ends in a step down that no bed makes between its turns: the sample flows again."""
    late = int(np.searchsorted(time_s, time_s[hole[1]] - period_s))
    falls = -np.diff(dew_point_c[max(late, hole[0]) : hole[1] + 1])
    usual = float(np.median(np.abs(np.diff(dew_point_c))))
    return falls.size > 0 and float(falls.max()) > max(2.0, 20.0 * usual)


def _falls_silent(dew_point_c: Floats, hole: tuple[int, int]) -> bool:
    """Whether the sensor's noise stops in the middle of the hole."""
    steps = np.abs(np.diff(dew_point_c, 2))
    third = (hole[1] - hole[0]) // 3
    inside = float(np.median(steps[hole[0] + third : hole[1] - third]))
    return inside < _STILL * float(np.median(np.concatenate((steps[: hole[0]], steps[hole[1] :]))))


def _too_dry(
    time_s: Floats, dew_point_c: Floats, turns: NDArray[np.intp], hole: tuple[int, int], period_s: float
) -> bool:
    """Whether most turns within the hole would have had to stand out: what else wets the air adds to a turn's own.

    Air wetter than that, as after a slug of liquid, hides turns.
    """
    outside = turns[(turns < hole[0]) | (turns >= hole[1])]
    ends = np.searchsorted(time_s, time_s[outside] + 0.3 * period_s)
    tops = [float(dew_point_c[a:b].max()) for a, b in zip(outside, ends, strict=True) if b > a]
    begin, end = float(time_s[hole[0]]), float(time_s[hole[1]])
    beats = max(2, round((end - begin) / period_s))
    place = (time_s[hole[0] : hole[1]] - begin) / (end - begin) * beats
    due = [dew_point_c[hole[0] : hole[1]][np.abs(place - k) < 0.15] for k in range(1, beats)]
    below = [float(readings.max()) < float(np.median(tops)) - 1.0 for readings in due if readings.size]
    return bool(tops) and bool(below) and float(np.mean(below)) >= 0.5


def _on_beat(turns_s: Floats, hole: int) -> bool:
    """Whether the turns after a hole come where the beat of those before leads to."""
    before, after = turns_s[: hole + 1], turns_s[hole + 1 :]
    rough = float(np.median(np.concatenate((np.diff(before), np.diff(after)))))
    slopes, offsets = [], []
    for part in (before, after):
        count = np.round((part - part[0]) / rough)
        if count[-1] < 1:
            return False
        slope, offset = np.polyfit(count, part, 1)
        slopes.append(float(slope))
        offsets.append(float(offset))
    period = (slopes[0] * (before.size - 1) + slopes[1] * (after.size - 1)) / (turns_s.size - 2)
    beats = (offsets[1] - offsets[0]) / period
    return abs(beats - round(beats)) < _ON_BEAT


def _edges(time_s: Floats, dew_point_c: Floats, seen: int, again: int, period_s: float) -> tuple[int, int]:
    """First and last reading of the still stretch between the last turn seen and the first seen again.

    The sensor's noise tells where it falls silent; where it goes on, the stretch begins with the turn that is missed.
    """
    steps = np.abs(np.diff(dew_point_c, 2))
    usual = float(np.median(np.concatenate((steps[:seen], steps[again:]))))
    first = int(np.searchsorted(time_s, time_s[seen] + period_s))
    last = int(np.searchsorted(time_s, time_s[again] - period_s))
    inside = float(np.median(steps[first:last])) if last > first + 5 else usual
    if inside < _STILL * usual:
        level = 0.5 * (inside + usual)
        first = seen + _silent_from(steps[seen:last] < level)
        last = again - _silent_from(steps[first:again][::-1] < level)
    else:
        last = again
    jumps = np.abs(np.diff(dew_point_c[first : last + 1]))
    if jumps.size and float(jumps[-max(1, jumps.size // 6) :].max()) > 10.0 * usual + 0.5:
        tail = max(1, jumps.size // 6)
        last = first + jumps.size - tail + int(np.argmax(jumps[-tail:]))
    return first, last


def _silent_from(silent: NDArray[np.bool_]) -> int:
    """Where a row of flags turns from mostly false to mostly true: the split that misplaces fewest."""
    wrong = np.concatenate(([0], np.cumsum(silent))) + np.concatenate((np.cumsum(~silent[::-1])[::-1], [0]))
    return int(np.argmin(wrong))
