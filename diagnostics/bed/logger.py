"""From readings to rows: the logger's channels, its clock and what goes wrong with both."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from diagnostics.bed.column import Array
from diagnostics.bed.faults import Fault
from diagnostics.moment import zone_of
from diagnostics.plant import Plant

if TYPE_CHECKING:
    from diagnostics.bed.simulation import Run

Excluded = list[tuple[float, float, str]]


def log_table(
    plant: Plant, run: Run, sample_s: Array, dew_c: Array, faults: tuple[Fault, ...], rng: np.random.Generator
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

    Returns
    -------
    table : DataFrame
        Time, dew point and the channels a portable logger has.
    excluded : list of (start, end, reason)
    """
    names = {f.name: f for f in faults}
    span = run.end_s - run.start_s
    excluded: Excluded = []
    dew = dew_c.copy()
    profile = run.profile
    minute = profile.start_s + 60.0 * np.arange(len(profile.flow_m3_min))
    air_c = np.interp(sample_s, run.time_s, run.temperature_c)
    room_c = np.interp(sample_s, minute, profile.room_c)

    def from_onset(name: str, length_s: float) -> tuple[np.ndarray, float, float]:
        begin = run.start_s + names[name].onset_share * span
        end = min(begin + length_s, run.end_s)
        return (sample_s >= begin) & (sample_s < end), begin, end

    if "stagnant_sample" in names:
        inside, begin, end = from_onset("stagnant_sample", 0.3 * span)
        held = dew[inside][0] if inside.any() else 0.0
        swing = room_c[inside] - room_c[inside][0]
        rise = 6.0 * (1.0 - np.exp(-(sample_s[inside] - begin) / 3600.0))
        dew[inside] = np.round(held + rise + 1.2 * swing, 2)
        excluded.append((begin, end, "stagnant"))
    if "frozen_sensor" in names:
        inside, begin, end = from_onset("frozen_sensor", min(6.0 * 3600.0, 0.2 * span))
        dew[inside] = dew[inside][0] if inside.any() else dew[inside]
        excluded.append((begin, end, "frozen"))
    if "removal" in names:
        inside, begin, end = from_onset("removal", span)
        rise = 1.0 - np.exp(-(sample_s[inside] - begin) / 60.0)
        dew[inside] = np.round(dew[inside] + rise * (np.minimum(8.0, room_c[inside] - 12.0) - dew[inside]), 2)
        excluded.append((begin, end, "removal"))
    stamps = sample_s.copy()
    if "clock_jump" in names:
        inside, begin, _ = from_onset("clock_jump", span)
        stamps[inside] -= 37.0 * 60.0
        excluded.append((begin - 37.0 * 60.0, begin, "clock_jump"))
    table = pd.DataFrame(
        {
            "Time": _written(stamps, plant.site.timezone),
            "Dew point [°C]": dew,
            "Flow [m3/min]": np.round(np.interp(sample_s, minute, profile.flow_m3_min), 2),
            "Inlet temperature [°C]": np.round(np.interp(sample_s, minute, profile.inlet_c), 1),
            "Pressure [bar(g)]": np.round(
                np.interp(sample_s, minute, profile.pressure_bar) - plant.site.barometric_pressure_bar, 2
            ),
            "Air temperature [°C]": np.round(air_c, 1),
        }
    )
    if "lost_rows" in names:
        inside, begin, end = from_onset("lost_rows", 3600.0)
        keep = ~inside & (rng.random(len(table)) > 0.01)
        table = table[keep].reset_index(drop=True)
        excluded.append((begin, end, "gap"))
    return table, excluded


def _written(stamps: Array, timezone: str | None) -> list[str]:
    zone = zone_of(timezone) or dt.UTC
    return [f"{dt.datetime.fromtimestamp(s, zone):%Y-%m-%d %H:%M:%S}" for s in np.round(stamps).tolist()]
