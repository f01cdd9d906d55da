"""Purity: is the air dry enough?

Question: which class does the air meet, is the limit kept, how often was it passed, and does anything freeze at the
point of use? Input: the screened log, its cycle, the plant. Output: `Purity`. Method: percentiles of the used readings
at line pressure against the class table and the limit, the instrument's uncertainty as guard band.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from diagnostics.air.conformity import CLASS_LIMITS_C, STANDARD, conformity, probability_of_conformity, purity_class
from diagnostics.air.exceedance import exceedances, percentile_intervals
from diagnostics.air.humidity import change_pressure
from diagnostics.air.record import Conformity, Purity
from diagnostics.air.remarks import notes_on_purity
from diagnostics.air.uncertainty import budget_in_log, probe_standard_uncertainty_k
from diagnostics.cycle.record import Cycle
from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.plant import Plant

ConformityBy = Literal["p95", "longest_exceedance", "maximum"]

_STRETCHES = 200


def judge_purity(
    screened: ScreenedLog,
    cycle: Cycle,
    plant: Plant,
    *,
    conformity_by: ConformityBy = "p95",
    allowed_exceedance_s: float = 0.0,
) -> Purity:
    """Judge the air by its used readings.

    Parameters
    ----------
    screened : ScreenedLog
        Dew points at line pressure, with what is not the dryer's air set aside.
    cycle : Cycle
        Whole cycles are the blocks of the percentiles' intervals.
    plant : Plant
        Limit, use of the air, instrument, pressure and temperature where the air is used.
    conformity_by : {"p95", "longest_exceedance", "maximum"}
        What is held against the limit: the 95th percentile, the highest reading, or the longest run above the limit
        against `allowed_exceedance_s`.
    allowed_exceedance_s : float
        Longest run above the limit that is tolerated [s]; only for "longest_exceedance".

    Returns
    -------
    Purity
        All None, "undecided" and a note where no reading could be used.
    """
    used = screened.used & np.isfinite(screened.dew_point_c)
    dew_point = screened.dew_point_c[used]
    if dew_point.size == 0:
        return _nothing_used(plant, conformity_by)
    time_s, step_s = screened.log.time_s[used], screened.log.interval_s
    limit = plant.dryer.dew_point_limit_c
    p95, p99, highest = (float(value) for value in np.percentile(dew_point, [95.0, 99.0, 100.0]))
    pressure_bar = float(np.median(screened.conditions.pressure_bar[used]))
    budget = budget_in_log(p95, screened, plant, pressure_bar=pressure_bar)
    expanded = budget.expanded_k
    above = exceedances(time_s, dew_point, limit, step_s)
    intervals = percentile_intervals(dew_point, _cycle_of(time_s, cycle))
    at_use, reserve = _at_use(p95, pressure_bar, plant)
    judged = highest if conformity_by == "maximum" else p95
    decided = conformity(judged, limit, expanded)
    if conformity_by == "longest_exceedance":
        decided = _by_longest(time_s, dew_point, limit, expanded, step_s, allowed_exceedance_s)
    purity = Purity(
        standard=STANDARD,
        purity_class=purity_class(p95),
        class_low=purity_class(p95 - expanded),
        class_high=purity_class(p95 + expanded),
        limit_dew_point_c=limit,
        conformity=decided,
        conformity_by=conformity_by,
        p95_dew_point_c=p95,
        p99_dew_point_c=p99,
        max_dew_point_c=highest,
        time_above_limit_share=above.share,
        exceedances=above.count,
        longest_exceedance_s=above.longest_s,
        dew_point_at_use_c=at_use,
        frost_reserve_k=reserve,
        uncertainty_c=expanded,
        probability_of_conformity=None
        if conformity_by == "longest_exceedance"
        else probability_of_conformity(judged, limit, budget.standard_k),
        p95=intervals[95.0],
        p99=intervals[99.0],
        class_shares=_class_shares(dew_point),
        budget=budget,
    )
    return replace(purity, notes=notes_on_purity(purity, pressure_bar, plant))


def _nothing_used(plant: Plant, conformity_by: str) -> Purity:
    limit = plant.dryer.dew_point_limit_c
    return Purity(
        standard=STANDARD,
        purity_class=None,
        class_low=None,
        class_high=None,
        limit_dew_point_c=limit,
        conformity="undecided",
        conformity_by=conformity_by,
        p95_dew_point_c=None,
        p99_dew_point_c=None,
        max_dew_point_c=None,
        time_above_limit_share=None,
        exceedances=None,
        longest_exceedance_s=None,
        dew_point_at_use_c=None,
        frost_reserve_k=None,
        uncertainty_c=2.0 * probe_standard_uncertainty_k(limit, plant),
        notes=("No reading could be used, so that neither class nor conformity can be told from this log.",),
    )


def _by_longest(
    time_s: Floats, dew_point: Floats, limit: float, expanded: float, step_s: float, allowed_s: float
) -> Conformity:
    """Pass where no run above the limit less U lasts too long, fail where one above the limit plus U does."""
    if exceedances(time_s, dew_point, limit - expanded, step_s).longest_s <= allowed_s:
        return "pass"
    surely_above = exceedances(time_s, dew_point, limit + expanded, step_s).longest_s
    return "fail" if surely_above > allowed_s else "undecided"


def _cycle_of(time_s: Floats, cycle: Cycle) -> np.ndarray:
    """Number of the whole cycle each reading lies in, or of a stretch of equal length where no cycle is resolved."""
    switchovers = cycle.half_cycles["start_s"].to_numpy(dtype=float) if cycle.resolved else np.empty(0)
    starts = switchovers[::2]
    if starts.size < 2:
        return np.arange(time_s.size) * min(_STRETCHES, time_s.size) // time_s.size
    number = np.searchsorted(starts, time_s, side="right")
    return np.cumsum(np.r_[0, np.diff(number) > 0])


def _at_use(p95: float, pressure_bar: float, plant: Plant) -> tuple[float | None, float | None]:
    gauge, lowest = plant.operation.pressure_at_use_bar_g, plant.operation.lowest_pipe_temperature_c
    at_use = None
    if gauge is not None:
        at_use = float(change_pressure(p95, pressure_bar, gauge + plant.site.barometric_pressure_bar))
    if lowest is None:
        return at_use, None
    return at_use, lowest - (p95 if at_use is None else at_use)


def _class_shares(dew_point: Floats) -> dict[str, float]:
    limits = list(CLASS_LIMITS_C.values())
    counts = np.bincount(np.searchsorted(limits, dew_point, side="left"), minlength=len(limits) + 1)
    names = [str(number) for number in CLASS_LIMITS_C] + ["none"]
    return {name: count / dew_point.size for name, count in zip(names, counts.tolist(), strict=True)}
