"""From saved air to saved power at the meter, through the compressor's control.

Question: how many kilowatts does a cubic metre per minute of saved air save? Input: the plant's compressors. Output:
an uncertain kW per m3/min. Method: slope of the part-load curve of the machine that follows the demand, times its
specific power at full load, corrected to today's pressure by isentropic work. Without compressor data a wide band.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnostics.air.compression import power_ratio
from diagnostics.energy.uncertain import Uncertain, relative, uncertain
from diagnostics.estimate import Estimate
from diagnostics.plant import Assumption, Plant
from diagnostics.plant_file import Compressor

TYPICAL_SPECIFIC_POWER = Estimate(6.8, 5.8, 9.0)
"""Package power at full load, 7 bar g [kW per m3/min]; common practice, no published source."""
UNKNOWN_SLOPE = Estimate(0.65, 0.3, 1.0)
"""From throttled without unloading to a machine that drops off."""
UNLOADED_SHARE = 0.3
_MODULATION_SLOPE, _SPEED_SLOPE = 0.30, 0.90


@dataclass(frozen=True, eq=False)
class Marginal:
    """Power saved per air saved [kW per m3/min], and what stands behind it."""

    kw_per_m3_min: Uncertain
    specific_power: Uncertain
    slope: Uncertain
    notes: tuple[str, ...]
    assumptions: tuple[Assumption, ...]


def marginal_power(plant: Plant) -> Marginal:
    """Power at the meter that follows a m3/min of saved air.

    Parameters
    ----------
    plant : Plant

    Returns
    -------
    Marginal
    """
    notes: list[str] = []
    assumptions: list[Assumption] = []
    machine = _trim(plant.compressors)
    specific = machine.specific_power_kw_per_m3_min if machine else None
    if specific is None:
        notes.append(
            "The compressor's specific power is not given: energy is a band from"
            f" {TYPICAL_SPECIFIC_POWER.low:g} to {TYPICAL_SPECIFIC_POWER.high:g} kW per m³/min; the saved air"
            " stands firm."
        )
        assumptions.append(
            Assumption(
                "compressor.specific_power_kw_per_m3_min",
                TYPICAL_SPECIFIC_POWER.value,
                "middle of the usual band 5.8 to 9; common practice, no published source",
            )
        )
        power = uncertain("specific power", TYPICAL_SPECIFIC_POWER)
    else:
        power = relative("specific power", specific, 0.05)
    power = power * power_ratio(plant.line_pressure_bar, plant.rated_pressure_bar)
    slope = uncertain("slope", _slope(machine, notes, assumptions))
    return Marginal(power * slope, power, slope, tuple(notes), tuple(assumptions))


def _trim(machines: tuple[Compressor, ...]) -> Compressor | None:
    trim = [m for m in machines if m.role == "trim"]
    candidates = trim or list(machines)
    return candidates[-1] if candidates else None


def _slope(machine: Compressor | None, notes: list[str], assumptions: list[Assumption]) -> Estimate:
    """Marginal share of full-load power per share of full-load flow, by control."""
    match machine.control if machine else None:
        case "inlet_modulation":
            return Estimate(_MODULATION_SLOPE, 0.25, 0.4)
        case "variable_speed":
            return Estimate(_SPEED_SLOPE, 0.8, 1.0)
        case "start_stop":
            return Estimate(1.0, 0.9, 1.0)
        case "load_unload":
            assert machine is not None
            unloaded = machine.unloaded_power_share
            if unloaded is None:
                unloaded = UNLOADED_SHARE
                why = "usual range 0.25 to 0.35; common practice, no published source"
                assumptions.append(Assumption("compressor.unloaded_power_share", unloaded, why))
            loaded = 1.0 - unloaded
            return Estimate(loaded, 0.8 * loaded, min(1.0, 1.05 * loaded) if loaded else 0.0)
    notes.append(
        "The compressor's control is not given: a m³/min saved is taken to save 0.3 to 1.0 of its full-load power;"
        " give compressor.control to narrow it."
    )
    assumptions.append(Assumption("compressor.control", "unknown", "energy is a band of slopes 0.3 to 1.0"))
    return UNKNOWN_SLOPE
