"""Humidity of compressed air: the one door to saturation, mixing and the units people quote.

Question: how wet is the air, in whatever quantity someone asks? Everything goes through the mole fraction x of water in
the moist air; compression, expansion and heating leave x alone.

* `saturation`: vapour pressure of ice, water and supercooled water, and its inverse.
* `mixing`: enhancement factor, dew point and moisture at a line pressure, pressure and atmospheric dew point.
* `quantities`: ppm, g/kg, g/m3, relative humidity, and back.

One rule for all: floats give a float, arrays an array; NaN stays NaN without a warning; a value outside the stated
range raises ValueError naming value, unit and range, or with ``beyond="nan"``, meant for logs, becomes NaN. A dew point
below 0.01 degC is a frost point, over ice; dew points over supercooled water are turned into one first, by
`frost_from_supercooled_c`.
"""

from __future__ import annotations

from diagnostics.air.mixing import change_pressure, dew_point_c, enhancement_factor, moisture_fraction
from diagnostics.air.quantities import (
    absolute_humidity_g_m3,
    mixing_ratio_g_kg,
    moisture_from_absolute_humidity,
    moisture_from_mixing_ratio,
    moisture_from_ppmv_dry,
    moisture_from_ppmv_moist,
    moisture_from_ppmw,
    moisture_from_reference_humidity,
    moisture_from_relative_humidity,
    ppmv_dry,
    ppmv_moist,
    ppmw,
    reference_humidity_g_m3,
    relative_humidity_percent,
)
from diagnostics.air.saturation import (
    frost_from_supercooled_c,
    frost_point_c,
    saturation_pressure_pa,
    supercooled_from_frost_c,
    vapour_pressure_ice_pa,
    vapour_pressure_supercooled_pa,
    vapour_pressure_water_pa,
)

__all__ = [
    "absolute_humidity_g_m3",
    "change_pressure",
    "dew_point_c",
    "enhancement_factor",
    "frost_from_supercooled_c",
    "frost_point_c",
    "mixing_ratio_g_kg",
    "moisture_fraction",
    "moisture_from_absolute_humidity",
    "moisture_from_mixing_ratio",
    "moisture_from_ppmv_dry",
    "moisture_from_ppmv_moist",
    "moisture_from_ppmw",
    "moisture_from_reference_humidity",
    "moisture_from_relative_humidity",
    "ppmv_dry",
    "ppmv_moist",
    "ppmw",
    "reference_humidity_g_m3",
    "relative_humidity_percent",
    "saturation_pressure_pa",
    "supercooled_from_frost_c",
    "vapour_pressure_ice_pa",
    "vapour_pressure_supercooled_pa",
    "vapour_pressure_water_pa",
]
