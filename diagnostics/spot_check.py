"""One humidity reading into every other quantity, and against a limit.

Question: what does this single value mean at the line, in any unit, and does it keep the limit? Input: a number, its
unit and the pressure. Output: `SpotCheck`. Method: the value becomes a mole fraction of water, everything else follows
from that.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field
from typing import Any

from diagnostics.air.conformity import conformity, probability_of_conformity, purity_class
from diagnostics.air.humidity import (
    absolute_humidity_g_m3,
    dew_point_c,
    enhancement_factor,
    mixing_ratio_g_kg,
    moisture_fraction,
    ppmv_dry,
    ppmv_moist,
    ppmw,
    reference_humidity_g_m3,
    relative_humidity_percent,
    supercooled_from_frost_c,
)
from diagnostics.air.record import Conformity
from diagnostics.errors import InputError
from diagnostics.spot_reading import SPOKEN, UNITS, Setting, moisture_of, refuse_numbers, refuse_words

USUAL_GAS_C = 20.0
LOWEST_OVER_WATER_C = -100.0
LONGEST_TABLE = 2000

__all__ = ["UNITS", "SpotCheck", "spot_check", "spot_table"]


@dataclass(frozen=True, slots=True)
class SpotCheck:
    """One reading in all quantities, at line pressure unless a name says otherwise.

    Attributes
    ----------
    pressure_dew_point_c, atmospheric_dew_point_c : float
        Frost points below 0 degC [degC]; the same air at the line and at the barometer's pressure.
    dew_point_over_water_c : float or None
        Pressure dew point as an instrument shows it that reckons over water [degC]; None below -100 degC.
    vapour_pressure_pa : float
        Actual partial pressure at the line, enhancement factor included [Pa].
    ppmv, ppmv_moist, ppmw : float
        By volume of dry air, of moist air, by mass of dry air [ppm].
    mixing_ratio_g_kg : float
        Per mass of dry air [g/kg].
    absolute_humidity_g_m3 : float
        In a cubic metre at line pressure and gas temperature [g/m3].
    reference_humidity_g_m3 : float
        Carried by a cubic metre of dry air at 20 degC and 1 bar [g/m3].
    relative_humidity_percent : float
        Over water at line pressure and gas temperature [%]; above 100 water condenses.
    enhancement_factor : float
        At the pressure dew point [-]; 1 for ideal gas.
    purity_class : int or None
        Water class; None above +10 degC.
    conformity, probability_of_conformity
        None without a limit.
    gas_temperature_c : float
        Temperature that the volume and the relative humidity refer to [degC].
    uncertainty_c : float
        Expanded uncertainty of the pressure dew point, k = 2 [K].
    intervals : dict of str to (float, float)
        For each quantity, what it is at the pressure dew point less and plus its uncertainty; pressures and gas
        temperature count as exact. Empty without an uncertainty, or where its span leaves the humidity's range.
    notes : tuple of str
    """

    value: float
    unit: str
    pressure_dew_point_c: float
    atmospheric_dew_point_c: float
    dew_point_over_water_c: float | None
    vapour_pressure_pa: float
    ppmv: float
    ppmv_moist: float
    ppmw: float
    mixing_ratio_g_kg: float
    absolute_humidity_g_m3: float
    reference_humidity_g_m3: float
    relative_humidity_percent: float
    enhancement_factor: float
    purity_class: int | None
    conformity: Conformity | None
    probability_of_conformity: float | None
    gas_temperature_c: float
    limit_c: float | None = None
    uncertainty_c: float = 0.0
    intervals: dict[str, tuple[float, float]] = field(default_factory=dict, hash=False)
    notes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The published keys, in their order, and the quantities' intervals; the last two only with a limit."""
        values = {name: getattr(self, name) for name in _KEYS}
        values["uncertainty_c"] = self.uncertainty_c
        values["intervals"] = {key: {"low": low, "high": high} for key, (low, high) in self.intervals.items()}
        if self.limit_c is not None:
            values |= {name: getattr(self, name) for name in ("conformity", "probability_of_conformity")}
        return values


_KEYS = tuple(item.name for item in dataclasses.fields(SpotCheck))[2:-7]
_SPREAD = _KEYS[: _KEYS.index("enhancement_factor")]


def spot_check(
    value: float,
    unit: str,
    pressure_bar_g: float,
    *,
    basis: str = "pressure",
    barometer_bar: float = 1.01325,
    gas_temperature_c: float | None = None,
    over: str = "ice",
    ideal: bool = False,
    limit_c: float | None = None,
    uncertainty_c: float = 2.0,
) -> SpotCheck:
    """Turn one reading into every quantity.

    Parameters
    ----------
    value : float
        The reading.
    unit : {"degC", "degF", "ppmv", "ppmw", "g_m3", "g_kg", "percent_rh"}
        Dew points, ppm of dry air by volume or mass, g per actual m3, g per kg of dry air, relative humidity over
        water.
    pressure_bar_g : float
        Line pressure [bar gauge], 0 to 60, whatever the basis.
    basis : {"pressure", "atmospheric"}
        Where dew point, g/m3 and relative humidity were taken: at the line or at the barometer's pressure.
    barometer_bar : float
        Air pressure [bar abs], 0.5 to 1.1.
    gas_temperature_c : float, optional
        Temperature of the gas [degC]; needed to read a relative humidity, 20 degC otherwise.
    over : {"ice", "water"}
        What a dew point below 0 degC was reckoned over.
    ideal : bool
        Leave the enhancement factor out, as the trade's tables do.
    limit_c : float, optional
        Highest permitted pressure dew point [degC].
    uncertainty_c : float
        Expanded uncertainty of the pressure dew point, k = 2 [K].

    Returns
    -------
    SpotCheck

    Raises
    ------
    UsageError
        If unit, basis or over is unknown.
    InputError
        If a number is impossible; the sentence says which and what would mend it.
    """
    refuse_words(unit, basis, over)
    refuse_numbers(value, pressure_bar_g, barometer_bar, gas_temperature_c, limit_c, uncertainty_c)
    if unit == "percent_rh" and gas_temperature_c is None:
        raise InputError("A relative humidity means nothing without the gas temperature; add it (--gas-temperature-c).")
    if unit not in ("degC", "degF") and value <= 0.0:
        raise InputError(f"Air with {value:g} {SPOKEN[unit]} has no dew point; give a value above zero.")
    line_bar = pressure_bar_g + barometer_bar
    setting = Setting(
        line_bar=line_bar,
        reading_bar=line_bar if basis == "pressure" else barometer_bar,
        barometer_bar=barometer_bar,
        gas_c=USUAL_GAS_C if gas_temperature_c is None else gas_temperature_c,
        over=over,
        real=not ideal,
    )
    try:
        moisture = moisture_of(value, unit, setting)
        pressure_dew_point = _unrounded(dew_point_c(moisture, line_bar, real=setting.real))
        atmospheric_dew_point = _unrounded(dew_point_c(moisture, barometer_bar, real=setting.real))
    except ValueError as error:
        raise InputError(
            f"{value:g} {SPOKEN[unit]} at {setting.reading_bar:g} bar absolute cannot be: {error};"
            " check value, unit and pressure."
        ) from None
    described = _described(
        value, unit, moisture, pressure_dew_point, atmospheric_dew_point, setting, limit_c, uncertainty_c
    )
    return dataclasses.replace(described, intervals=_intervals(described, setting))


def spot_table(
    value: float,
    to: float,
    step: float,
    unit: str,
    pressure_bar_g: float,
    *,
    basis: str = "pressure",
    barometer_bar: float = 1.01325,
    gas_temperature_c: float | None = None,
    over: str = "ice",
    ideal: bool = False,
    limit_c: float | None = None,
    uncertainty_c: float = 2.0,
) -> tuple[SpotCheck, ...]:
    """Turn a range of readings, both ends included where the step meets them; see `spot_check`.

    Parameters
    ----------
    value, to, step : float
        First, last and distance; the sign of the distance follows from the ends.

    Returns
    -------
    tuple of SpotCheck

    Raises
    ------
    UsageError
        As `spot_check`.
    InputError
        As `spot_check`, and for a step of zero or a table of more than 2000 rows.
    """
    if not (math.isfinite(to) and math.isfinite(step)) or step == 0.0:
        raise InputError("A table needs a last value and a step other than zero; add them (--to, --step).")
    rows = math.floor(abs(to - value) / abs(step) + 1e-9) + 1
    if rows > LONGEST_TABLE:
        raise InputError(f"A step of {step:g} makes {rows} rows, at most {LONGEST_TABLE} are made; take a wider step.")
    stride = math.copysign(step, to - value)
    return tuple(
        spot_check(
            round(value + number * stride, 10),
            unit,
            pressure_bar_g,
            basis=basis,
            barometer_bar=barometer_bar,
            gas_temperature_c=gas_temperature_c,
            over=over,
            ideal=ideal,
            limit_c=limit_c,
            uncertainty_c=uncertainty_c,
        )
        for number in range(rows)
    )


def _unrounded(dew_point: float) -> float:
    """Dew point without the rounding of the way there and back, so that one typed as the limit stays there."""
    return round(dew_point, 9)


def _described(
    value: float,
    unit: str,
    moisture: float,
    pressure_dew_point: float,
    atmospheric_dew_point: float,
    setting: Setting,
    limit_c: float | None,
    uncertainty_c: float,
) -> SpotCheck:
    line_bar, gas_c = setting.line_bar, setting.gas_c
    relative = relative_humidity_percent(moisture, line_bar, gas_c, real=setting.real)
    over_water = supercooled_from_frost_c(pressure_dew_point) if pressure_dew_point >= LOWEST_OVER_WATER_C else None
    verdict, probability = None, None
    if limit_c is not None:
        verdict = conformity(pressure_dew_point, limit_c, uncertainty_c)
        probability = probability_of_conformity(pressure_dew_point, limit_c, uncertainty_c / 2.0)
    return SpotCheck(
        value=value,
        unit=unit,
        pressure_dew_point_c=pressure_dew_point,
        atmospheric_dew_point_c=atmospheric_dew_point,
        dew_point_over_water_c=over_water,
        vapour_pressure_pa=moisture * line_bar * 1e5,
        ppmv=ppmv_dry(moisture),
        ppmv_moist=ppmv_moist(moisture),
        ppmw=ppmw(moisture),
        mixing_ratio_g_kg=mixing_ratio_g_kg(moisture),
        absolute_humidity_g_m3=absolute_humidity_g_m3(moisture, line_bar, gas_c),
        reference_humidity_g_m3=reference_humidity_g_m3(moisture),
        relative_humidity_percent=relative,
        enhancement_factor=enhancement_factor(pressure_dew_point, line_bar) if setting.real else 1.0,
        purity_class=purity_class(pressure_dew_point),
        conformity=verdict,
        probability_of_conformity=probability,
        gas_temperature_c=gas_c,
        limit_c=limit_c,
        uncertainty_c=uncertainty_c,
        notes=_notes(unit, pressure_dew_point, relative, setting, uncertainty_c),
    )


def _intervals(check: SpotCheck, setting: Setting) -> dict[str, tuple[float, float]]:
    """Each quantity at both ends of the pressure dew point's uncertainty: all of them rise with it."""
    if not check.uncertainty_c > 0.0:
        return {}
    ends = []
    for level in (
        check.pressure_dew_point_c - check.uncertainty_c,
        check.pressure_dew_point_c + check.uncertainty_c,
    ):
        try:
            moisture = float(moisture_fraction(level, setting.line_bar, real=setting.real))
            at_barometer = float(dew_point_c(moisture, setting.barometer_bar, real=setting.real))
            ends.append(_described(check.value, check.unit, moisture, level, at_barometer, setting, None, 0.0))
        except ValueError:
            return {}
    spans = {name: (getattr(ends[0], name), getattr(ends[1], name)) for name in _SPREAD}
    return {name: (low, high) for name, (low, high) in spans.items() if low is not None and high is not None}


def _notes(
    unit: str, pressure_dew_point: float, relative: float, setting: Setting, uncertainty_c: float
) -> tuple[str, ...]:
    notes = []
    if uncertainty_c > 0.0:
        notes.append(
            f"In brackets: 95 %, from the instrument's ± {uncertainty_c:g} K (k = 2) alone; pressures and gas"
            " temperature count as exact."
        )
    if relative > 100.0:
        notes.append(
            f"At a gas temperature of {setting.gas_c:g} °C this air would give off water: the pressure dew point of"
            f" {pressure_dew_point:.1f} °C lies above it."
        )
    if pressure_dew_point < 0.0:
        notes.append("Dew points below 0 °C are frost points, over ice, unless they say over water.")
    if unit in ("ppmv", "ppmw", "g_kg") and setting.reading_bar != setting.line_bar:
        notes.append("A share of the air is the same at any pressure; the basis makes no difference to it.")
    return tuple(notes)
