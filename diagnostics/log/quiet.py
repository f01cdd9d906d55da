"""A stretch in which the towers' ripple breaks off and comes back while the level creeps: no air at the sensor.

Question: did the sample stand still for a while? Input: dew point at line pressure. Output: stretches. Method: ripple
(what a straight line leaves) in blocks of a full cycle against the log's usual one. A stopped switching also loses
its ripple, but does not find it again; a night of little load loses it slowly; a frozen sensor does not creep.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.record import Floats

_FEWEST_READINGS = 8
_LEAST_S = 7200.0
_LONGEST_BLOCK_S = 7200.0
"""Beyond this, days of little load look the same: heated beds under low load show no ripple for many hours."""
_QUIET, _USUAL = 0.3, 0.6
_SLOPE_PER_K = 0.1
"""Growth of saturation over ice per kelvin near -40 degC, d ln e/dT = L/(R T^2) (Clausius-Clapeyron, L 2.83 MJ/kg, R
461.5 J/(kg K))."""
_CREEP_K = 1.0
_STANDS = 0.9
"""Share of readings at one value that makes it a frozen sensor, with some of the moving air at its edges."""
_TURN_S, _SHARP, _TURNS = 60.0, 6.0, 3
_USED_UP_C = -20.0


@dataclass(frozen=True, slots=True)
class Quiet:
    """Readings ``first`` to ``last`` (inclusive); ripple in and outside the stretch [K], creep of its level [K]."""

    first: int
    last: int
    ripple_k: float
    usual_k: float
    creep_k: float


def find_quiet(time_s: Floats, dew_point_c: Floats, block_s: float, resolution: float) -> list[Quiet]:
    """Stretches of at least two hours and three blocks whose ripple breaks off and returns.

    Parameters
    ----------
    time_s, dew_point_c : ndarray, shape (n,)
        Valid readings [epoch s, degC].
    block_s : float
        Time that surely holds a switchover [s].
    resolution : float
        Step of the last digit [K].

    Returns
    -------
    list of Quiet
    """
    which = ((time_s - time_s[0]) / block_s).astype(int) if time_s.size else np.zeros(0, dtype=int)
    edges = np.concatenate(([0], np.flatnonzero(np.diff(which)) + 1, [time_s.size]))
    if edges.size < 9 or block_s > _LONGEST_BLOCK_S:
        return []
    ripple = _ripples(time_s, dew_point_c, edges)
    usual = float(np.nanmedian(ripple))
    if not usual > max(0.25, 4.0 * resolution):
        return []
    # Air that is wetter shows the same ripple of moisture as a smaller one of dew point.
    level = np.array([float(np.median(dew_point_c[a:b])) for a, b in pairwise(edges)])
    same = ripple * np.exp(_SLOPE_PER_K * np.clip(level - float(np.median(level)), 0.0, None))
    calm = np.nan_to_num(np.maximum(ripple, same), nan=np.inf) < _QUIET * usual
    found = []
    starts = np.flatnonzero(calm & ~np.concatenate(([False], calm[:-1])))
    stops = np.flatnonzero(calm & ~np.concatenate((calm[1:], [False])))
    for start, stop in zip(starts, stops, strict=True):
        rows = slice(int(edges[start]), int(edges[stop + 1]))
        if stop - start < 2 or time_s[rows][-1] - time_s[rows][0] < _LEAST_S:
            continue
        before, after = ripple[max(0, start - 3) : start], ripple[stop + 1 : stop + 4]
        # The block at either edge is part calm, part not; the next one must be the dryer's usual one again.
        if not all(side.size >= 2 and float(np.nanmax(side)) > _USUAL * usual for side in (before, after)):
            continue
        creep = float(np.ptp(dew_point_c[rows]))
        if float(np.unique(dew_point_c[rows], return_counts=True)[1].max()) > _STANDS * (rows.stop - rows.start):
            continue
        if creep < _CREEP_K:
            continue
        if _turns_left(time_s[rows], dew_point_c[rows], usual):
            continue
        snaps = _snaps_back(dew_point_c, edges, int(start), int(stop), usual)
        if not snaps and not _comes_back(dew_point_c, edges, int(start), int(stop), creep):
            continue
        found.append(Quiet(rows.start, rows.stop - 1, float(np.median(ripple[start : stop + 1])), usual, creep))
    return found


def _turns_left(time_s: Floats, dew_point_c: Floats, usual_k: float) -> bool:
    """Whether small turns still show, as under control by dew point: no air that stands still steps again and again."""
    ahead = max(1, round(_TURN_S / max(float(np.median(np.diff(time_s))), 1e-3)))
    margin = max(ahead, time_s.size // 20)
    inside = dew_point_c[margin : time_s.size - margin]
    if inside.size < 4 * ahead + 20:
        return False
    steps = np.abs(inside[ahead:] - inside[:-ahead])
    sharp = steps > max(0.1 * usual_k, _SHARP * float(np.median(steps)))
    return int(np.count_nonzero(sharp[1:] & ~sharp[:-1])) >= _TURNS


def _comes_back(dew_point_c: Floats, edges: NDArray[np.int64], start: int, stop: int, creep_k: float) -> bool:
    """Whether the level after a stretch is that before it; air that stays as wet as it crept to is the dryer's own."""
    before = dew_point_c[edges[max(0, start - 3)] : edges[start]]
    after = dew_point_c[edges[stop + 1] : edges[min(edges.size - 1, stop + 4)]]
    return abs(float(np.median(after)) - float(np.median(before))) <= max(2.0, 0.5 * creep_k)


def _snaps_back(dew_point_c: Floats, edges: NDArray[np.int64], start: int, stop: int, usual_k: float) -> bool:
    """Whether a level that came to rest leaves at once for the dryer's, as when the sample flows again.

    A dryer that stood still and switches again jumps too, but until then its air grows wetter at an even or growing
    pace; so the creep has to have slowed down, at a level that no bed which is used up has.
    """
    level = dew_point_c[edges[start] : edges[stop + 1]]
    third = max(1, level.size // 3)
    early, late = level[third] - level[0], level[-1] - level[-third]
    after = dew_point_c[edges[stop + 1] : edges[min(edges.size - 1, stop + 3)]]
    jump = abs(float(np.median(after)) - float(level[-1]))
    return jump > max(3.0, 2.0 * usual_k) and abs(late) < 0.5 * abs(early) and float(level.max()) < _USED_UP_C


def _ripples(time_s: Floats, dew_point_c: Floats, edges: NDArray[np.int64]) -> Floats:
    """Spread of each block about its own slope [K], NaN where it has too few readings; blocks of one size at once."""
    sizes = np.diff(edges)
    ripple = np.full(sizes.size, np.nan)
    for size in np.unique(sizes[sizes >= _FEWEST_READINGS]):
        alike = np.flatnonzero(sizes == size)
        rows = edges[alike][:, None] + np.arange(size)
        t, level = time_s[rows], dew_point_c[rows]
        t = t - t.mean(axis=1, keepdims=True)
        slope = (t * level).sum(axis=1) / (t * t).sum(axis=1)
        low, high = np.percentile(level - slope[:, None] * t, (5, 95), axis=1)
        ripple[alike] = high - low
    return ripple
