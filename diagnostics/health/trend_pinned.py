"""Under working dew-point control the peaks are pinned to the set point; the load taken up until then tells instead.

Question: does a half-cycle take up less than it did? Input: half-cycles and load. Output: a sentence.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from diagnostics.bed.duty import duty_of
from diagnostics.cycle.record import Cycle
from diagnostics.health.trend_regression import fit_line
from diagnostics.health.trend_series import peak_series
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

_LEAST_CHANGE = 0.05


def pinned_note(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> tuple[str, ...]:
    """What the half-cycles' load up to the set point does over the days, as sentences.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    plant : Plant
    """
    said = "Under dew-point control the peaks are pinned to the set point, so they tell nothing of the desiccant"
    duty = duty_of(screened, plant)
    table = cycle.complete
    loaded = duty.loaded_at(table["end_s"].to_numpy()) - duty.loaded_at(table["start_s"].to_numpy())
    half_cycles = cycle.half_cycles.copy()
    half_cycles.loc[table.index, "peak_dew_point_c"] = np.log(np.maximum(loaded, 1e-9))
    series = peak_series(screened, dataclasses.replace(cycle, half_cycles=half_cycles), plant)
    if series is None or series.time_d.size < 8 or series.span_d < 1.9:
        return (said + "; the log is too short to tell from the load the half-cycles take up.",)
    line = fit_line(series, {})
    half = line.quantile * line.error
    change, low, high = ((line.slope + z * half) * series.span_d for z in (0.0, -1.0, 1.0))
    what = "load" if duty.known else "length"
    band = f"{100 * np.expm1(low):+.0f} to {100 * np.expm1(high):+.0f} %"
    if high < 0 and change <= -_LEAST_CHANGE:
        return (f"{said}; but the {what} of a half-cycle fell by {band} over the log: the beds take up less.",)
    return (f"{said}; the {what} of a half-cycle changed by {band} over the log.",)
