"""What a log already taken would have needed to answer more.

Question: what was missing? Input: a screened log with its half-cycles and the plant. Output: lines of a measurement
plan, each with its reason. Method: the log is held against what `measurement_plan` asks for.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from diagnostics.cycle.record import Cycle
from diagnostics.cycle.resolution import READINGS_LEAST, logging_interval_s
from diagnostics.log.record import ScreenedLog
from diagnostics.measurement_plan import (
    FULL_CYCLES_WANTED,
    SETTLING_H,
    SHORTEST_H,
    WEEK_H,
    PlanLine,
)
from diagnostics.moment import say_duration, zone_of
from diagnostics.plant import Plant


def needed_for(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> tuple[PlanLine, ...]:
    """What a log already taken would have needed to answer more.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    plant : Plant

    Returns
    -------
    tuple of PlanLine
        Empty where the log had all that a plan would have asked for.
    """
    lines: list[PlanLine] = []
    log = screened.log
    half_cycle_s = cycle.half_cycle_s.value if cycle.half_cycle_s is not None else plant.half_cycle_s
    seen = "of this log" if cycle.half_cycle_s is not None else "of the plant file"
    if half_cycle_s / log.interval_s < READINGS_LEAST:
        step = logging_interval_s(half_cycle_s)
        reason = (
            f"The half-cycle {seen} of {say_duration(half_cycle_s)} got {half_cycle_s / log.interval_s:.1f} readings."
        )
        lines.append(PlanLine("interval", f"Log a reading every {step:g} s.", reason, step, "s"))
    used_s = float(np.count_nonzero(screened.used)) * log.interval_s
    wanted_h = max(SHORTEST_H, 2 * FULL_CYCLES_WANTED * half_cycle_s / 3600.0)
    # half an hour short of two days is no reason to go again
    if used_s / 3600.0 < 0.95 * wanted_h:
        reason = f"Of this log {say_duration(used_s)} could be used."
        least_h = math.ceil(wanted_h + SETTLING_H)
        said = f"Log for {say_duration(3600.0 * least_h)} at least{', better a week' if least_h < WEEK_H else ''}."
        lines.append(PlanLine("duration", said, reason, wanted_h + SETTLING_H, "h"))
    if not _covers_both(screened):
        reason = "The used readings hold working days or the weekend, not both."
        lines.append(PlanLine("weekend", "Let the log run over a weekend and the shifts around it.", reason))
    if screened.basis == "atmospheric" and not plant.is_given("measurement.basis"):
        reason = "Only its title says that the dew point is atmospheric; each reading was brought to line pressure."
        lines.append(
            PlanLine("basis", "Log the pressure dew point, or write measurement.basis into the plant file.", reason)
        )
    absent = [name for name in ("flow", "inlet_temperature", "pressure") if name not in log.channels]
    if "tower" not in log.channels and not cycle.resolved:
        absent.append("tower")
    if absent:
        named = ", ".join(name.replace("_", " ") for name in absent)
        lines.append(PlanLine("log beside it", f"Log also: {named}.", "Typical values had to stand in for them."))
    return tuple(lines)


def _covers_both(screened: ScreenedLog) -> bool:
    """Whether used readings fall on working days and on the weekend, in local time where the zone is known."""
    times = screened.log.time_s[screened.used]
    if times.size == 0:
        return False
    zone = zone_of(screened.log.timezone) or dt.UTC
    middays = times[:: max(1, int(6 * 3600.0 / screened.log.interval_s))]
    weekdays = {dt.datetime.fromtimestamp(float(t), zone).weekday() for t in middays}
    return bool(weekdays & {5, 6}) and bool(weekdays - {5, 6})
