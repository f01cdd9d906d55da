"""Chosen columns in house units.

Question: what are the channels in degC, bar gauge, m3/min, kW? Input: an `Assignment` and the plant. Output:
`Channels`. Units come from the file; where a column names none, from its neighbours or its own numbers, and a note
says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.columns import Assignment, NumberColumn
from diagnostics.log.faults import without_impossible
from diagnostics.log.moisture import Surroundings, dew_point_from
from diagnostics.log.record import Column, Floats
from diagnostics.log.time_words import plain
from diagnostics.log.titles import ATMOSPHERIC, PRESSURISED, RELATIVE_HUMIDITY, VAPOUR_PRESSURE, WATER_CONTENT
from diagnostics.log.unit_guess import guess_pressure_unit, guess_temperature_units
from diagnostics.log.units import (
    FLOW,
    FLOW_STATES,
    POWER,
    PRESSURE,
    TEMPERATURE,
    Unit,
    flow_m3_min,
    pressure_bar_g,
    temperature_c,
)
from diagnostics.plant import Plant

_TEMPERATURES = ("temperature", "inlet_temperature", "ambient_temperature")
_VENTED_BAR_G = 0.5


@dataclass(frozen=True)
class Channels:
    """Channels in house units.

    Attributes
    ----------
    values : mapping of str to ndarray, shape (n,)
    columns : mapping of str to Column
    moisture_unit : str
    moisture_basis : str
        ``as_logged`` or ``line``, see `record.Log`.
    titled_basis : str or None
        ``pressure`` or ``atmospheric`` where the dew point's title says so.
    impossible : int
        Readings no such quantity can have, set to missing.
    notes : tuple of str
    """

    values: Mapping[str, Floats]
    columns: Mapping[str, Column]
    moisture_unit: str = "degC"
    moisture_basis: Literal["as_logged", "line"] = "as_logged"
    titled_basis: Literal["pressure", "atmospheric"] | None = None
    impossible: int = 0
    notes: tuple[str, ...] = field(default=())


def to_channels(assignment: Assignment, plant: Plant, name: str, *, moisture_required: bool = True) -> Channels:
    """Convert the chosen columns.

    Parameters
    ----------
    assignment : Assignment
    plant : Plant
        Barometer, line pressure, flow reference, basis.
    name : str
        File name for messages.
    moisture_required : bool

    Raises
    ------
    InputError
        If no column holds moisture, or a unit does not fit its quantity.
    """
    notes: list[str] = []
    chosen = guess_temperature_units(assignment.chosen, notes)
    values: dict[str, Floats] = {}
    columns: dict[str, Column] = {}
    _pressure(chosen, values, columns, plant, notes, name)
    for quantity in ("dew_point", *_TEMPERATURES):
        column = chosen.get(quantity)
        if column is None:
            continue
        unit = _of_kind(column, TEMPERATURE, "degC", quantity, name)
        values[quantity] = temperature_c(column.values, unit.name)
        columns[quantity] = Column(column.header, unit.name)
    _flows(chosen, values, columns, plant, notes, name)
    if "power" in chosen:
        column = chosen["power"]
        unit = _of_kind(column, POWER, "kW", "power", name)
        values["power"] = column.values * unit.factor
        columns["power"] = Column(column.header, unit.name)
    if "tower" in chosen:
        values["tower"] = chosen["tower"].values
        columns["tower"] = Column(chosen["tower"].header, "")
    made = Channels(values, columns)
    if "dew_point" not in values:
        made = _from_other_moisture(assignment, chosen, made, plant, notes, name, moisture_required)
    elif any(kind in chosen for kind in (RELATIVE_HUMIDITY, WATER_CONTENT, VAPOUR_PRESSURE)):
        others = [c.header for q, c in chosen.items() if q in (RELATIVE_HUMIDITY, WATER_CONTENT, VAPOUR_PRESSURE)]
        notes.append(
            f"The dew point was taken from {columns['dew_point'].header!r}, not from {', '.join(map(repr, others))}."
        )
    return _within_bounds(_with_titled_basis(made, plant, notes), notes)


def _of_kind(column: NumberColumn, kind: str, usual: str, quantity: str, name: str) -> Unit:
    if column.unit is None:
        return Unit(usual, kind, 1.0)
    if column.unit.kind != kind:
        raise InputError(
            f"{name}: column {column.header!r} is in {column.unit.name}, which is no unit of"
            f" {quantity.replace('_', ' ')}; name another column with --column or its unit in [log] units."
        )
    return column.unit


def _pressure(
    chosen: Mapping[str, NumberColumn],
    values: dict[str, Floats],
    columns: dict[str, Column],
    plant: Plant,
    notes: list[str],
    name: str,
) -> None:
    column = chosen.get("pressure")
    if column is None:
        return
    unit = column.unit
    if unit is None:
        unit = guess_pressure_unit(column, notes)
        if unit is None:
            return
    unit = _of_kind(replace(column, unit=unit), PRESSURE, "bar_g", "pressure", name)
    barometer = plant.site.barometric_pressure_bar
    # A pressure of about one bar whose unit is meteorology's is the air outdoors, absolute.
    if not unit.reference and unit.name in ("hPa", "mbar", "kPa") and 0.5 < _median(column.values) * unit.factor < 1.1:
        unit = replace(unit, name=f"{unit.name}_a", reference="absolute")
        notes.append(f"{column.header!r} was taken as absolute pressure: it reads the air outdoors.")
    elif not unit.reference:
        notes.append(f"{column.header!r} names neither gauge nor absolute; it was taken as gauge pressure.")
    values["pressure"] = pressure_bar_g(column.values, unit, barometer)
    columns["pressure"] = Column(column.header, unit.name)


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else np.nan


def _flows(
    chosen: Mapping[str, NumberColumn],
    values: dict[str, Floats],
    columns: dict[str, Column],
    plant: Plant,
    notes: list[str],
    name: str,
) -> None:
    for quantity in ("flow", "purge_flow"):
        column = chosen.get(quantity)
        if column is None:
            continue
        unit = _of_kind(column, FLOW, "m3/min", quantity, name)
        if column.unit is None:
            notes.append(f"{column.header!r} names no unit; it was taken as m³/min.")
        state: str = plant.measurement.flow_reference
        if unit.reference not in ("", "mass") and not plant.is_given("measurement.flow_reference"):
            state = unit.reference
        surroundings = _flowing_air(values, plant) if state == "actual" else (None, None)
        values[quantity] = flow_m3_min(
            column.values, unit, state, pressure_bar=surroundings[0], temperature_c=surroundings[1]
        )
        columns[quantity] = Column(column.header, unit.name)
        if state == "actual":
            notes.append(
                f"{column.header!r} counts actual volume; pressure and temperature brought it to 20 °C and 1 bar."
            )
        elif state != "20C_1bar" and unit.reference != "mass":
            kelvin, bar = FLOW_STATES[state]
            notes.append(
                f"{column.header!r} refers to {kelvin - 273.15:g} °C and {bar:g} bar; it was brought to 20 °C, 1 bar."
            )
        if plant.measurement.flow_at == "outlet" and quantity == "flow":
            notes.append("The flow was measured at the dryer's outlet; the purge is not in it.")


def _flowing_air(values: Mapping[str, Floats], plant: Plant) -> tuple[Floats | float, Floats | float]:
    """Pressure [bar abs] and temperature [degC] of the metered air: logged, else the plant file's."""
    barometer = plant.site.barometric_pressure_bar
    gauge = values.get("pressure")
    typical = plant.line_pressure_bar
    pressure = typical if gauge is None else np.where(np.isfinite(gauge), gauge + barometer, typical)
    for quantity in ("inlet_temperature", "temperature"):
        if quantity in values:
            return pressure, values[quantity]
    inlet = plant.operation.inlet_temperature_c
    return pressure, 20.0 if inlet is None else inlet


def _from_other_moisture(
    assignment: Assignment,
    chosen: Mapping[str, NumberColumn],
    made: Channels,
    plant: Plant,
    notes: list[str],
    name: str,
    required: bool,
) -> Channels:
    gas = made.values.get("temperature")
    order = [WATER_CONTENT, RELATIVE_HUMIDITY, VAPOUR_PRESSURE]
    content = chosen.get(WATER_CONTENT)
    if content is not None and content.unit is None:
        order = [RELATIVE_HUMIDITY, VAPOUR_PRESSURE, WATER_CONTENT]
    found = [kind for kind in order if kind in chosen]
    if found and found[0] == RELATIVE_HUMIDITY and gas is None and len(found) > 1:
        found = found[1:] + found[:1]
    if not found:
        if not required:
            return made
        seen = [c.header for c in (*assignment.chosen.values(), *assignment.rest.values())]
        shown = ", ".join(map(repr, seen[:12])) or "no column of numbers"
        raise InputError(
            f"{name} holds no dew point and no other moisture that its titles name (found {shown}); name the column"
            " with --column dew_point=HEADER."
        )
    kind = found[0]
    size = chosen[kind].values.size
    line = _line_pressure_bar(made.values, plant, size)
    atmospheric = plant.measurement.basis == "atmospheric"
    sample = np.full(size, plant.site.barometric_pressure_bar) if atmospheric else line
    around = Surroundings(line, sample, gas, plant.measurement.conversion == "real")
    try:
        dew_point, unit, note = dew_point_from(kind, chosen[kind], around, name)
    except InputError:
        if required:
            raise
        return made
    notes.append(note)
    notes.extend(
        f"{chosen[other].header!r} is a moisture too and was not used{_contradiction(chosen[other], dew_point)}."
        for other in found[1:]
    )
    return Channels(
        {**made.values, "dew_point": dew_point},
        {**made.columns, "dew_point": Column(chosen[kind].header, unit)},
        unit,
        "line",
    )


def _contradiction(other: NumberColumn, dew_point: Floats) -> str:
    """What the numbers of an unused moisture without unit look like, where they fit a vapour pressure."""
    from diagnostics.air.humidity import saturation_pressure_pa

    if other.unit is not None:
        return ""
    known = np.isfinite(other.values) & np.isfinite(dew_point)
    if known.sum() < 10:
        return ""
    kilopascal = np.asarray(saturation_pressure_pa(dew_point[known], beyond="nan")) / 1000.0
    ratio = float(np.nanmedian(other.values[known] / kilopascal))
    return "; its numbers fit a vapour pressure in kPa" if abs(ratio - 1.0) < 0.08 else ""


def _line_pressure_bar(values: Mapping[str, Floats], plant: Plant, size: int) -> Floats:
    entered = np.full(size, plant.line_pressure_bar)
    gauge = values.get("pressure")
    if gauge is None or plant.is_given("measurement.pressure_bar_g"):
        return entered
    under = np.isfinite(gauge) & (gauge > _VENTED_BAR_G)
    if not under.any():
        return entered
    rows = np.arange(size)
    return np.interp(rows, rows[under], gauge[under]) + plant.site.barometric_pressure_bar


def _with_titled_basis(made: Channels, plant: Plant, notes: list[str]) -> Channels:
    column = made.columns.get("dew_point")
    if column is None or made.moisture_basis == "line":
        return made
    title = plain(column.header)
    basis: Literal["pressure", "atmospheric"] | None = None
    if PRESSURISED.search(title):
        basis = "pressure"
    elif ATMOSPHERIC.search(title):
        basis = "atmospheric"
    stated = plant.measurement.basis
    if basis is not None and stated is not None and stated != basis:
        notes.append(
            f"The title {column.header!r} says {basis} dew point, the plant file {stated}; the plant file was followed."
        )
    elif basis == "atmospheric" and stated is None:
        notes.append(
            f"The title {column.header!r} says atmospheric dew point, the plant file nothing; the title was followed."
            ' Write measurement.basis = "pressure" into the plant file if the log holds pressure dew points.'
        )
    return replace(made, titled_basis=basis)


def _within_bounds(made: Channels, notes: list[str]) -> Channels:
    values = dict(made.values)
    total = 0
    for quantity, channel in made.values.items():
        values[quantity], count = without_impossible(channel, quantity)
        total += count
        if count:
            notes.append(
                f"{count} readings of {made.columns[quantity].header!r} are impossible for a"
                f" {quantity.replace('_', ' ')} and count as missing."
            )
    return replace(made, values=values, impossible=total, notes=tuple(notes))
