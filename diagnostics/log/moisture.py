"""A moisture channel that is no dew point becomes one.

Question: which pressure dew point do ppm, g/m3, % RH or a vapour pressure mean? Input: the channel, line pressure and
gas temperature. Output: the frost point at line pressure (dew point above 0 degC). Everything goes through the mole
fraction of water, see `diagnostics.air.humidity`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.air import humidity
from diagnostics.errors import InputError
from diagnostics.log.columns import NumberColumn
from diagnostics.log.record import Floats
from diagnostics.log.titles import RELATIVE_HUMIDITY, VAPOUR_PRESSURE
from diagnostics.log.units import FLOW_STATES, PRESSURE

_ASSUMED_GAS_C = 20.0
_HIGHEST_RH, _RH_SLACK = 100.0, 5.0


@dataclass(frozen=True)
class Surroundings:
    """Where the moisture was measured, each a float or ndarray of shape (n,).

    Attributes
    ----------
    line_bar, sample_bar : float or ndarray
        Pressure of the line and at the sensor [bar abs].
    gas_temperature_c : ndarray or None
    real : bool
        With the enhancement factor.
    """

    line_bar: Floats
    sample_bar: Floats
    gas_temperature_c: Floats | None
    real: bool = True


def dew_point_from(kind: str, column: NumberColumn, around: Surroundings, name: str) -> tuple[Floats, str, str]:
    """Dew point at line pressure from another moisture quantity.

    Parameters
    ----------
    kind : str
        ``relative_humidity``, ``water_content`` or ``vapour_pressure``.
    column : NumberColumn
        In its own unit.
    around : Surroundings
    name : str
        File name for messages.

    Returns
    -------
    ndarray, shape (n,)
        [degC], over ice below 0 degC; NaN where missing or beyond what air holds.
    str
        Unit that the numbers were read in.
    str
        How it was reckoned, as a sentence.

    Raises
    ------
    InputError
        If the unit is missing or the gas temperature it needs is not logged.
    """
    if kind == RELATIVE_HUMIDITY:
        moisture, unit, how = _from_relative_humidity(column, around, name)
    elif kind == VAPOUR_PRESSURE:
        moisture, unit, how = _from_vapour_pressure(column, around, name)
    else:
        moisture, unit, how = _from_water_content(column, around, name)
    with np.errstate(invalid="ignore"):
        moisture = np.where(moisture > 0.0, moisture, np.nan)
    dew_point = humidity.dew_point_c(moisture, around.line_bar, real=around.real, beyond="nan")
    dew_point = np.asarray(dew_point, dtype=np.float64)
    lost = int((np.isfinite(column.values) & ~np.isfinite(dew_point)).sum())
    tail = f" {lost} readings at or below zero or beyond saturation have none." if lost else ""
    return (
        dew_point,
        unit,
        f"The log holds no dew point; it was reckoned from {column.header!r} ({how}) as the pressure dew point, over"
        f" ice below 0 °C, at {np.median(around.line_bar):.2f} bar absolute.{tail}",
    )


def _from_relative_humidity(column: NumberColumn, around: Surroundings, name: str) -> tuple[Floats, str, str]:
    if around.gas_temperature_c is None:
        raise InputError(
            f"{name}: {column.header!r} is a relative humidity and no temperature of the same air is logged; name it"
            " with --column temperature=HEADER."
        )
    percent = column.values.copy()
    fraction = column.unit is None and bool(np.nanmax(percent, initial=0.0) <= 1.5)
    if fraction:
        percent = 100.0 * percent
    with np.errstate(invalid="ignore"):
        percent[(percent > _HIGHEST_RH) & (percent <= _HIGHEST_RH + _RH_SLACK)] = _HIGHEST_RH
    moisture = humidity.moisture_from_relative_humidity(
        percent, around.sample_bar, around.gas_temperature_c, real=around.real, beyond="nan"
    )
    return np.asarray(moisture), "percent_rh", "relative humidity over water and the temperature logged beside it"


def _from_vapour_pressure(column: NumberColumn, around: Surroundings, name: str) -> tuple[Floats, str, str]:
    if column.unit is None or column.unit.kind != PRESSURE:
        raise InputError(
            f"{name}: {column.header!r} is a vapour pressure without a unit; add it to the title, as in [kPa]."
        )
    moisture = column.values * column.unit.factor / around.sample_bar
    return moisture, column.unit.name, "vapour pressure"


def _from_water_content(column: NumberColumn, around: Surroundings, name: str) -> tuple[Floats, str, str]:
    unit = column.unit.name if column.unit is not None else None
    values = column.values
    match unit:
        case "ppmv":
            return _array(humidity.moisture_from_ppmv_dry(values, beyond="nan")), unit, "volume parts of dry air"
        case "ppmw":
            return _array(humidity.moisture_from_ppmw(values, beyond="nan")), unit, "mass parts of dry air"
        case "g_kg" | "kg_kg":
            ratio = values * (1000.0 if unit == "kg_kg" else 1.0)
            return _array(humidity.moisture_from_mixing_ratio(ratio, beyond="nan")), unit, "mixing ratio with dry air"
        case "g_nm3" | "mg_nm3":
            kelvin, bar = FLOW_STATES["0C_1.01325bar"]
            content = values * (1e-3 if unit == "mg_nm3" else 1.0)
            moisture = humidity.moisture_from_reference_humidity(
                content, reference_temperature_c=kelvin - 273.15, reference_pressure_bar=bar, beyond="nan"
            )
            return _array(moisture), unit, "water per cubic metre at 0 °C and 1.01325 bar"
        case "g_m3" | "mg_m3":
            content = values * (1e-3 if unit == "mg_m3" else 1.0)
            gas = around.gas_temperature_c
            how = "water per cubic metre at the sensor's pressure and the temperature logged beside it"
            if gas is None:
                gas = np.full(values.size, _ASSUMED_GAS_C)
                how = f"water per cubic metre at the sensor's pressure and an assumed {_ASSUMED_GAS_C:g} °C"
            moisture = humidity.moisture_from_absolute_humidity(content, around.sample_bar, gas, beyond="nan")
            return _array(moisture), unit, how
    raise InputError(
        f"{name}: {column.header!r} is a moisture without a unit; add it to the title or to [log] units, as in ppmv,"
        " g/m3 or g/kg."
    )


def _array(values: object) -> Floats:
    return np.asarray(values, dtype=np.float64)
