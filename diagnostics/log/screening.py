"""What of a log is the dryer's air: dew point at line pressure over ice, and every stretch set aside with its reason.

Question: which readings may be judged? Input: a `Log` and the plant. Output: a `ScreenedLog`. Nothing is set aside
because it looks bad for the dryer, only because it cannot be the dryer's air at the probe.
"""

from __future__ import annotations

import numpy as np

from diagnostics.log.basis import at_line_pressure, resolution_of
from diagnostics.log.conditions import conditions_of
from diagnostics.log.holes import find_gaps
from diagnostics.log.record import Exclusion, Flags, Log, ScreenedLog
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
    exclusions = tuple(find_gaps(log.time_s, np.isfinite(line.dew_point_c), log.interval_s))
    return ScreenedLog(
        log=log,
        dew_point_c=line.dew_point_c,
        moisture=line.moisture,
        used=_used(log, np.isfinite(line.dew_point_c), exclusions),
        exclusions=exclusions,
        conditions=conditions,
        resolution_c=resolution_of(log.channels["dew_point"]),
        notes=line.notes + condition_notes,
    )


def _used(log: Log, valid: Flags, exclusions: tuple[Exclusion, ...]) -> Flags:
    used = valid.copy()
    for exclusion in exclusions:
        if exclusion.reason != "gap":
            first, last = np.searchsorted(log.time_s, (exclusion.start_s, exclusion.end_s))
            used[first : last + 1] = False
    return used
