"""From saved air to saved power at the meter, through the compressor's control.

Question: how many kilowatts does a cubic metre per minute of saved air save? Input: the plant's compressors, a logged
power channel. Output: a `Marginal`. Method: logged power against logged flow where that shows; else the difference of
the pool's part-load power with and without the air, or the slope of the machine that follows the demand, times its
specific power, corrected to today's pressure by isentropic work. Without compressor data a wide band.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.air.compression import power_ratio
from diagnostics.energy.part_load import UNLOADED_SHARE, falls_below_lowest_speed, is_described, marginal_share, pool_kw
from diagnostics.energy.uncertain import Uncertain, relative, uncertain
from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.plant import Assumption, Plant
from diagnostics.plant_file import Compressor

TYPICAL_SPECIFIC_POWER = Estimate(6.8, 5.8, 9.0)
"""Package power at full load, 7 bar g [kW per m3/min]; common practice, no published source."""
UNKNOWN_SLOPE = Estimate(0.65, 0.3, 1.0)
"""From throttled without unloading to a machine that drops off."""
_SLOPE_RANGE = {
    "inlet_modulation": (0.83, 1.33),
    "load_unload": (0.80, 1.05),
    "variable_speed": (0.89, 1.11),
    "start_stop": (0.90, 1.0),
}
"""95 % range of the slope against its line: little storage, unloading with time delay, wear."""
_BLOCK_S = 900.0
_LEAST_POWER, _MOST_POWER = 0.15, 1.2
"""Median logged power over the compressors' full power outside which it is another machine's (a heater's, say)."""
_LEAST_BLOCKS, _LEAST_SPREAD = 24, 0.10


@dataclass(frozen=True, eq=False)
class Marginal:
    """Power at the meter per saved air [kW per m3/min] and what stands behind it.

    Attributes
    ----------
    basis : str
        "log", "pool", "control" or "assumed".
    """

    kw_per_m3_min: Uncertain
    basis: str
    inputs: tuple[tuple[str, float | str, str], ...]
    formula: str
    notes: tuple[str, ...] = ()
    assumptions: tuple[Assumption, ...] = ()


def marginal_power(plant: Plant, screened: ScreenedLog | None = None, saved_m3_min: float | None = None) -> Marginal:
    """Power at the meter that follows a m3/min of saved air.

    Parameters
    ----------
    plant : Plant
    screened : ScreenedLog, optional
        Its power and flow channels calibrate the figure where both vary together; its flow places a pool's demand.
    saved_m3_min : float, optional
        How much air is saved [m3/min]; in a pool a large saving lets a machine drop off.

    Returns
    -------
    Marginal
    """
    logged = None if screened is None else _from_log(screened)
    if logged is not None:
        return logged
    notes: list[str] = []
    assumptions: list[Assumption] = []
    machine = trim_machine(plant.compressors)
    power = _specific_power(machine, plant, notes, assumptions)
    slope = _slope(machine, notes, assumptions)
    per_air = power * uncertain("part-load slope", slope)
    inputs: tuple[tuple[str, float | str, str], ...] = (
        ("specific power at today's pressure [kW per m³/min]", power.value, _origin(machine, "specific_power")),
        ("slope of the part-load line", slope.value, _origin(machine, "control")),
    )
    basis = "control" if machine is not None and machine.control is not None else "assumed"
    formula = "specific power × slope of the part-load line"
    pool = _pool_difference(plant, screened, saved_m3_min)
    if pool is not None and len(plant.compressors) == 1:
        notes.append(
            "The speed-controlled compressor is below its lowest speed for part of the time, where it stops and starts:"
            " there a m³/min saved saves more of its power than at part load."
        )
    if pool is not None:
        factor = pool / (marginal_share(*_line(machine)) * _bare_specific_power(machine))
        per_air, basis = per_air * factor, "pool"
        formula = "(pool's power at the demand − at the demand less the saved air) / saved air"
        inputs = (("kW per m³/min, by difference", pool, "plant file and log"), inputs[0], inputs[1])
        notes.append("The air that enters the dryer is taken as all that the compressors deliver.")
    return Marginal(per_air, basis, inputs, formula, tuple(notes), tuple(assumptions))


def trim_machine(machines: tuple[Compressor, ...]) -> Compressor | None:
    """Machine that follows the demand: the last with that role, else the last started; None without any."""
    candidates = [m for m in machines if m.role == "trim"] or list(machines)
    return candidates[-1] if candidates else None


def flow_from_power(screened: ScreenedLog, plant: Plant) -> Floats | None:
    """Flow that a logged compressor power stands for, by the part-load line backwards.

    Parameters
    ----------
    screened : ScreenedLog
    plant : Plant
        Every compressor with rated flow, specific power and control.

    Returns
    -------
    ndarray, shape (n,), or None
        [m3/min], NaN where the power is missing; None where power or compressor are not known, or the power cannot be
        the compressors'.
    """
    power = screened.log.channels.get("power")
    machines = plant.compressors
    if power is None or not np.isfinite(power).any() or not machines or not all(map(is_described, machines)):
        return None
    most = sum(m.rated_flow_m3_min or 0.0 for m in machines)
    full_kw, typical_kw = float(pool_kw(most, machines)[0]), float(np.nanmedian(power))
    if not _LEAST_POWER * full_kw <= typical_kw <= _MOST_POWER * full_kw:
        return None
    demand = np.linspace(0.0, most, 2001)
    drawn = np.maximum.accumulate(pool_kw(demand, machines)) + demand * 1e-9
    return np.interp(power, drawn, demand)


def _from_log(screened: ScreenedLog) -> Marginal | None:
    """Slope of logged power on logged flow, from means over quarter-hours; None where it does not show."""
    channels = screened.log.channels
    if "power" not in channels or "flow" not in channels:
        return None
    power, flow = channels["power"], channels["flow"]
    valid = np.isfinite(power) & np.isfinite(flow)
    if valid.sum() < _LEAST_BLOCKS:
        return None
    block = ((screened.log.time_s[valid] - screened.log.time_s[0]) // _BLOCK_S).astype(np.intp)
    count = np.bincount(block)
    seen = count > 0
    x = np.bincount(block, flow[valid])[seen] / count[seen]
    y = np.bincount(block, power[valid])[seen] / count[seen]
    spread = np.percentile(x, 95) - np.percentile(x, 5)
    if x.size < _LEAST_BLOCKS or x.mean() <= 0.0 or spread < _LEAST_SPREAD * x.mean():
        return None
    slope, deviation = _regression(x, y)
    if not 0.5 < slope < 12.0 or deviation > 0.25 * slope:
        return None
    half = np.hypot(2.0 * deviation, 0.05 * slope)
    per_air = uncertain("power on flow", Estimate(slope, slope - half, slope + half))
    inputs = (("slope of power on flow [kW per m³/min]", slope, "log"), ("quarter-hours", float(x.size), "log"))
    note = f"Logged power rises by {slope:.2f} kW per m³/min of logged flow; that is taken instead of a part-load line."
    return Marginal(per_air, "log", inputs, "regression of logged power on logged flow", (note,))


def _regression(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope and its standard deviation, widened for residuals that hang together from block to block."""
    centred = x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    residual = y - y.mean() - slope * centred
    variance = float(residual @ residual) / max(1, x.size - 2)
    rho = 0.0
    if residual @ residual > 0.0:
        rho = float(np.clip(residual[1:] @ residual[:-1] / (residual @ residual), 0.0, 0.95))
    inflation = (1.0 + rho) / (1.0 - rho)
    return slope, float(np.sqrt(variance * inflation / (centred @ centred)))


def _specific_power(
    machine: Compressor | None, plant: Plant, notes: list[str], assumptions: list[Assumption]
) -> Uncertain:
    """Full-load power per flow at today's line pressure; the plant file's holds at the dryer's rated pressure."""
    given = machine.specific_power_kw_per_m3_min if machine else None
    correction = power_ratio(max(plant.line_pressure_bar, 1.1), plant.rated_pressure_bar)
    if given is not None:
        return relative("specific power", given * correction, 0.05)
    band = TYPICAL_SPECIFIC_POWER
    notes.append(
        f"The compressor's specific power is not given; {band.low:g} to {band.high:g} kW per m³/min is taken, so the"
        " saved air stands firm and its energy is a band."
    )
    why = "within the usual band 5.8 to 9; common practice, no published source"
    assumptions.append(Assumption("compressor.specific_power_kw_per_m3_min", band.value, why))
    return uncertain("specific power", band.scaled(correction))


def _slope(machine: Compressor | None, notes: list[str], assumptions: list[Assumption]) -> Estimate:
    control = machine.control if machine else None
    if machine is None or control is None:
        notes.append(
            "The compressor's control is not given; a m³/min saved is taken to save 0.3 to 1.0 of its full-load power."
        )
        why = "throttled to switched off; energy is a band of slopes 0.3 to 1.0"
        assumptions.append(Assumption("compressor.control", "unknown", why))
        return UNKNOWN_SLOPE
    if control == "load_unload" and machine.unloaded_power_share is None:
        why = "usual range 0.25 to 0.35; common practice, no published source"
        assumptions.append(Assumption("compressor.unloaded_power_share", UNLOADED_SHARE, why))
    value = marginal_share(*_line(machine))
    low, high = _SLOPE_RANGE[control]
    return Estimate.ordered(value, low * value, min(1.0, high * value))


def _line(machine: Compressor | None) -> tuple[str, float]:
    assert machine is not None
    assert machine.control is not None
    share = machine.unloaded_power_share
    return machine.control, UNLOADED_SHARE if share is None else share


def _bare_specific_power(machine: Compressor | None) -> float:
    assert machine is not None
    assert machine.specific_power_kw_per_m3_min is not None
    return machine.specific_power_kw_per_m3_min


def _pool_difference(plant: Plant, screened: ScreenedLog | None, saved_m3_min: float | None) -> float | None:
    """Mean power saved per air saved [kW per m3/min] by a pool, or by one machine that falls below its lowest speed.

    None for another machine by itself or an unknown demand.
    """
    machines = plant.compressors
    if not machines or not all(map(is_described, machines)) or screened is None or not saved_m3_min:
        return None
    flow = screened.conditions.flow_m3_min
    machine = trim_machine(machines)
    if flow is None or marginal_share(*_line(machine)) <= 0.0:
        return None
    demand = np.percentile(flow, np.linspace(1.0, 99.0, 99))
    less = np.maximum(demand - saved_m3_min, 0.0)
    if len(machines) == 1 and not falls_below_lowest_speed(less, machines[0]):
        return None
    saved = float((demand - less).mean())
    return float((pool_kw(demand, machines) - pool_kw(less, machines)).mean()) / saved if saved > 0.0 else None


def _origin(machine: Compressor | None, fact: str) -> str:
    given = machine is not None and (
        machine.control is not None if fact == "control" else machine.specific_power_kw_per_m3_min is not None
    )
    return "plant file" if given else "assumed"
