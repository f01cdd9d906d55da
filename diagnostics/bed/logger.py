"""From readings to rows: the logger's channels, its clock and what goes wrong with both."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from diagnostics.bed.column import Array
from diagnostics.bed.faults import Fault
from diagnostics.moment import zone_of
from diagnostics.plant import Plant

if TYPE_CHECKING:
    from diagnostics.bed.simulation import Run

EXTRA_CHANNELS = ("purge_flow",)
Excluded = list[tuple[float, float, str]]
_SET_BACK_S = 37.0 * 60.0
_SPOILT_S: dict[str, Callable[[float], float]] = {
    "stagnant_sample": lambda span: 0.3 * span,
    "frozen_sensor": lambda span: min(6.0 * 3600.0, 0.2 * span),
    "removal": lambda span: span,
    "clock_jump": lambda span: span,
    "lost_rows": lambda span: 3600.0,
}
"""How long a fault of measuring lasts [s], by the length of the log."""


def log_table(
    plant: Plant,
    run: Run,
    sample_s: Array,
    dew_c: Array,
    faults: tuple[Fault, ...],
    rng: np.random.Generator,
    channels: Sequence[str] = (),
) -> tuple[pd.DataFrame, Excluded]:
    """Rows of the log, and the stretches that its faults spoil.

    Parameters
    ----------
    plant : Plant
    run : Run
    sample_s, dew_c : array
        Instants (epoch s) and readings [degC].
    faults : tuple of Fault
    rng : Generator
    channels : sequence of str
        Of `EXTRA_CHANNELS`.

    Returns
    -------
    table : DataFrame
        Time, dew point and the channels a portable logger has.
    excluded : list of (start, end, reason)
    """
    minute = run.profile.start_s + 60.0 * np.arange(len(run.profile.flow_m3_min))
    room_c = np.interp(sample_s, minute, run.profile.room_c)
    dew, stamps, keep, excluded = _spoilt(run, sample_s, dew_c, room_c, faults, rng)
    gauge = run.profile.pressure_bar - plant.site.barometric_pressure_bar
    table = pd.DataFrame(
        {
            "Time": _written(stamps, plant.site.timezone),
            "Dew point [°C]": dew,
            "Flow [m3/min]": np.round(np.interp(sample_s, minute, run.profile.flow_m3_min), 2),
            "Inlet temperature [°C]": np.round(np.interp(sample_s, minute, run.profile.inlet_c), 1),
            "Pressure [bar(g)]": np.round(np.interp(sample_s, minute, gauge), 2),
            "Air temperature [°C]": np.round(np.interp(sample_s, run.time_s, run.temperature_c), 1),
        }
    )
    if "purge_flow" in channels:
        step = np.minimum(np.searchsorted(run.time_s, sample_s), run.time_s.size - 1)
        table["Purge flow [m3/min]"] = np.round(run.purge_m3_min[step], 2)
    return table[keep].reset_index(drop=True), excluded


def _spoilt(
    run: Run, sample_s: Array, dew_c: Array, room_c: Array, faults: tuple[Fault, ...], rng: np.random.Generator
) -> tuple[Array, Array, np.ndarray, Excluded]:
    """Readings, stamps and kept rows after the faults of measuring, and the stretches these spoil."""
    span = run.end_s - run.start_s
    dew, stamps, keep = dew_c.copy(), sample_s.copy(), np.ones(sample_s.size, bool)
    excluded: Excluded = []
    for fault in faults:
        length_s = _SPOILT_S.get(fault.name, lambda whole: 0.0)(span)
        begin = run.start_s + fault.onset_share * span
        end = min(begin + length_s, run.end_s)
        inside = (sample_s >= begin) & (sample_s < end)
        if not inside.any():
            continue
        since, reason = sample_s[inside] - begin, "gap"
        match fault.name:
            case "stagnant_sample":
                rise = 6.0 * (1.0 - np.exp(-since / 3600.0)) + 1.2 * (room_c[inside] - room_c[inside][0])
                dew[inside], reason = np.round(dew[inside][0] + rise, 2), "stagnant"
            case "frozen_sensor":
                dew[inside], reason = dew[inside][0], "frozen"
            case "removal":
                rise = 1.0 - np.exp(-since / 60.0)
                room_air_c = np.minimum(8.0, room_c[inside] - 12.0)
                dew[inside], reason = np.round(dew[inside] + rise * (room_air_c - dew[inside]), 2), "removal"
            case "clock_jump":
                stamps[inside] -= _SET_BACK_S
                begin, end, reason = begin - _SET_BACK_S, begin, "clock_jump"
            case "lost_rows":
                keep &= ~inside & (rng.random(sample_s.size) > 0.01)
        excluded.append((begin, end, reason))
    return dew, stamps, keep, excluded


def _written(stamps: Array, timezone: str | None) -> list[str]:
    zone = zone_of(timezone) or dt.UTC
    return [f"{dt.datetime.fromtimestamp(s, zone):%Y-%m-%d %H:%M:%S}" for s in np.round(stamps).tolist()]
