"""What the dryer was given: line pressure, inlet temperature, flow and the water they bring in.

Question: how much water entered, reading by reading? Input: a `Log` and the plant. Output: `Conditions`. Method:
channels of the log first, else the plant file's typical values; flow times mixing ratio of the inlet air.
"""

from __future__ import annotations

import numpy as np

from diagnostics.air.humidity import mixing_ratio_g_kg, moisture_fraction
from diagnostics.log.record import Conditions, Floats, Log
from diagnostics.plant import Plant

DRY_AIR_KG_M3 = 1.1885
"""Density of dry air at 20 degC, 1 bar absolute: 1e5 Pa / (287.05 J/(kg K) x 293.15 K)."""
_LOWEST_LINE_PRESSURE_BAR = 1.0


def conditions_of(log: Log, plant: Plant) -> tuple[Conditions, tuple[str, ...]]:
    """Pressure, inlet temperature, flow and moisture load of each reading.

    Parameters
    ----------
    log : Log
    plant : Plant

    Returns
    -------
    Conditions
    tuple of str
        What was filled or taken, as sentences.
    """
    notes: list[str] = []
    logged: set[str] = set()

    def channel(quantity: str, typical: float | None) -> Floats | None:
        values = log.channels.get(quantity)
        if values is None or not np.isfinite(values).any():
            return None if typical is None else np.full(log.samples, float(typical))
        logged.add(quantity)
        return _filled(log, quantity, values, typical, notes)

    operation = plant.operation
    barometer = plant.site.barometric_pressure_bar
    gauge = channel("pressure", operation.pressure_bar_g)
    pressure = np.full(log.samples, plant.line_pressure_bar) if gauge is None else gauge + barometer
    inlet = channel("inlet_temperature", operation.inlet_temperature_c)
    flow = channel("flow", operation.flow_m3_min)
    if flow is not None:
        flow = np.maximum(flow, 0.0)
        if "flow" in logged and plant.measurement.flow_at == "outlet":
            flow = flow + _purge_m3_min(log, plant, notes)
    load = None if flow is None else _moisture_load_g_min(flow, inlet, pressure, plant, notes)
    return Conditions(pressure, inlet, flow, load, frozenset(logged)), tuple(notes)


def _filled(log: Log, quantity: str, values: Floats, typical: float | None, notes: list[str]) -> Floats:
    known = np.isfinite(values)
    missing = int(values.size - known.sum())
    if missing == 0:
        return values
    filled = np.interp(log.time_s, log.time_s[known], values[known])
    how = "interpolated"
    if typical is not None:
        before_or_after = (log.time_s < log.time_s[known][0]) | (log.time_s > log.time_s[known][-1])
        if before_or_after.any():
            filled[before_or_after] = typical
            how = f"interpolated, or taken as the plant file's {typical:g} before the first and after the last"
    notes.append(f"{missing} readings of {quantity.replace('_', ' ')} are missing and were {how}.")
    return filled


def _purge_m3_min(log: Log, plant: Plant, notes: list[str]) -> Floats | float:
    measured = log.channels.get("purge_flow")
    if measured is not None and np.isfinite(measured).any():
        notes.append("The flow was measured after the dryer; the logged purge flow was added to it.")
        return np.maximum(_filled(log, "purge_flow", measured, None, notes), 0.0)
    dryer = plant.dryer
    if dryer.rated_flow_m3_min is None or dryer.purge_share is None:
        notes.append("The flow was measured after the dryer and no nameplate tells the purge; nothing was added.")
        return 0.0
    share = dryer.purge_share
    if dryer.purge_share_means == "while_purging" and dryer.purge_s is not None:
        share *= dryer.purge_s / plant.half_cycle_s
    purge = share * dryer.rated_flow_m3_min
    notes.append(f"The flow was measured after the dryer; the nameplate's purge of {purge:.2f} m³/min was added to it.")
    return purge


def _moisture_load_g_min(
    flow_m3_min: Floats, inlet_c: Floats | None, pressure_bar: Floats, plant: Plant, notes: list[str]
) -> Floats | None:
    """Water entering the dryer [g/min]: dry air [kg/min] times mixing ratio [g/kg] of the inlet air."""
    inlet_dew_point = plant.operation.inlet_dew_point_c
    if inlet_dew_point is not None:
        dew_point = np.full_like(flow_m3_min, inlet_dew_point)
        if inlet_c is not None:
            dew_point = np.minimum(dew_point, inlet_c)
    elif inlet_c is not None:
        dew_point = inlet_c
    else:
        notes.append("Neither log nor plant file tells the inlet temperature; the moisture load stays unknown.")
        return None
    air_bar = np.maximum(pressure_bar, _LOWEST_LINE_PRESSURE_BAR)
    moisture = moisture_fraction(np.clip(dew_point, -60.0, 80.0), air_bar)
    return flow_m3_min * DRY_AIR_KG_M3 * mixing_ratio_g_kg(moisture)
