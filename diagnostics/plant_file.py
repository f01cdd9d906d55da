"""The plant file's tables and keys: types, units, allowed ranges and what each means.

One set of models makes the validation, the help texts, the browser's form and the JSON Schema.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from diagnostics.quantities import Quantity

Share = Annotated[float, Field(ge=0, le=1, strict=True)]
Positive = Annotated[float, Field(gt=0, strict=True)]
NotNegative = Annotated[float, Field(ge=0, strict=True)]
GaugePressure = Annotated[float, Field(gt=0, le=60, strict=True)]
AirTemperature = Annotated[float, Field(ge=-50, le=120, strict=True)]
DewPoint = Annotated[float, Field(ge=-100, le=60, strict=True)]

Regeneration = Literal["heatless", "heated_purge", "blower_purge", "vacuum_assisted", "heat_of_compression"]


class Table(BaseModel):
    """One table of the plant file; unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=False, allow_inf_nan=False)


class Site(Table):
    """Where the dryer stands and what the air is for."""

    name: str | None = Field(None, description="What the people there call it")
    timezone: str | None = Field(None, description="IANA zone; stamps without an offset are local time there")
    barometric_pressure_bar: float = Field(
        1.01325, strict=True, ge=0.5, le=1.1, description="Air pressure outdoors [bar absolute]"
    )
    air_use: Literal["general", "instrument", "food", "pharma", "medical", "breathing"] = Field(
        "general", description="What the air is used for"
    )


class LogAnswers(Table):
    """Answers where the reader of a log would have to guess."""

    time_format: str | None = Field(None, description="strptime format of the stamps")
    day_first: bool | None = Field(None, description="Whether 03/04 is the third of April")
    decimal: Literal[",", "."] | None = Field(None, description="Decimal mark")
    delimiter: str | None = Field(None, description="Column separator")
    columns: dict[Quantity, str] = Field(default_factory=dict, description="Which column holds which quantity")
    units: dict[Quantity, str] = Field(default_factory=dict, description="Unit of a quantity's numbers")


class Dryer(Table):
    """The dryer's nameplate and settings."""

    regeneration: Regeneration = Field("heatless", description="How the resting tower is regenerated")
    control: Literal["fixed", "dew_point"] = Field("fixed", description="How it is meant to be switched today")
    rated_flow_m3_min: Positive | None = Field(None, description="At 20 °C, 1 bar absolute, dry [m3/min]")
    rated_pressure_bar_g: GaugePressure = Field(7.0, description="Pressure of the rating [bar gauge]")
    rated_inlet_temperature_c: AirTemperature = Field(35.0, description="Inlet temperature of the rating [°C]")
    half_cycle_s: Positive | None = Field(None, description="The timer's setting: one tower's drying time [s]")
    purge_share: Share | None = Field(None, description="Purge as a share of rated flow, at rated pressure")
    purge_share_means: Literal["average", "while_purging"] = Field(
        "average", description="Averaged over the half-cycle, or only while purging"
    )
    purge_s: Positive | None = Field(None, description="Purge (or heating + cooling) within one half-cycle [s]")
    orifice_mm: Positive | None = Field(None, description="Bore of the purge orifice [mm]")
    regenerating_pressure_bar_g: float | None = Field(
        None, strict=True, ge=-1, le=20, description="Pressure in the vessel that is purged [bar gauge]"
    )
    vessel_volume_m3: Positive | None = Field(None, description="Volume of one vessel [m3]")
    desiccant: Literal["activated_alumina", "silica_gel", "molecular_sieve"] = Field(
        "activated_alumina", description="What the beds are filled with"
    )
    desiccant_mass_kg: Positive | None = Field(None, description="Desiccant in one vessel [kg]")
    heater_kw: NotNegative | None = Field(None, description="Heater's electrical power [kW]")
    heater_s: NotNegative | None = Field(None, description="Heating time within one half-cycle [s]")
    heating_ends_by: Literal["time", "exhaust_temperature"] = Field("time", description="What ends the heating")
    blower_kw: NotNegative | None = Field(None, description="Blower's electrical power [kW]")
    blower_s: NotNegative | None = Field(None, description="Blower's time within one half-cycle [s]")
    dew_point_limit_c: DewPoint = Field(-40.0, description="Pressure dew point that the process needs [°C]")
    shortest_half_cycle_s: Positive | None = Field(None, description="Under dew-point-dependent switching [s]")
    longest_half_cycle_s: Positive | None = Field(None, description="Under dew-point-dependent switching [s]")
    pre_filter_drop_bar: NotNegative | None = Field(None, description="Pressure drop of the filter before [bar]")
    dryer_drop_bar: NotNegative | None = Field(None, description="Pressure drop of the dryer [bar]")
    after_filter_drop_bar: NotNegative | None = Field(None, description="Pressure drop of the filter after [bar]")


class Operation(Table):
    """Typical values where the log has no such channel."""

    flow_m3_min: NotNegative | None = Field(None, description="Air entering the dryer, 20 °C, 1 bar, dry [m3/min]")
    inlet_temperature_c: AirTemperature | None = Field(None, description="Air temperature at the dryer's inlet [°C]")
    inlet_dew_point_c: DewPoint | None = Field(None, description="Pressure dew point at the inlet; saturated if absent")
    pressure_bar_g: GaugePressure | None = Field(None, description="Line pressure [bar gauge]")
    ambient_temperature_c: AirTemperature | None = Field(None, description="Around the dryer [°C]")
    pressure_at_use_bar_g: GaugePressure | None = Field(None, description="Where the air is used [bar gauge]")
    lowest_pipe_temperature_c: AirTemperature | None = Field(None, description="Coldest pipe the air meets [°C]")
    hours_per_year: float = Field(8760.0, strict=True, gt=0, le=8784, description="Hours under pressure and cycling")


class ProfileBlock(Table):
    """A block of the year with its typical load."""

    name: str = Field("", description="What the block is called")
    hours: Positive = Field(description="Hours of the year [h]")
    flow_m3_min: NotNegative = Field(description="Air entering the dryer [m3/min]")
    inlet_temperature_c: AirTemperature | None = Field(None, description="At the dryer's inlet [°C]")
    pressure_bar_g: GaugePressure | None = Field(None, description="Line pressure [bar gauge]")


class Measurement(Table):
    """The instrument and how it was set."""

    pressure_bar_g: GaugePressure | None = Field(None, description="Line pressure at the sampling point [bar gauge]")
    basis: Literal["pressure", "atmospheric"] | None = Field(None, description="What the logged dew point refers to")
    over: Literal["ice", "water"] = Field("ice", description="Dew points below 0 °C are over ice or over water")
    conversion: Literal["real", "ideal"] = Field("real", description="How the instrument converted between pressures")
    uncertainty_c: NotNegative | list[tuple[float, NotNegative]] = Field(
        2.0, description="Expanded uncertainty, k = 2 [K], or a table of [dew point, uncertainty]"
    )
    uncertainty_kind: Literal["k2", "limits"] = Field("k2", description="Expanded (k = 2) or limits ± a")
    calibrated_on: dt.date | None = Field(None, description="Date of the last calibration")
    calibration_interval_months: Positive = Field(12.0, description="Calibration interval [months]")
    flow_at: Literal["inlet", "outlet"] = Field("inlet", description="Which side of the dryer the flow meter is on")
    flow_reference: Literal["20C_1bar", "0C_1.01325bar", "15C_1.01325bar", "actual"] = Field(
        "20C_1bar", description="State the flow meter's volume refers to"
    )


class Compressor(Table):
    """One compressor."""

    specific_power_kw_per_m3_min: Positive | None = Field(None, description="At full load [kW per m3/min]")
    control: Literal["load_unload", "inlet_modulation", "variable_speed", "start_stop"] | None = Field(
        None, description="How it follows the demand"
    )
    unloaded_power_share: Share | None = Field(None, description="Power when unloaded, as a share of full load")
    rated_flow_m3_min: Positive | None = Field(None, description="Free air delivered at full load [m3/min]")
    role: Literal["base", "trim"] | None = Field(None, description="Runs full, or follows the demand")
    loaded_hours_per_year: float | None = Field(
        None, strict=True, gt=0, le=8784, description="Hours a year in which it delivers"
    )
    running_hours_per_year: float | None = Field(
        None, strict=True, gt=0, le=8784, description="Hours a year in which its motor turns, unloaded ones included"
    )


class Tariff(Table):
    """An electricity price for a part of the week; ``from`` after ``to`` runs over midnight."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, allow_inf_nan=False)
    price_per_kwh: NotNegative = Field(description="Price [currency/kWh]")
    start: dt.time = Field(dt.time(0, 0), alias="from", description="Local time it starts")
    end: dt.time = Field(dt.time(0, 0), alias="to", description="Local time it ends")
    weekdays: tuple[Annotated[int, Field(ge=1, le=7)], ...] | None = Field(None, description="1 = Monday … 7 = Sunday")


class Economics(Table):
    """Prices and the investment."""

    currency: str = Field("", description="Currency's code, for display only")
    electricity_price_per_kwh: NotNegative | None = Field(None, description="Price [currency/kWh]")
    tariff: tuple[Tariff, ...] = Field((), description="Prices by time of the week")
    demand_charge_per_kw_year: NotNegative = Field(0.0, description="Charge on peak power [currency/kW a]")
    price_escalation_share: float = Field(0.0, strict=True, ge=-0.2, le=0.5, description="Yearly rise of the price")
    co2_kg_per_kwh: NotNegative | None = Field(None, description="Emission factor [kg/kWh]")
    retrofit_cost: NotNegative | None = Field(None, description="Cost of the dew point control, installed")
    rebate: NotNegative = Field(0.0, description="Grant or rebate")
    upkeep_per_year: NotNegative = Field(0.0, description="Calibration and service of the control per year")
    discount_rate: float = Field(0.07, strict=True, gt=-1, le=1, description="Yearly discount rate")
    life_years: int = Field(10, ge=1, le=50, description="Years the case is reckoned over")


class PlantFile(Table):
    """The plant file as the user wrote it."""

    site: Site = Site()
    log: LogAnswers = LogAnswers()
    dryer: Dryer = Dryer()
    operation: Operation = Operation()
    profile: tuple[ProfileBlock, ...] = ()
    measurement: Measurement = Measurement()
    compressor: Compressor | None = None
    compressors: tuple[Compressor, ...] = ()
    economics: Economics = Economics()
