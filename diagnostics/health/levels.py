"""How wet is the air from one stretch to the next, the rhythm of the towers set aside?

Question: what is the level of the dew point over time, whichever tower dries? Input: a `Case`. Output: `Levels`, one
value per block. Method: blocks of one full cycle where cycles are short; where they are long, shorter blocks from which
the usual course since the switchover is taken out. The driest tenth of a block speaks, so that a spike or one wet tower
does not. Works without half-cycles too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.health.case import Case
from diagnostics.log.record import Floats

Indices = NDArray[np.int64]

_LONGEST_BLOCK_S = 1800.0
_READINGS_PER_BLOCK = 5
_DRIEST_SHARE = 0.1


@dataclass(frozen=True)
class Levels:
    """Level per block, only blocks that hold readings.

    Attributes
    ----------
    start_s : ndarray, shape (n,)
    dew_point_c : ndarray, shape (n,)
        Driest tenth of the block [degC].
    corrected_c : ndarray, shape (n,)
        The same less the usual rise within a half-cycle [degC].
    load : ndarray, shape (n,), or None
        Load of the block, by moisture or else by flow; None where neither is logged.
    block_s : float
    """

    start_s: Floats
    dew_point_c: Floats
    corrected_c: Floats
    load: Floats | None
    block_s: float


def levels_of(case: Case) -> Levels | None:
    """Block levels of the used readings; None for a log of fewer than eight blocks."""
    time_s, used = case.screened.log.time_s, case.screened.used
    block_s = _block_s(case)
    if not used.any() or (time_s[-1] - time_s[0]) < 8 * block_s:
        return None
    times = time_s[used]
    block = ((times - time_s[0]) // block_s).astype(np.int64)
    edges = np.flatnonzero(np.r_[True, block[1:] != block[:-1]])
    counts = np.diff(np.r_[edges, block.size])
    values = case.screened.dew_point_c[used]
    level = _driest(values, block, edges, counts)
    kept = counts >= min(_READINGS_PER_BLOCK, max(2, int(0.4 * block_s / case.screened.log.interval_s)))
    start = time_s[0] + block[edges] * block_s
    load = _load(case)
    return Levels(
        start_s=start[kept],
        dew_point_c=level[kept],
        corrected_c=(level - _usual_course(case, start + block_s / 2, level, block_s))[kept],
        load=None if load is None else (np.add.reduceat(load[used], edges) / counts)[kept],
        block_s=block_s,
    )


def _block_s(case: Case) -> float:
    length = case.cycle.half_cycle_s
    half_cycle_s = length.value if case.cycle.resolved and length is not None else case.plant.half_cycle_s
    return max(_READINGS_PER_BLOCK * case.screened.log.interval_s, min(2 * half_cycle_s, _LONGEST_BLOCK_S))


def _driest(values: Floats, block: Indices, edges: Indices, counts: Indices) -> Floats:
    order = np.lexsort((values, block))
    return values[order][edges + (counts * _DRIEST_SHARE).astype(np.int64)]


def _load(case: Case) -> Floats | None:
    conditions = case.screened.conditions
    if "flow" not in conditions.logged and "inlet_temperature" not in conditions.logged:
        return None
    return conditions.moisture_load_g_min if conditions.moisture_load_g_min is not None else conditions.flow_m3_min


def _usual_course(case: Case, centre_s: Floats, level: Floats, block_s: float) -> Floats:
    """Usual rise above the half-cycle's own lowest block, by time since the switchover."""
    course = np.zeros(level.size)
    half_cycles, length = case.cycle.half_cycles, case.cycle.half_cycle_s
    if len(half_cycles) < 4 or length is None or length.value < 2 * block_s:
        return course
    starts, ends = half_cycles["start_s"].to_numpy(float), half_cycles["end_s"].to_numpy(float)
    which = np.clip(np.searchsorted(starts, centre_s, side="right") - 1, 0, starts.size - 1)
    inside = (centre_s >= starts[which]) & (centre_s < ends[which])
    lowest = np.full(starts.size, np.inf)
    np.minimum.at(lowest, which[inside], level[inside])
    age = np.where(inside, (centre_s - starts[which]) // block_s, -1).astype(int)
    for step in np.unique(age[inside]):
        here = age == step
        course[here] = np.median(level[here] - lowest[which[here]])
    return course
