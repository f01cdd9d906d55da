"""Purity: is the air dry enough?

Question: which class does the air meet, is the limit kept, how often was it passed, and does anything freeze at the
point of use? Input: the screened log, its cycle, the plant. Output: `Purity`. Method: percentiles of the used readings
at line pressure against the class table and the limit, the instrument's uncertainty as guard band.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from diagnostics.air.conformity import CLASS_LIMITS_C, STANDARD, conformity, probability_of_conformity, purity_class
from diagnostics.air.exceedance import Exceedances, exceedances, percentile_intervals
from diagnostics.air.humidity import change_pressure
from diagnostics.air.record import Conformity, Purity
from diagnostics.air.uncertainty import Budget, probe_standard_uncertainty_k, uncertainty_budget
from diagnostics.air.uses import notes_on_use
from diagnostics.cycle.record import Cycle
from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.moment import say_duration
from diagnostics.plant import Plant

ConformityBy = Literal["p95", "longest_exceedance", "maximum"]

REFERENCE_BAR_G = 7.0
"""Gauge pressure the water classes refer to unless agreed otherwise (ISO 8573-3, as quoted on public pages)."""

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
    limit = plant.dryer.dew_point_limit_c
    if dew_point.size == 0:
        return _nothing_used(plant, conformity_by)
    time_s = screened.log.time_s[used]
    p95, p99, highest = (float(value) for value in np.percentile(dew_point, [95.0, 99.0, 100.0]))
    pressure_bar = float(np.median(screened.conditions.pressure_bar[used]))
    budget = _budget(p95, pressure_bar, screened, plant)
    expanded = budget.expanded_k
    above = exceedances(time_s, dew_point, limit, screened.log.interval_s)
    decided = _decide(conformity_by, allowed_exceedance_s, p95, highest, time_s, dew_point, expanded, screened, limit)
    judged = highest if conformity_by == "maximum" else p95
    intervals = percentile_intervals(dew_point, _cycle_of(time_s, cycle))
    at_use, reserve = _at_use(p95, pressure_bar, plant)
    notes = (
        *_notes_on_class(p95, pressure_bar, plant),
        *_notes_on_conformity(decided, conformity_by, above, highest, limit),
        _note_on_uncertainty(budget, p95),
        *_notes_on_length(intervals[95.0], decided, conformity_by, expanded, limit),
        *_notes_at_use(at_use, reserve, plant),
        *notes_on_use(p95, expanded, pressure_bar, plant),
    )
    return Purity(
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
        probability_of_conformity=probability_of_conformity(judged, limit, budget.standard_k),
        notes=notes,
        p95=intervals[95.0],
        p99=intervals[99.0],
        class_shares=_class_shares(dew_point),
        budget=budget,
    )


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


def _budget(p95: float, pressure_bar: float, screened: ScreenedLog, plant: Plant) -> Budget:
    return uncertainty_budget(
        p95,
        plant,
        at_s=float(screened.log.time_s[-1]),
        resolution_c=screened.resolution_c,
        pressure_bar=pressure_bar,
        pressure_logged="pressure" in screened.conditions.logged,
        moisture_unit=screened.log.moisture_unit,
    )


def _decide(
    by: ConformityBy,
    allowed_s: float,
    p95: float,
    highest: float,
    time_s: Floats,
    dew_point: Floats,
    expanded: float,
    screened: ScreenedLog,
    limit: float,
) -> Conformity:
    if by != "longest_exceedance":
        return conformity(p95 if by == "p95" else highest, limit, expanded)
    step = screened.log.interval_s
    if exceedances(time_s, dew_point, limit - expanded, step).longest_s <= allowed_s:
        return "pass"
    surely_above = exceedances(time_s, dew_point, limit + expanded, step).longest_s
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


def _notes_on_class(p95: float, pressure_bar: float, plant: Plant) -> tuple[str, ...]:
    notes = []
    if purity_class(p95) is None:
        notes.append(
            f"The 95th percentile of {p95:.1f} °C is above +10 °C: classes 7 to 9 go by liquid water, which a dew point"
            " log cannot show, so no class is given."
        )
    elif purity_class(p95) == 1:
        notes.append("Class 0 is an agreement stricter than class 1; no log alone gives it.")
    reference_bar = REFERENCE_BAR_G + plant.site.barometric_pressure_bar
    if abs(pressure_bar - reference_bar) > 0.15:
        same_air = change_pressure(p95, pressure_bar, reference_bar)
        notes.append(
            f"The class is that at line pressure, {pressure_bar:.2f} bar absolute; at the standard's reference of 7 bar"
            f" gauge the same air has {same_air:.1f} °C (class {purity_class(same_air) or 'none'})."
        )
    return tuple(notes)


def _notes_on_conformity(
    decided: Conformity, by: ConformityBy, above: Exceedances, highest: float, limit: float
) -> tuple[str, ...]:
    if decided != "pass" or above.count == 0:
        return ()
    basis = "the 95th percentile" if by == "p95" else "the longest exceedance"
    times = "once" if above.count == 1 else f"{above.count} times"
    return (
        f"The limit of {limit:g} °C is kept by {basis}, yet it was passed {times}, for up to"
        f" {say_duration(above.longest_s)} and {100 * above.share:.2g} % of the time, reaching {highest:.1f} °C;"
        " whether the process stands that is for its owner to say.",
    )


def _note_on_uncertainty(budget: Budget, p95: float) -> str:
    parts = [
        ("instrument", budget.probe_k),
        ("drift since calibration", budget.drift_k),
        ("line pressure", budget.pressure_k),
        ("resolution", budget.resolution_k),
    ]
    named = ", ".join(f"{name} {value:.2f} K" for name, value in parts if value > 0.005)
    return (
        f"Uncertainty of the dew point at {p95:.1f} °C: U = {budget.expanded_k:.1f} K (k = 2)"
        + (f" from standard uncertainties of {named}" if named else "")
        + "; as a guard band it leaves at most 2.3 % risk of a wrong pass."
    )


def _notes_on_length(
    p95: Estimate | None, decided: Conformity, by: ConformityBy, expanded: float, limit: float
) -> tuple[str, ...]:
    if p95 is None:
        return (
            "The log is too short, or changes too slowly over it, to say how far its 95th percentile would differ in"
            " another one.",
        )
    if by != "p95" or decided == "undecided":
        return ()
    other = p95.high + expanded > limit if decided == "pass" else p95.low - expanded <= limit
    if not other:
        return ()
    return (
        f"Another log of this length could have its 95th percentile between {p95.low:.1f} and {p95.high:.1f} °C, enough"
        " to change the verdict; a longer log would settle it.",
    )


def _notes_at_use(at_use: float | None, reserve: float | None, plant: Plant) -> tuple[str, ...]:
    if reserve is None:
        return ()
    lowest = plant.operation.lowest_pipe_temperature_c
    where = "at the point of use" if at_use is not None else "at line pressure (no pressure at the point of use given)"
    if reserve > 0.0:
        return (f"The coldest pipe of {lowest:g} °C is {reserve:.1f} K above the dew point {where}.",)
    return (
        f"The coldest pipe of {lowest:g} °C is {-reserve:.1f} K below the dew point {where}: water or frost can form"
        " there.",
    )
