"""How far the weaker tower is from breakthrough: one long half-cycle, one that is repeated, and that at peak load."""

from __future__ import annotations

import numpy as np

from diagnostics.bed.record import Breakthrough
from diagnostics.bed.reserve import PRIOR_RESERVE, load_ratio
from diagnostics.cycle.record import Cycle
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant


def margin_to_breakthrough(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> Breakthrough:
    """Margins to the limit."""
    limit = plant.dryer.dew_point_limit_c
    complete = cycle.complete
    ratio = load_ratio(screened.conditions, plant)
    used = screened.used
    mean = peak = None
    if ratio is not None and used.any():
        mean, peak = float(ratio[used].mean()), float(np.percentile(ratio[used], 95))
    if not cycle.resolved or complete.empty or cycle.half_cycle_s is None:
        return Breakthrough(
            limit,
            None,
            False,
            None,
            None,
            None,
            None,
            None,
            "none",
            None,
            "prior",
            mean,
            peak,
            notes=("No half-cycles were found, so the margin cannot be told.",),
        )
    today = cycle.half_cycle_s.value
    reached = bool((complete["end_dew_point_c"] > limit).mean() > 0.05)
    rise = complete["end_dew_point_c"] - complete["floor_dew_point_c"]
    sustained = at_peak = None
    notes: tuple[str, ...] = ()
    if mean and peak:
        sustained = _repeatable(mean, plant.half_cycle_s, today)
        at_peak = _repeatable(peak, plant.half_cycle_s, today)
    else:
        notes = ("Flow or inlet temperature is unknown, so the prior cannot be brought to today's load.",)
    return Breakthrough(
        limit,
        reached,
        True,
        sustained,
        sustained.scaled(1 / today) if sustained else None,
        sustained,
        at_peak,
        today,
        "prior",
        PRIOR_RESERVE if sustained else None,
        "prior",
        mean,
        peak,
        float(rise.median()),
        notes=notes,
    )


def _repeatable(ratio: float, nameplate_s: float, today_s: float) -> Estimate:
    return PRIOR_RESERVE.map(lambda reserve: reserve * nameplate_s / ratio - today_s)
