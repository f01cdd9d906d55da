"""Where the probe was off the line: the reading jumps towards the room's air within seconds.

Question: when was the probe in the room, not on the dryer? Input: time, dew point as logged, pressure if logged.
Output: spans. Method: a jump of 15 K or more within two readings, on to a level that room air has; it stays there
until the log ends, or until the probe dries down again. A tower that comes back wet jumps too, but does it again at
every turn, drifts and leaves as fast as it came; breakthrough and stopped switching climb slowly; liquid water peaks
and recovers at once. A logged line pressure that falls to zero settles it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from diagnostics.log.record import Flags, Floats

LEAST_JUMP_K = 15.0
_WITHIN_S = 180.0
_SOON_S = 1200.0
_ROOM_C = (-25.0, 28.0)
"""Dew points of room air and of a probe on its way there (common practice, no published source)."""


_CERTAIN = 0.98
_MOST_REMOVALS = 6
_AS_WET_K, _TIMES_MET = 3.0, 5


@dataclass(frozen=True, slots=True)
class Removal:
    """Readings ``first`` to ``last`` (inclusive) taken off the line, and how sure that is."""

    first: int
    last: int
    confidence: float


def find_removals(
    time_s: Floats, logged_c: Floats, pressure_bar_g: Floats | None, half_cycle_s: float
) -> list[Removal]:
    """Stretches in the room's air.

    Parameters
    ----------
    time_s, logged_c : ndarray, shape (n,)
        Valid readings [epoch s, degC as logged].
    pressure_bar_g : ndarray, shape (n,), or None
        Logged line pressure [bar gauge].
    half_cycle_s : float
        Nameplate [s].

    Returns
    -------
    list of Removal
    """
    if time_s.size < 10:
        return []
    removals: list[Removal] = []
    air_tops: list[float] = []
    brief: list[float] = []
    jumps = _jumps(time_s, logged_c)
    soon = max(3, int(_SOON_S / max(float(np.median(np.diff(time_s))), 1.0)))
    for jump, following in pairwise([*jumps, time_s.size]):
        if removals and jump <= removals[-1].last:
            continue
        top = float(logged_c[jump : min(jump + soon, following)].max())
        found = _removal_at(time_s, logged_c, pressure_bar_g, half_cycle_s, jump, top)
        if found is None:
            (brief if _is_brief(time_s, logged_c, jump, top) else air_tops).append(top)
        else:
            removals.append(found)
    if _keep_coming(time_s, [r.first for r in removals if r.confidence < _CERTAIN]):
        removals = [r for r in removals if r.confidence >= _CERTAIN]
    # Where the air itself jumps as high, a jump alone no longer tells a removal; once or twice for a minute is not air.
    air_tops += brief if len(brief) > 2 else []
    highest = max(air_tops, default=-np.inf)
    removals = [
        r for r in removals if r.confidence >= _CERTAIN or logged_c[r.first : r.last + 1].max() > highest + 10.0
    ]
    outside = np.ones(time_s.size, dtype=bool)
    for r in removals:
        outside[r.first : r.last + 1] = False
    return [r for r in removals if r.confidence >= _CERTAIN or not _met_again(logged_c, outside, r)]


def _is_brief(time_s: Floats, logged_c: Floats, jump: int, top: float) -> bool:
    """Whether a jump is over, back at the level before it, as soon as a hand has pulled and plugged a coupling."""
    before = float(np.median(logged_c[max(0, jump - 20) : jump]))
    ahead = logged_c[jump : int(np.searchsorted(time_s, time_s[jump] + _WITHIN_S))]
    wet = np.flatnonzero(ahead > 0.5 * (before + top))
    return wet.size > 0 and bool((ahead[wet[-1] + 1 :] < before + 0.2 * (top - before)).any())


def _met_again(logged_c: Floats, outside: Flags, removal: Removal) -> bool:
    """Whether the air is as wet time and again, be its rises a little lower or slower than what counts as a jump."""
    wet = outside & (logged_c > float(logged_c[removal.first : removal.last + 1].max()) - _AS_WET_K)
    return int(np.count_nonzero(wet[1:] & ~wet[:-1])) >= _TIMES_MET


def _keep_coming(time_s: Floats, firsts: list[int]) -> bool:
    """Whether jumps come at even distances, as a wet tower's do at its turns, or more often than a person would go."""
    if len(firsts) < 3:
        return False
    apart = np.diff(time_s[firsts])
    alike = np.abs(apart / np.median(apart) - 1.0) < 0.1
    return len(firsts) > _MOST_REMOVALS or bool(alike.mean() >= 0.6)


def _jumps(time_s: Floats, logged_c: Floats) -> list[int]:
    """First reading after each fast rise of 15 K or more."""
    step = float(np.median(np.diff(time_s)))
    ahead = max(1, min(int(_WITHIN_S / step), 2 if step > 60.0 else int(np.ceil(_WITHIN_S / step))))
    if time_s.size <= ahead:
        return []
    rise = logged_c[ahead:] - logged_c[:-ahead]
    fast = np.flatnonzero((rise > LEAST_JUMP_K) & (time_s[ahead:] - time_s[:-ahead] <= max(_WITHIN_S, 2.5 * step)))
    if fast.size == 0:
        return []
    groups = np.split(fast, np.flatnonzero(np.diff(fast) > 3 * ahead) + 1)
    starts = []
    for group in groups:
        inside = np.diff(logged_c[group[0] : group[-1] + ahead + 1])
        large = np.flatnonzero(inside > 0.1 * float(inside.max()))
        starts.append(int(group[0] + large[0] + 1))
    return starts


def _removal_at(
    time_s: Floats,
    logged_c: Floats,
    pressure_bar_g: Floats | None,
    half_cycle_s: float,
    jump: int,
    top: float,
) -> Removal | None:
    before = float(np.median(logged_c[max(0, jump - 20) : jump]))
    if top - before < LEAST_JUMP_K or not _ROOM_C[0] <= top <= _ROOM_C[1]:
        return None
    dry = np.flatnonzero(logged_c[jump:] < before + 0.5 * (top - before))
    dry = dry[dry > int(np.argmax(logged_c[jump:] >= top))]
    to_end = dry.size == 0
    stop = time_s.size if to_end else jump + int(dry[0])
    stretch = logged_c[jump:stop]
    wet = np.flatnonzero(stretch > top - 3.0)
    last = time_s.size - 1 if to_end else jump + int(wet[-1])
    length = float(time_s[last] - time_s[jump])
    if pressure_bar_g is not None and _depressurised(pressure_bar_g, jump, last):
        return Removal(jump, last, _CERTAIN)
    if length > 0.3 * float(time_s[-1] - time_s[0]):
        return None
    plateau = logged_c[jump + int(np.argmax(stretch > top - 3.0)) : last + 1]
    drifts = plateau.size >= 8 and abs(float(np.median(plateau[-3:]) - np.median(plateau[:3]))) > 4.0
    if to_end:
        recovering = float(logged_c[-1]) < float(stretch.max()) - 2.5
        return None if recovering or drifts else Removal(jump, last, 0.9 if length < 3600.0 else 0.75)
    turn = abs(length / half_cycle_s - 1.0) < 0.05 or length > 0.9 * half_cycle_s > 3600.0
    if drifts or turn or plateau.size < 4 or length < 120.0:
        return None
    return Removal(jump, last, 0.8) if _breaks_off(time_s, logged_c, last, plateau.size) else None


def _breaks_off(time_s: Floats, logged_c: Floats, last: int, plateau: int) -> bool:
    """Whether a level stretch ends in a probe's fast dry-down; liquid water only peaks and recovers at one pace."""
    quarter = max(1, plateau // 4)
    from_row = last + 1 - plateau + quarter
    ends = np.median(logged_c[last + 1 - quarter : last + 1]), np.median(logged_c[from_row : from_row + quarter])
    level_rate = abs(float(ends[0] - ends[1])) / max(float(time_s[last] - time_s[from_row]), 1.0)
    down = np.flatnonzero(logged_c[last:] < logged_c[last] - 8.0)
    if down.size == 0:
        return False
    rate = 8.0 / max(float(time_s[last + int(down[0])] - time_s[last]), 1.0)
    return rate > max(5.0 * level_rate, 0.3 / 60.0)


def _depressurised(pressure_bar_g: Floats, first: int, last: int) -> bool:
    inside = pressure_bar_g[first : last + 1]
    inside = inside[np.isfinite(inside)]
    line = float(np.nanmedian(pressure_bar_g)) if np.isfinite(pressure_bar_g).any() else 0.0
    return inside.size > 0 and line > 1.0 and float(np.median(inside)) < 0.15 * line
