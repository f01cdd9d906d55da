"""Hand-made screened logs for the tests of the air's room."""

from __future__ import annotations

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.cycle.record import Cycle, no_half_cycles
from diagnostics.log.record import Column, Conditions, Log, ScreenedLog

START_S = 1_767_225_600.0  # 2026-01-01 00:00 UTC


def screened_log(
    dew_point_c: list[float] | np.ndarray,
    *,
    interval_s: float = 60.0,
    used: np.ndarray | None = None,
    pressure_bar: float = 8.01325,
    time_s: np.ndarray | None = None,
    resolution_c: float = 0.0,
    moisture_unit: str = "degC",
) -> ScreenedLog:
    """Log of a dew point alone, one reading an interval, all used unless said otherwise."""
    dew_point = np.asarray(dew_point_c, dtype=float)
    times = START_S + interval_s * np.arange(dew_point.size) if time_s is None else time_s
    log = Log(
        source="made by hand",
        time_s=times,
        channels={"dew_point": dew_point},
        columns={"dew_point": Column("dew point", "degC")},
        timezone="UTC",
        interval_s=interval_s,
        moisture_unit=moisture_unit,
    )
    valid = np.isfinite(dew_point)
    return ScreenedLog(
        log=log,
        dew_point_c=dew_point,
        moisture=moisture_fraction(dew_point, pressure_bar, beyond="nan"),
        used=valid if used is None else valid & used,
        exclusions=(),
        conditions=Conditions(np.full(dew_point.size, pressure_bar), None, None, None),
        resolution_c=resolution_c,
    )


def no_cycle() -> Cycle:
    """What a log without a rhythm gives."""
    return Cycle("unresolved", (), False)


def timer_cycle(screened: ScreenedLog, half_cycle_s: float) -> Cycle:
    """Half-cycles of a timer that starts with the log."""
    first, last = screened.log.time_s[0], screened.log.time_s[-1]
    starts = np.arange(first, last, half_cycle_s)
    table = no_half_cycles().reindex(range(starts.size))
    table["start_s"], table["end_s"] = starts, starts + half_cycle_s
    table["tower"] = ["AB"[number % 2] for number in range(starts.size)]
    table["complete"] = True
    return Cycle("fixed", (), True, half_cycles=table)
