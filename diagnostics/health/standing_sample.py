"""Did the sample stand still while a dryer with long half-cycles worked on?

Question: is there a stretch in which no changeover of the towers shows, though every other stretch as long shows one?
Input: a `Case`. Output: a `Standing`. Method: what a cubic leaves of the reading in windows of one and a half
half-cycles, which needs none told apart; the log itself must vouch for the window's length. The stretch must creep and
end where it began, as a sample does that stands in its line: after a stopped switching the air stays wet. A stretch
that comes back day after day is the plant at rest and not the sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.polynomial.chebyshev import chebvander

from diagnostics.health.case import Case
from diagnostics.log.record import Floats, Sign
from diagnostics.moment import say_duration

_CELLS = 96
"""Cells of one half-cycle, fewer where readings are farther apart."""
_WINDOW, _STRIDE = 1.5, 0.125
"""Half-cycles of a window, and by how many it is moved on: in one and a half at least one changeover lies well inside,
where a cubic cannot follow it."""
_KNOWN_SHARE = 0.75
_QUIET, _USUAL = 0.25, 0.5
_QUIETEST_K = 2.0
"""A changeover of a dryer that breaks through only by day still shows at night."""
_LIVE_SHARE = 0.95
_FEWEST_HALF_CYCLES = 3.0
_LEAST_S = 7200.0
_CREEP_K = 1.0
_LEAST_RIPPLE_K = 0.3
_NO_FLOW = 0.1
_SHORT_HALF_CYCLE_S = 3600.0
"""Below it screening looks for such a stretch by itself."""


@dataclass(frozen=True, slots=True)
class Standing:
    """A stretch without changeovers [epoch s], its ripple and the usual one [K], the creep of its level [K]."""

    start_s: float
    end_s: float
    ripple_k: float
    usual_k: float
    creep_k: float


def find_standing_sample(case: Case) -> Standing | None:
    """The stretch in which the sample stood still; None where there is none, or several."""
    for length_s in _lengths(case):
        found = _stretches(case, length_s)
        if found:
            return found[0] if len(found) == 1 and not _no_flow(case, found[0]) else None
    return None


def standing_sign(case: Case) -> Sign | None:
    """The same as evidence for the finding."""
    standing = find_standing_sample(case)
    if standing is None:
        return None
    sentence = (
        f"From {case.say(standing.start_s)} to {case.say(standing.end_s)}, for"
        f" {say_duration(standing.end_s - standing.start_s)}, no changeover of the towers shows"
        f" ({standing.ripple_k:.2f} K within a half-cycle against {standing.usual_k:.2f} K before and after) while the"
        f" reading creeps by {standing.creep_k:.1f} K."
    )
    numbers = {"ripple_k": standing.ripple_k, "usual_ripple_k": standing.usual_k, "creep_k": standing.creep_k}
    return Sign("sample_stagnant", standing.start_s, standing.end_s, 0.9, sentence, numbers)


def _lengths(case: Case) -> list[float]:
    """Half-cycles that the log may vouch for, shortest first; only long ones."""
    lengths = [case.plant.half_cycle_s]
    if len(case.rows) >= 4:
        lengths += np.quantile(case.rows["length_s"].to_numpy(float), (0.5, 0.9)).tolist()
    return sorted({round(length, 0) for length in lengths if length > _SHORT_HALF_CYCLE_S})


def _stretches(case: Case, length_s: float) -> list[Standing]:
    time_s, values = case.screened.log.time_s, case.screened.dew_point_c
    known = case.screened.used & np.isfinite(values)
    span_s = case.end_s - case.start_s
    if span_s < (_FEWEST_HALF_CYCLES + 4) * length_s or case.screened.log.interval_s > length_s / 24:
        return []
    number = min(_CELLS, int(length_s / case.screened.log.interval_s))
    window, stride = round(_WINDOW * number), round(_STRIDE * number)
    ripple = _ripples(_cells(time_s[known], values[known], length_s / number), window, stride)
    seen = np.isfinite(ripple)
    if seen.sum() < 20:
        return []
    usual = float(np.median(ripple[seen]))
    if usual < max(_LEAST_RIPPLE_K, 4.0 * case.screened.resolution_c):
        return []
    quiet = seen & (ripple < min(_QUIET * usual, _QUIETEST_K))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], quiet, [False]])))
    step_s, start_s = length_s * stride / number, float(time_s[known][0])
    reach = -(-window // stride)
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        begin_s, end_s = start_s + first * step_s, start_s + (last - 1) * step_s + length_s * window / number
        if end_s - begin_s < max(_FEWEST_HALF_CYCLES * length_s, _LEAST_S):
            continue
        before, after = ripple[: max(first - reach, 0)], ripple[last + reach :]
        if _live(before, usual) and _live(after, usual):
            standing = _weighed(time_s[known], values[known], begin_s, end_s, length_s)
            if standing is not None:
                found.append(Standing(begin_s, end_s, float(np.median(ripple[first:last])), usual, standing))
    return found


def _live(ripple: Floats, usual: float) -> bool:
    """Whether a window as long shows a changeover wherever it is laid."""
    known = ripple[np.isfinite(ripple)]
    return known.size >= 4 and float((known > _USUAL * usual).mean()) >= _LIVE_SHARE


def _weighed(time_s: Floats, values: Floats, begin_s: float, end_s: float, length_s: float) -> float | None:
    """Creep of the level within the stretch; None where it stands as still as a frozen sensor, or stays away."""
    inside = (time_s >= begin_s) & (time_s <= end_s)
    before = (time_s >= begin_s - 3 * length_s) & (time_s < begin_s - 0.5 * length_s)
    after = (time_s > end_s + 0.5 * length_s) & (time_s <= end_s + 3 * length_s)
    if min(inside.sum(), before.sum(), after.sum()) < 5:
        return None
    creep = float(np.ptp(np.quantile(values[inside], (0.1, 0.9))))
    apart = abs(float(np.median(values[after]) - np.median(values[before])))
    return creep if creep >= _CREEP_K and apart <= max(2.0, 0.5 * creep) else None


def _cells(time_s: Floats, values: Floats, step_s: float) -> Floats:
    """Median of the readings in each cell; NaN where it holds none."""
    which = ((time_s - time_s[0]) / step_s).astype(np.int64)
    cells = np.full(int(which[-1]) + 1, np.nan)
    edges = np.flatnonzero(np.concatenate([[True], np.diff(which) > 0]))
    counts = np.diff(np.concatenate([edges, [which.size]]))
    order = np.lexsort((values, which))
    cells[which[edges]] = values[order][edges + counts // 2]
    return cells


def _ripples(cells: Floats, window: int, stride: int) -> Floats:
    """What a cubic leaves in each window, 2nd to 98th percentile [K]; NaN where too little of it was read."""
    if cells.size < window:
        return np.empty(0)
    known = np.isfinite(cells)
    filled = np.interp(np.arange(cells.size), np.flatnonzero(known), cells[known])
    basis, _ = np.linalg.qr(chebvander(np.linspace(-1.0, 1.0, window), 3))
    windows = sliding_window_view(filled, window)[::stride]
    left = windows - (windows @ basis) @ basis.T
    low, high = np.percentile(left, (2, 98), axis=1)
    share = sliding_window_view(known, window)[::stride].mean(axis=1)
    return np.where(share >= _KNOWN_SHARE, high - low, np.nan)


def _no_flow(case: Case, standing: Standing) -> bool:
    """Whether the logged flow says that the whole plant stood still."""
    flow = case.screened.conditions.flow_m3_min
    if flow is None or "flow" not in case.screened.conditions.logged:
        return False
    time_s = case.screened.log.time_s
    inside = (time_s >= standing.start_s) & (time_s <= standing.end_s)
    return float(np.median(flow[inside])) < _NO_FLOW * float(np.median(flow[~inside]))
