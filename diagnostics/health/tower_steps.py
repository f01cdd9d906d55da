"""From when on does one tower come back wet while the other does not?

Question: did one tower's half-cycles leave those of the other, and when did the regeneration before go wrong? Input: a
table of half-cycles. Output: a `StepOfTower`. Method: each half-cycle against its two neighbours of the other tower, in
which load cancels; a step or a climb in that contrast from some half-cycle on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from diagnostics.health.steps import Step, find_step, sigma
from diagnostics.log.record import Flags, Floats

LEAST_DIFFERENCE_K = 1.0
LEAST_STEP_K = 3.0
SIGNIFICANCE = 0.01
_LEAST_DEPARTURE_K = 0.1
_SOONER, _FEWEST_QUIET, _FAR_OUT, _LEAST_AT_THE_END_K = 2, 4, 6.0, 0.3
"""Half-cycles of the tower by which their ends may date an onset sooner, and what it takes."""
_DATES_AGREE = 4.5
"""Half-cycles within which peak and mean tell of the same onset."""
_FAST_K_PER_DAY = 1.5
_CLEARER_THAN_A_LINE = 0.03
"""Share of variance by which an onset must beat a difference that grows over the whole log."""


@dataclass(frozen=True)
class StepOfTower:
    """One tower's lasting rise against the other."""

    tower: str
    start_s: float
    step: Step
    size_k: float
    before_c: float
    after_c: float
    other_before_c: float
    other_after_c: float
    half_cycles_after: int


def is_b(rows: pd.DataFrame) -> Flags:
    """Whether each half-cycle is tower B's; shape (n,)."""
    return rows["tower"].to_numpy() == "B"


def follows(rows: pd.DataFrame) -> Flags:
    """Whether each half-cycle begins where the one before ends, with the other tower; shape (n,)."""
    start, end = rows["start_s"].to_numpy(float), rows["end_s"].to_numpy(float)
    tower = rows["tower"].to_numpy()
    joined = np.zeros(len(rows), bool)
    joined[1:] = (tower[1:] != tower[:-1]) & (np.abs(start[1:] - end[:-1]) < 0.25 * (end[:-1] - start[:-1]))
    return joined


def one_tower_steps(rows: pd.DataFrame) -> StepOfTower | None:
    """Whether one tower comes back wet from some half-cycle on while the other does not."""
    middle = np.flatnonzero(follows(rows)[1:-1] & follows(rows)[2:]) + 1
    if middle.size < 5:
        return None
    by_mean = _step_in(rows, "mean_dew_point_c", middle)
    if by_mean is not None:
        return by_mean
    by_peak = _step_in(rows, "peak_dew_point_c", middle)
    return None if by_peak is None else replace(by_peak, start_s=_dated_by_mean(rows, by_peak, middle))


def _dated_by_mean(rows: pd.DataFrame, found: StepOfTower, middle: NDArray[np.int64]) -> float:
    """Start by the mean of the half-cycles where that is near: a peak also takes in what lies about a switchover."""
    values, sign = rows["mean_dew_point_c"].to_numpy(float), np.where(is_b(rows), 1.0, -1.0)
    against = (values[middle] - 0.5 * (values[middle - 1] + values[middle + 1])) * sign[middle]
    step = find_step(against)
    if step is None or (step.size > 0) != (found.tower == "B") or abs(step.size) < LEAST_DIFFERENCE_K:
        return found.start_s
    own = np.flatnonzero(rows["tower"].to_numpy() == found.tower)
    first_wet = _seen_at_the_end(rows, _first_wet(against, middle, step, own), middle, own)
    start_s = _failed_regeneration_s(rows, first_wet)
    length_s = float(np.median(rows["end_s"] - rows["start_s"]))
    return start_s if abs(start_s - found.start_s) <= _DATES_AGREE * length_s else found.start_s


def _step_in(rows: pd.DataFrame, column: str, middle: NDArray[np.int64]) -> StepOfTower | None:
    values = rows[column].to_numpy(float)
    sign = np.where(is_b(rows), 1.0, -1.0)
    against = (values[middle] - 0.5 * (values[middle - 1] + values[middle + 1])) * sign[middle]
    step = find_step(against)
    if step is None or abs(step.size) < LEAST_STEP_K or step.p_value > SIGNIFICANCE:
        return None
    days = float(rows["end_s"].iloc[-1] - rows["start_s"].iloc[0]) / 86400.0
    has_onset = step.explains >= step.line_explains + _CLEARER_THAN_A_LINE and step.index >= 0.05 * against.size
    if not has_onset and not _grows_fast(against, days):
        return None
    wet = "B" if step.size > 0 else "A"
    cut = int(middle[min(step.index, middle.size - 1)])
    own = np.flatnonzero(rows["tower"].to_numpy() == wet)
    other = np.flatnonzero(rows["tower"].to_numpy() != wet)
    first_wet = _seen_at_the_end(rows, _first_wet(against, middle, step, own), middle, own)
    quiet, late = own[own < min(cut - 1, first_wet)], own[own >= first_wet]
    other_quiet, other_late = other[other < cut - 1], other[other > first_wet]
    if min(quiet.size, other_quiet.size, other_late.size) < 1 or late.size < 2:
        return None
    kept = max(2, late.size // 2) if step.climbs else late.size
    found = StepOfTower(
        tower=wet,
        start_s=_failed_regeneration_s(rows, first_wet),
        step=step,
        size_k=float(np.median(values[late[-kept:]]) - np.median(values[quiet])),
        before_c=float(np.median(values[quiet])),
        after_c=float(np.median(values[late[-kept:]])),
        other_before_c=float(np.median(values[other_quiet])),
        other_after_c=float(np.median(values[other_late[-kept:]])),
        half_cycles_after=int(late.size),
    )
    mean = rows["mean_dew_point_c"].to_numpy(float)
    return found if _failed(found, values[late[-kept:]], mean[late[-kept:]], mean[quiet]) else None


def _grows_fast(against: Floats, days: float) -> bool:
    """A difference that is not there at first and grows by kelvins a day to the end: no lasting imbalance."""
    few, half = max(3, against.size // 20), against.size // 2
    first, middle, last = (abs(float(np.median(against[k : k + few]))) for k in (0, half, against.size - few))
    if middle > 0.75 * last:
        return False
    return first < max(LEAST_DIFFERENCE_K, 0.2 * last) and last - first >= max(LEAST_STEP_K, days * _FAST_K_PER_DAY)


def _failed(found: StepOfTower, late: Floats, mean_late: Floats, mean_quiet: Floats) -> bool:
    """Whether one tower got wet and stayed so, in its mean too, and the other did not get half as wet."""
    other_k = found.other_after_c - found.other_before_c
    if found.size_k < LEAST_STEP_K or found.size_k - other_k < LEAST_STEP_K or other_k > 0.5 * found.size_k:
        return False
    if found.after_c - found.other_after_c < LEAST_DIFFERENCE_K:
        return False
    # a tower that fills up leaves its level little by little, and may have had two half-cycles to do it
    share = 0.1 if found.step.climbs else 0.3
    lasting = late > found.before_c + max(share * found.size_k, LEAST_DIFFERENCE_K)
    wetter_k = float(np.median(mean_late) - np.median(mean_quiet))
    return bool(lasting.mean() >= 0.8 and wetter_k >= min(1.0, 0.2 * found.size_k))


def _first_wet(against: Floats, middle: NDArray[np.int64], step: Step, own: NDArray[np.int64]) -> int:
    """First half-cycle of the tower that leaves its former distance from the other tower; load cancels in it."""
    toward = against * np.sign(step.size)
    index = min(step.index, toward.size - 1)
    quiet = toward[: max(index - 2, 3)]
    allowed = float(np.median(quiet)) + max(4 * sigma(quiet), _LEAST_DEPARTURE_K)
    while index < toward.size - 1 and toward[index] <= allowed:
        index += 1
    while index > 0 and toward[index - 1] > allowed:
        index -= 1
    later = own[own >= middle[index]]
    return int(later[0]) if later.size else int(own[-1])


def _seen_at_the_end(rows: pd.DataFrame, first_wet: int, middle: NDArray[np.int64], own: NDArray[np.int64]) -> int:
    """The same by the ends of half-cycles, where a bed that was not dried shows first, if that is little earlier."""
    ends = rows["end_dew_point_c"].to_numpy(float)
    first_wet = _seen_after_a_gap(rows, first_wet, own)
    mine = own[np.isin(own, middle)]
    toward = ends[mine] - 0.5 * (ends[mine - 1] + ends[mine + 1])
    place = int(np.searchsorted(mine, first_wet))
    quiet = toward[: max(place - _SOONER, 0)]
    quiet = quiet[np.isfinite(quiet)]
    if quiet.size < _FEWEST_QUIET:
        return first_wet
    allowed = float(np.median(quiet)) + max(_FAR_OUT * sigma(quiet), _LEAST_AT_THE_END_K)
    for k in range(place - 1, place - 1 - _SOONER, -1):
        if not toward[k] > allowed:
            return int(mine[k + 1]) if k + 1 < place else first_wet
    return int(mine[place - _SOONER])


def _seen_after_a_gap(rows: pd.DataFrame, first_wet: int, own: NDArray[np.int64]) -> int:
    """The same with the half-cycle of the tower before it, which has but one neighbour where it follows a gap."""
    place = int(np.searchsorted(own, first_wet))
    joined = follows(rows)
    if place < _FEWEST_QUIET + 1 or joined[own[place - 1]] or not joined[own[place - 1] + 1]:
        return first_wet
    mean = rows["mean_dew_point_c"].to_numpy(float)
    against_next = mean[own[:place]] - mean[own[:place] + 1]
    quiet = against_next[:-1]
    allowed = float(np.median(quiet)) + max(_FAR_OUT * sigma(quiet), LEAST_DIFFERENCE_K)
    return int(own[place - 1]) if against_next[-1] > allowed else first_wet


def _failed_regeneration_s(rows: pd.DataFrame, first_wet: int) -> float:
    """Start of the regeneration that went wrong: while the other tower dried, one half-cycle earlier."""
    starts = rows["start_s"].to_numpy(float)
    if first_wet > 0 and follows(rows)[first_wet]:
        return float(starts[first_wet - 1])
    if first_wet > 0:  # lies in a gap
        length_s = float(np.median(rows["end_s"] - rows["start_s"]))
        return float(max(starts[first_wet] - length_s, rows["end_s"].iloc[first_wet - 1]))
    return float(starts[first_wet])
