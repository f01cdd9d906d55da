"""Units that no title names, from the neighbours and from the numbers.

Question: degC, degF or K; bar, psi or hPa? Input: the chosen columns. Output: the same with units. Method: what the
log's other temperatures state; whether temperature, dew point and relative humidity agree; what a plant can have.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from diagnostics.log.columns import NumberColumn
from diagnostics.log.record import Floats
from diagnostics.log.titles import RELATIVE_HUMIDITY
from diagnostics.log.units import TEMPERATURE, Unit, parse_unit, temperature_c

_TEMPERATURES = ("dew_point", "temperature", "inlet_temperature", "ambient_temperature")
_WARM_AIR_C = 62.0
"""Air around or after a dryer is cooler than this in degC; in degF it is the rule."""
_COLD_K = 150.0


def guess_temperature_units(chosen: Mapping[str, NumberColumn], notes: list[str]) -> dict[str, NumberColumn]:
    """Give every temperature a unit; ``notes`` gains a sentence where it was not simply degC.

    Parameters
    ----------
    chosen : mapping of str to NumberColumn
    notes : list of str
    """
    settled = dict(chosen)
    bare = [q for q in _TEMPERATURES if q in chosen and chosen[q].unit is None]
    if not bare:
        return settled
    stated = {u.name for q in _TEMPERATURES if q in chosen and (u := chosen[q].unit) and u.kind == TEMPERATURE}
    name, why = _guess(chosen, bare, stated)
    for quantity in bare:
        own, reason = name, why
        if _median(chosen[quantity]) > _COLD_K and "K" not in stated and _median(chosen[quantity]) < 400.0:
            own, reason = "K", "its numbers are kelvins"
        settled[quantity] = replace(chosen[quantity], unit=Unit(own, TEMPERATURE))
        if own != "degC":
            notes.append(f"{chosen[quantity].header!r} names no unit; it was taken as {own}: {reason}.")
    return settled


def _guess(chosen: Mapping[str, NumberColumn], bare: list[str], stated: set[str]) -> tuple[str, str]:
    if len(stated) == 1:
        unit = next(iter(stated))
        return (unit, f"the log's other temperatures are in {unit}") if unit != "K" else ("degC", "")
    if RELATIVE_HUMIDITY in chosen and {"dew_point", "temperature"} <= set(bare):
        errors = {unit: _disagreement(chosen, unit) for unit in ("degC", "degF")}
        if errors["degF"] < 0.5 * errors["degC"]:
            return "degF", "only so do temperature, dew point and relative humidity agree"
    warm = [q for q in bare if q in ("temperature", "ambient_temperature") and _median(chosen[q]) > _WARM_AIR_C]
    if warm:
        return "degF", f"{chosen[warm[0]].header!r} would be too hot in °C"
    return "degC", ""


def _disagreement(chosen: Mapping[str, NumberColumn], unit: str) -> float:
    """Median error of the relative humidity [%] that temperature and dew point give, if both are in a unit."""
    from diagnostics.air.humidity import vapour_pressure_supercooled_pa

    rows = slice(None, None, max(1, chosen["temperature"].values.size // 2000))
    gas = temperature_c(chosen["temperature"].values[rows], unit)
    dew_point = temperature_c(chosen["dew_point"].values[rows], unit)
    percent = _percent(chosen[RELATIVE_HUMIDITY].values[rows])
    saturated = np.asarray(vapour_pressure_supercooled_pa(gas, beyond="nan"))
    ratio = 100.0 * np.asarray(vapour_pressure_supercooled_pa(dew_point, beyond="nan")) / saturated
    error = np.abs(ratio - percent)
    error = error[np.isfinite(error)]
    return float(np.median(error)) if error.size else 100.0


def _percent(values: Floats) -> Floats:
    return 100.0 * values if np.nanmax(values, initial=0.0) <= 1.5 else values


def _median(column: NumberColumn) -> float:
    known = column.values[np.isfinite(column.values)]
    return float(np.median(known)) if known.size else 0.0


def guess_pressure_unit(column: NumberColumn, notes: list[str]) -> Unit | None:
    """Unit of a pressure that names none; None, with a note, where its numbers fit none of a plant's."""
    middle = _median(column)
    if middle <= 40.0:
        return parse_unit("bar(g)")
    if 850.0 <= middle <= 1090.0:
        notes.append(f"{column.header!r} names no unit; it was taken as the air outdoors in hPa.")
        return parse_unit("hPa(a)")
    if 60.0 <= middle <= 240.0:
        notes.append(f"{column.header!r} names no unit; it was taken as psi gauge by its numbers.")
        return parse_unit("psi(g)")
    notes.append(
        f"{column.header!r} names no unit and its numbers fit none that is usual; it was left aside. Name it in"
        " [log] units."
    )
    return None
