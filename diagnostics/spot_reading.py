"""What a single humidity reading says of the air: its moisture, whatever the unit and wherever it was taken.

Question: how much water is in the air of this reading? Input: a number, its unit, pressures and what it was reckoned
over. Output: a mole fraction. Method: the definitions of each unit; impossible numbers are refused in a sentence.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from diagnostics.air.humidity import (
    frost_from_supercooled_c,
    moisture_fraction,
    moisture_from_absolute_humidity,
    moisture_from_mixing_ratio,
    moisture_from_ppmv_dry,
    moisture_from_ppmw,
    moisture_from_relative_humidity,
)
from diagnostics.errors import InputError, UsageError

SPOKEN = {
    "degC": "°C",
    "degF": "°F",
    "ppmv": "ppm by volume of dry air",
    "ppmw": "ppm by mass of dry air",
    "g_m3": "g/m³",
    "g_kg": "g/kg of dry air",
    "percent_rh": "% relative humidity",
}
UNITS = tuple(SPOKEN)


@dataclass(frozen=True, slots=True)
class Setting:
    """Pressures [bar abs], gas temperature [degC] and what dew points were reckoned over."""

    line_bar: float
    reading_bar: float
    barometer_bar: float
    gas_c: float
    over: str
    real: bool


def moisture_of(value: float, unit: str, setting: Setting) -> float:
    """Mole fraction of water [-].

    Raises
    ------
    ValueError
        If the physics knows no such air.
    """
    return _MOISTURE[unit](value, setting)


def refuse_words(unit: str, basis: str, over: str) -> None:
    """Refuse words that are not known."""
    for what, word, known in (
        ("unit", unit, UNITS),
        ("basis", basis, ("pressure", "atmospheric")),
        ("phase to reckon over", over, ("ice", "water")),
    ):
        if word not in known:
            raise UsageError(f"{word!r} is no {what}; known are {', '.join(known)}.")


def refuse_numbers(
    value: float,
    pressure_bar_g: float,
    barometer_bar: float,
    gas_temperature_c: float | None,
    limit_c: float | None,
    uncertainty_c: float,
) -> None:
    """Refuse numbers out of range."""
    if not -1e9 <= value <= 1e9:
        raise InputError(f"{value:g} is no reading; give a number.")
    for what, number, low, high, unit in (
        ("The line pressure", pressure_bar_g, 0.0, 60.0, "bar gauge"),
        ("The barometer", barometer_bar, 0.5, 1.1, "bar absolute"),
        ("The gas temperature", gas_temperature_c, -90.0, 200.0, "°C"),
        ("The limit", limit_c, -110.0, 60.0, "°C"),
        ("The uncertainty", uncertainty_c, 0.0, 50.0, "K"),
    ):
        if number is not None and not low <= number <= high:
            raise InputError(f"{what} must lie within {low:g} and {high:g} {unit}, not at {number:g}; check the unit.")


def _from_celsius(value: float, setting: Setting) -> float:
    frost_point = frost_from_supercooled_c(value) if setting.over == "water" else value
    return float(moisture_fraction(frost_point, setting.reading_bar, real=setting.real))


def _from_fahrenheit(value: float, setting: Setting) -> float:
    return _from_celsius((value - 32.0) / 1.8, setting)


def _from_actual_volume(value: float, setting: Setting) -> float:
    return float(moisture_from_absolute_humidity(value, setting.reading_bar, setting.gas_c))


def _from_relative(value: float, setting: Setting) -> float:
    return float(moisture_from_relative_humidity(value, setting.reading_bar, setting.gas_c, real=setting.real))


_MOISTURE: dict[str, Callable[[float, Setting], float]] = {
    "degC": _from_celsius,
    "degF": _from_fahrenheit,
    "ppmv": lambda value, _: float(moisture_from_ppmv_dry(value)),
    "ppmw": lambda value, _: float(moisture_from_ppmw(value)),
    "g_m3": _from_actual_volume,
    "g_kg": lambda value, _: float(moisture_from_mixing_ratio(value)),
    "percent_rh": _from_relative,
}
