"""What of a log is the dryer's air: dew point at line pressure over ice, and every stretch set aside with its reason.

Question: which readings may be judged? Input: a `Log` and the plant. Output: a `ScreenedLog`. Nothing is set aside
because it looks bad for the dryer, only because it cannot be the dryer's air at the probe.
"""

from __future__ import annotations

import dataclasses

from diagnostics.log.basis import at_line_pressure, resolution_of
from diagnostics.log.conditions import conditions_of
from diagnostics.log.contradictions import find_contradictions
from diagnostics.log.exclusions import set_aside
from diagnostics.log.record import Exclusion, Log, ScreenedLog
from diagnostics.log.sampling_faults import follow_the_room
from diagnostics.plant import Plant


def screen(log: Log, plant: Plant) -> ScreenedLog:
    """Bring a log to line pressure and set aside what is not the dryer's air.

    Parameters
    ----------
    log : Log
        As read.
    plant : Plant

    Returns
    -------
    ScreenedLog

    Raises
    ------
    InputError
        If the log holds no dew point.
    """
    line = at_line_pressure(log, plant)
    conditions, condition_notes = conditions_of(log, plant)
    resolution = resolution_of(log.channels["dew_point"])
    sieve = set_aside(log, line, plant, resolution, conditions.flow_m3_min if "flow" in conditions.logged else None)
    contradictions = find_contradictions(log, line.dew_point_c, sieve.left, conditions, plant)
    room, plainly_stagnant = follow_the_room(log, line.dew_point_c, sieve.left, conditions)
    screened = ScreenedLog(
        log=log,
        dew_point_c=line.dew_point_c,
        moisture=line.moisture,
        used=sieve.left,
        exclusions=tuple(sieve.exclusions),
        conditions=conditions,
        signs=tuple(sieve.signs + contradictions + room),
        resolution_c=resolution,
        notes=line.notes + condition_notes,
        basis=line.basis,
    )
    return _without_stagnant(screened) if plainly_stagnant else screened


def _without_stagnant(screened: ScreenedLog) -> ScreenedLog:
    time_s = screened.log.time_s
    whole = Exclusion(float(time_s[0]), float(time_s[-1]), "stagnant")
    return dataclasses.replace(
        screened,
        used=screened.used & False,
        exclusions=tuple(sorted((*screened.exclusions, whole), key=lambda e: (e.start_s, e.end_s))),
        notes=(
            *screened.notes,
            "The sample was stagnant all through the log; nothing of the dryer can be read from it.",
        ),
    )
