"""Water content in the units people quote: parts per million, grams per kilogram or cubic metre, relative humidity.

Question: what does a mole fraction x of water in the moist air read in another unit? Input and output: x [mol/mol]
and the unit named by the function. Method: the definitions; the gas itself is taken as ideal where a volume enters (at
8 bar absolute and room temperature real air is 0.2 % denser than that).

References
----------
.. [WMO] Guide to Instruments and Methods of Observation (WMO-No. 8), annex 4.B: relative humidity is over liquid water
   at all temperatures and refers to saturated moist air at the same pressure and temperature.
.. [ISO1] ISO 8573-1 and ISO 1217: reference state of compressed air 20 degC, 1 bar absolute, dry.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from diagnostics.air.curves import (
    HIGHEST_C,
    TRIPLE_C,
    ZERO_C_K,
    Beyond,
    Floats,
    by_phase,
    over_chunks,
    supercooled_curve,
    water_curve,
    within,
)
from diagnostics.air.mixing import HIGHEST_BAR, LOWEST_BAR, water_enhancement

WATER_G_MOL = 18.015268
AIR_G_MOL = 28.96546
MOLAR_GAS_J_MOL_K = 8.314462618
MASS_RATIO = WATER_G_MOL / AIR_G_MOL
WATER_GAS_J_KG_K = 1000.0 * MOLAR_GAS_J_MOL_K / WATER_G_MOL
REFERENCE_C = 20.0
REFERENCE_BAR = 1.0
LOWEST_GAS_C = -90.0


def _share(moisture: Any, beyond: Beyond) -> Floats:
    return within(moisture, 0.0, np.nextafter(1.0, 0.0), "mole fraction of water", "mol/mol", beyond)


def _plain(values: Any) -> Any:
    array = np.asarray(values)
    return array if array.ndim else float(array)


def _kelvin(gas_temperature_c: Any, beyond: Beyond) -> Floats:
    return within(gas_temperature_c, LOWEST_GAS_C, HIGHEST_C, "gas temperature", "degC", beyond) + ZERO_C_K


def _pascal(pressure_bar: Any, beyond: Beyond) -> Floats:
    return 1e5 * within(pressure_bar, LOWEST_BAR, HIGHEST_BAR, "pressure", "bar abs", beyond)


def _positive(values: Any, what: str, unit: str, beyond: Beyond) -> Floats:
    return within(values, 0.0, np.inf, what, unit, beyond)


def ppmv_moist(moisture: Any, *, beyond: Beyond = "raise") -> Any:
    """Volume of vapour per volume of moist air [ppm] from the mole fraction [mol/mol]: 1e6 x."""
    return _plain(1e6 * _share(moisture, beyond))


def moisture_from_ppmv_moist(ppm: Any, *, beyond: Beyond = "raise") -> Any:
    """Mole fraction [mol/mol] from the volume of vapour per volume of moist air [ppm]; below 1e6."""
    return _plain(_share(np.asarray(ppm, dtype=np.float64) / 1e6, beyond))


def ppmv_dry(moisture: Any, *, beyond: Beyond = "raise") -> Any:
    """Volume of vapour per volume of dry air [ppm] from the mole fraction [mol/mol]: 1e6 x / (1 - x)."""
    x = _share(moisture, beyond)
    return _plain(1e6 * x / (1.0 - x))


def moisture_from_ppmv_dry(ppm: Any, *, beyond: Beyond = "raise") -> Any:
    """Mole fraction [mol/mol] from the volume of vapour per volume of dry air [ppm]: r / (1 + r), r = ppm/1e6."""
    ratio = _positive(ppm, "water content", "ppmv", beyond) / 1e6
    return _plain(ratio / (1.0 + ratio))


def ppmw(moisture: Any, *, beyond: Beyond = "raise") -> Any:
    """Mass of vapour per mass of dry air [ppm] from the mole fraction [mol/mol]: 1e6 (Mw/Ma) x / (1 - x)."""
    return _plain(MASS_RATIO * np.asarray(ppmv_dry(moisture, beyond=beyond)))


def moisture_from_ppmw(ppm: Any, *, beyond: Beyond = "raise") -> Any:
    """Mole fraction [mol/mol] from the mass of vapour per mass of dry air [ppm]."""
    return moisture_from_ppmv_dry(_positive(ppm, "water content", "ppmw", beyond) / MASS_RATIO, beyond=beyond)


def mixing_ratio_g_kg(moisture: Any, *, beyond: Beyond = "raise") -> Any:
    """Mass of vapour per mass of dry air [g/kg] from the mole fraction [mol/mol]."""
    return _plain(np.asarray(ppmw(moisture, beyond=beyond)) / 1000.0)


def moisture_from_mixing_ratio(g_kg: Any, *, beyond: Beyond = "raise") -> Any:
    """Mole fraction [mol/mol] from the mass of vapour per mass of dry air [g/kg]."""
    return moisture_from_ppmw(1000.0 * _positive(g_kg, "mixing ratio", "g/kg", beyond), beyond=beyond)


def absolute_humidity_g_m3(
    moisture: Any,
    pressure_bar: Any,
    gas_temperature_c: Any,
    *,
    compressibility: float = 1.0,
    beyond: Beyond = "raise",
) -> Any:
    """Mass of vapour in a cubic metre as it is: x P / (Z Rw T).

    Parameters
    ----------
    moisture : float or array_like
        Mole fraction of water [mol/mol].
    pressure_bar : float or array_like
        Total pressure [bar abs], 0.3 to 65.
    gas_temperature_c : float or array_like
        Temperature of the gas, not the dew point [degC], -90 to 200.
    compressibility : float
        Z of the moist air [-]; 1 takes it as an ideal gas.
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        [g/m3] at this pressure and temperature.

    Raises
    ------
    ValueError
        If a value lies outside its range and `beyond` is "raise".
    """
    partial_pa = _share(moisture, beyond) * _pascal(pressure_bar, beyond)
    return _plain(1000.0 * partial_pa / (compressibility * WATER_GAS_J_KG_K * _kelvin(gas_temperature_c, beyond)))


def moisture_from_absolute_humidity(
    g_m3: Any, pressure_bar: Any, gas_temperature_c: Any, *, beyond: Beyond = "raise"
) -> Any:
    """Mole fraction [mol/mol] from the vapour in a cubic metre as it is [g/m3]; pressure [bar abs], gas [degC]."""
    content = _positive(g_m3, "absolute humidity", "g/m3", beyond)
    partial_pa = content / 1000.0 * WATER_GAS_J_KG_K * _kelvin(gas_temperature_c, beyond)
    return _plain(_share(partial_pa / _pascal(pressure_bar, beyond), beyond))


def reference_humidity_g_m3(
    moisture: Any,
    *,
    reference_temperature_c: float = REFERENCE_C,
    reference_pressure_bar: float = REFERENCE_BAR,
    beyond: Beyond = "raise",
) -> Any:
    """Mass of vapour carried by a cubic metre of dry air at the reference state [g/m3], by default [ISO1]_.

    x / (1 - x) P_ref / (Rw T_ref): the volume is that of the dry air alone, so the figure stays when air is compressed,
    cooled or dried around it.
    """
    ratio = np.asarray(ppmv_dry(moisture, beyond=beyond)) / 1e6
    per_m3 = 1000.0 * reference_pressure_bar * 1e5 / (WATER_GAS_J_KG_K * (reference_temperature_c + ZERO_C_K))
    return _plain(ratio * per_m3)


def moisture_from_reference_humidity(
    g_m3: Any,
    *,
    reference_temperature_c: float = REFERENCE_C,
    reference_pressure_bar: float = REFERENCE_BAR,
    beyond: Beyond = "raise",
) -> Any:
    """Mole fraction [mol/mol] from the mass of vapour per cubic metre of dry air at the reference state [g/m3]."""
    per_m3 = 1000.0 * reference_pressure_bar * 1e5 / (WATER_GAS_J_KG_K * (reference_temperature_c + ZERO_C_K))
    content = _positive(g_m3, "water content", "g/m3", beyond)
    return moisture_from_ppmv_dry(1e6 * content / per_m3, beyond=beyond)


def _saturated_over_water(pressure_bar: Any, gas_temperature_c: Any, real: bool, beyond: Beyond) -> Floats:
    """Mole fraction of air saturated over liquid water, supercooled below 0.01 degC; above one where water boils."""

    def fraction(t: Floats, bar: Floats) -> Floats:
        t_k = t + ZERO_C_K
        log_e = by_phase(
            t,
            t < TRIPLE_C,
            lambda part: supercooled_curve(t_k[part])[0],
            lambda part: water_curve(t_k[part])[0],
        )
        e = np.exp(log_e)
        return (water_enhancement(t, bar * 1e5, e) if real else 1.0) * e / (bar * 1e5)

    t = within(gas_temperature_c, LOWEST_GAS_C, HIGHEST_C, "gas temperature", "degC", beyond)
    bar = within(pressure_bar, LOWEST_BAR, HIGHEST_BAR, "pressure", "bar abs", beyond)
    t, bar = np.broadcast_arrays(t, bar)
    return np.asarray(over_chunks(fraction, t, bar))


def relative_humidity_percent(
    moisture: Any, pressure_bar: Any, gas_temperature_c: Any, *, real: bool = True, beyond: Beyond = "raise"
) -> Any:
    """Relative humidity over liquid water: the moisture against that of saturated air, same pressure and temperature.

    Parameters
    ----------
    moisture : float or array_like
        Mole fraction of water [mol/mol].
    pressure_bar : float or array_like
        Total pressure [bar abs], 0.3 to 65.
    gas_temperature_c : float or array_like
        Temperature of the gas [degC], -90 to 200; below 0.01 degC still over (supercooled) water, [WMO]_.
    real : bool
        False sets the enhancement factor to one; it nearly cancels as both terms have it.
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        [%]; above 100 where the moisture could not stay vapour.

    Raises
    ------
    ValueError
        If a value lies outside its range and `beyond` is "raise".
    """
    return _plain(
        100.0 * _share(moisture, beyond) / _saturated_over_water(pressure_bar, gas_temperature_c, real, beyond)
    )


def moisture_from_relative_humidity(
    percent: Any, pressure_bar: Any, gas_temperature_c: Any, *, real: bool = True, beyond: Beyond = "raise"
) -> Any:
    """Mole fraction [mol/mol] from the relative humidity over liquid water [%]; pressure [bar abs], gas [degC]."""
    rh = within(percent, 0.0, 100.0, "relative humidity", "%", beyond)
    return _plain(_share(rh / 100.0 * _saturated_over_water(pressure_bar, gas_temperature_c, real, beyond), beyond))
