"""What the logged dew point refers to, and the same dew point at line pressure over ice.

Question: what would the instrument show if it stood at line pressure and reckoned over ice? Input: a `Log` and the
plant's measurement table. Output: `AtLinePressure`. Method: through vapour pressure only, with the enhancement factor
or without, the way the instrument converted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from diagnostics.air.humidity import change_pressure, frost_from_supercooled_c, moisture_fraction
from diagnostics.errors import InputError
from diagnostics.log.record import Floats, Log
from diagnostics.plant import Assumption, Plant

LOWEST_DEW_POINT_C, HIGHEST_DEW_POINT_C = -100.0, 90.0
"""Outside this no compressed air and no probe: such numbers are codes for missing or faults of the logger."""


@dataclass(frozen=True)
class AtLinePressure:
    """Dew point [degC] and moisture [mol/mol] at ``pressure_bar`` [bar abs], each shape (n,); NaN where missing.

    ``basis`` is what the logged dew point referred to.
    """

    dew_point_c: Floats
    moisture: Floats
    pressure_bar: Floats
    notes: tuple[str, ...]
    basis: Literal["pressure", "atmospheric"] = "pressure"


def at_line_pressure(log: Log, plant: Plant) -> AtLinePressure:
    """Dew point of the line, over ice below 0 degC.

    Parameters
    ----------
    log : Log
    plant : Plant
        ``measurement.basis`` (the column's title decides where it is not given), ``over``, ``conversion``,
        ``pressure_bar_g``; ``site.barometric_pressure_bar``.

    Returns
    -------
    AtLinePressure

    Raises
    ------
    InputError
        If the log holds no dew point.
    """
    if "dew_point" not in log.channels:
        raise InputError(f"{log.source}: no dew point was found; name its column with --column dew_point=HEADER.")
    notes: list[str] = []
    logged = log.channels["dew_point"]
    dew_point = np.where((logged >= LOWEST_DEW_POINT_C) & (logged <= HIGHEST_DEW_POINT_C), logged, np.nan)
    pressure = _pressure_at_probe(log, plant, notes)
    measurement = plant.measurement
    as_logged = log.moisture_basis == "as_logged"
    if as_logged and measurement.over == "water":
        below = dew_point < 0.0
        dew_point[below] = frost_from_supercooled_c(dew_point[below])
        notes.append("Logged dew points below 0 °C are over water; they were changed to frost points over ice.")
    atmospheric = as_logged and (measurement.basis or log.titled_basis) == "atmospheric"
    if atmospheric:
        known = np.isfinite(dew_point)
        dew_point[known] = change_pressure(
            dew_point[known],
            plant.site.barometric_pressure_bar,
            pressure[known],
            real=measurement.conversion == "real",
        )
        notes.append(
            f"The log holds atmospheric dew points; they were brought to line pressure ({np.median(pressure):.2f} bar"
            f" absolute) as {'real' if measurement.conversion == 'real' else 'ideal'} gas."
        )
    moisture = np.full_like(dew_point, np.nan)
    known = np.isfinite(dew_point)
    moisture[known] = moisture_fraction(dew_point[known], pressure[known])
    return AtLinePressure(dew_point, moisture, pressure, tuple(notes), "atmospheric" if atmospheric else "pressure")


def as_the_log_has_it(item: Assumption, log: Log) -> Assumption | None:
    """What became of an assumption about the measurement when the log was read; None where it played no part.

    Parameters
    ----------
    item : Assumption
        Of the plant; others than ``measurement.basis`` stay as they are.
    log : Log
    """
    if item.key != "measurement.basis":
        return item
    if log.moisture_basis == "line":
        return None
    if log.titled_basis is None:
        return item
    header = log.columns["dew_point"].header if "dew_point" in log.columns else "the column"
    return Assumption(item.key, log.titled_basis, f"the title {header!r} says so")


def _pressure_at_probe(log: Log, plant: Plant, notes: list[str]) -> Floats:
    gauge = log.channels.get("pressure")
    entered = np.full(log.samples, plant.line_pressure_bar)
    if gauge is None or plant.is_given("measurement.pressure_bar_g"):
        return entered
    under_pressure = np.isfinite(gauge) & (gauge > 0.5)
    if not under_pressure.any():
        return entered
    notes.append("measurement.pressure_bar_g is not given; the logged pressure was taken as the line's.")
    filled = np.interp(log.time_s, log.time_s[under_pressure], gauge[under_pressure])
    return filled + plant.site.barometric_pressure_bar


def resolution_of(values: Floats) -> float:
    """Step of the last digit of logged values [same unit], 0 where none shows.

    Parameters
    ----------
    values : ndarray, shape (n,)

    Returns
    -------
    float
        The smallest step between levels that the log uses, if all its readings are multiples of it.
    """
    known = values[np.isfinite(values)]
    if known.size < 2:
        return 0.0
    sample = known[:: max(1, known.size // 20_000)]
    for step in (10.0, 5.0, 1.0, 0.5, 0.1, 0.05, 0.01, 0.005, 0.001):
        scaled = sample / step
        if np.abs(scaled - np.rint(scaled)).max() < 1e-4:
            return step
    levels = np.unique(sample)
    if levels.size < 2:
        return 0.0
    steps = np.diff(levels)
    step = float(np.median(steps[steps <= 1.5 * steps.min()]))
    scaled = (levels - levels[0]) / step
    return step if np.abs(scaled - np.rint(scaled)).max() < 0.05 and levels.size < 0.5 * sample.size else 0.0
