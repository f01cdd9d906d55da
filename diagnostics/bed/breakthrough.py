"""How far the weaker tower is from breakthrough: one long half-cycle, one that is repeated, and that at peak load.

Question: how much longer could a half-cycle be? Input: screened log, half-cycles, plant. Output: a `Breakthrough`.
Method: a heated bed runs towards a front in every half-cycle, so its tail tells; a heatless bed's level is set over
many cycles by the purge balance, so that tells. Where neither shows a rise, the rating stands in (`reserve.PRIOR`).
"""

from __future__ import annotations

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.air.uncertainty import budget_in_log, slope_per_k
from diagnostics.bed.changeover import from_first_answer
from diagnostics.bed.duty import duty_of
from diagnostics.bed.heated import heated_margin
from diagnostics.bed.heatless import heatless_margin
from diagnostics.bed.margin import Margin, Question
from diagnostics.bed.record import Breakthrough
from diagnostics.bed.rise import rises_k
from diagnostics.bed.seen_margin import as_seen
from diagnostics.bed.setting import recommended_setting
from diagnostics.bed.tail import usable_rows
from diagnostics.cycle.record import Cycle
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

REACHED_SHARE = 0.05
"""Share of half-cycles inside which the limit must be reached before it counts as reached."""


def margin_to_breakthrough(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> Breakthrough:
    """Margins of the weaker tower to the dew point limit.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    plant : Plant

    Returns
    -------
    Breakthrough
        All margins None with a note where the log shows no half-cycles.
    """
    limit_c = plant.dryer.dew_point_limit_c
    duty = duty_of(screened, plant)
    load = (duty.mean, duty.peak) if duty.known else (None, None)
    if plant.heated and cycle.resolved and cycle.control == "fixed":
        cycle = from_first_answer(screened, cycle)
    rows = usable_rows(cycle)
    if not cycle.resolved or rows.size == 0 or cycle.half_cycle_s is None:
        note = "The log shows no half-cycles, so how far they are from breakthrough cannot be told."
        return _without(limit_c, _never_reached(screened, limit_c), load, None, note)
    reached = _reached(cycle, limit_c)
    rises = rises_k(screened, cycle, rows)
    question = Question(
        screened=screened,
        cycle=cycle,
        plant=plant,
        duty=duty,
        limit_moisture=float(moisture_fraction(limit_c, plant.line_pressure_bar)),
        today_s=cycle.half_cycle_s.value,
        rise_c=float(np.median(rises)) if rises.size else None,
        limit_deviation=_limit_deviation(screened, plant),
        reached=reached,
    )
    margin = as_seen(heated_margin(question) if plant.heated else heatless_margin(question), question)
    left_out = len(cycle.complete) - rows.size
    return _record(margin, question, limit_c, load, _incidents(left_out) if plant.heated else ())


def _never_reached(screened: ScreenedLog, limit_c: float) -> bool | None:
    """False where no used reading passes the limit, so that no half-cycle, seen or not, can have reached it."""
    levels = screened.dew_point_c[screened.used]
    return False if levels.size and float(levels.max()) < limit_c else None


def _record(
    margin: Margin,
    question: Question,
    limit_c: float,
    load: tuple[float | None, float | None],
    notes: tuple[str, ...],
) -> Breakthrough:
    setting_s, setting_notes = recommended_setting(margin, question)
    single = margin.single_s
    return Breakthrough(
        limit_dew_point_c=limit_c,
        reached=question.reached,
        censored=margin.censored,
        margin_s=single,
        margin_share=None if single is None else single.scaled(1.0 / question.today_s),
        sustained_margin_s=margin.sustained_s,
        margin_at_peak_load_s=margin.at_peak_s,
        recommended_half_cycle_s=setting_s,
        method=margin.method,
        reserve=margin.reserve if question.duty.known else None,
        reserve_from="prior" if margin.censored else "log",
        load_ratio=load[0],
        peak_load_ratio=load[1],
        rise_c=question.rise_c,
        weaker_tower=margin.weaker_tower,
        notes=margin.notes + notes + setting_notes,
    )


def _incidents(left_out: int) -> tuple[str, ...]:
    if left_out == 0:
        return ()
    many = "1 half-cycle is" if left_out == 1 else f"{left_out} half-cycles are"
    return (
        f"{many} far wetter than the others or came after the switching stopped; the margin is that of the others.",
    )


def _without(
    limit_c: float,
    reached: bool | None,
    load: tuple[float | None, float | None],
    rise_c: float | None,
    note: str,
) -> Breakthrough:
    return Breakthrough(
        limit_c,
        reached,
        False,
        None,
        None,
        None,
        None,
        None,
        "none",
        None,
        "prior",
        load[0],
        load[1],
        rise_c,
        notes=(note,),
    )


def _reached(cycle: Cycle, limit_c: float) -> bool:
    """Whether more than a twentieth of the half-cycles ended above the limit."""
    table = cycle.complete
    if cycle.stopped_s is not None:
        table = table[table["end_s"] <= cycle.stopped_s + 1.0]
    if table.empty:
        return False
    return bool((table["end_dew_point_c"] > limit_c).mean() > REACHED_SHARE)


def _limit_deviation(screened: ScreenedLog, plant: Plant) -> float:
    """Standard uncertainty of the reading at the limit, in ln moisture [-]."""
    limit_c = plant.dryer.dew_point_limit_c
    return budget_in_log(limit_c, screened, plant).standard_k * slope_per_k(limit_c)
