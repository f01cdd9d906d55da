"""Inputs that contradict each other or physics: pressures that disagree, an outlet wetter than its inlet can be.

Question: do plant file, log and humidity fit together? Input: a log at line pressure, its conditions and the plant.
Output: signs ``pressure_mismatch`` and ``inlet_wetter_than_saturated``.
"""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import Conditions, Flags, Floats, Log, Sign
from diagnostics.plant import Plant

_PRESSURE_BAR, _PRESSURE_SHARE = 0.3, 0.05
_DROP_BAR = 0.8
"""What a dryer and its filters may take between inlet and sampling point."""
_WETTER_K = 3.0


def find_contradictions(log: Log, dew_point_c: Floats, used: Flags, conditions: Conditions, plant: Plant) -> list[Sign]:
    """Signs of inputs that cannot all be right.

    Parameters
    ----------
    log : Log
    dew_point_c : ndarray, shape (n,)
        At line pressure [degC].
    used : ndarray of bool, shape (n,)
    conditions : Conditions
    plant : Plant

    Returns
    -------
    list of Sign
    """
    signs = [_against_log(log, plant), _against_plant(log, plant)]
    signs += [_inlet(log, dew_point_c, used, conditions), _basis(log, dew_point_c, used, plant), _title(log, plant)]
    return [s for s in signs if s is not None]


def _span(log: Log) -> tuple[float, float]:
    return float(log.time_s[0]), float(log.time_s[-1])


def _against_log(log: Log, plant: Plant) -> Sign | None:
    gauge = log.channels.get("pressure")
    entered = plant.measurement.pressure_bar_g
    if gauge is None or entered is None or not plant.is_given("measurement.pressure_bar_g"):
        return None
    running = gauge[np.isfinite(gauge) & (gauge > 0.5)]
    if running.size < 10:
        return None
    logged = float(np.median(running))
    apart = abs(logged - entered)
    if apart <= max(_PRESSURE_BAR, _PRESSURE_SHARE * (entered + 1.0)):
        return None
    return Sign(
        "pressure_mismatch",
        *_span(log),
        0.9,
        f"The plant file gives {entered:.2f} bar gauge at the sampling point, the log shows {logged:.2f} bar gauge.",
        {"entered_bar_g": entered, "logged_bar_g": logged, "difference_bar": apart},
    )


def _against_plant(log: Log, plant: Plant) -> Sign | None:
    if not (plant.is_given("measurement.pressure_bar_g") and plant.is_given("operation.pressure_bar_g")):
        return None
    entered, line = plant.measurement.pressure_bar_g, plant.operation.pressure_bar_g
    if entered is None or line is None:
        return None
    tolerance = max(_PRESSURE_BAR, _PRESSURE_SHARE * (line + 1.0))
    if -max(_DROP_BAR, tolerance) <= entered - line <= tolerance:
        return None
    return Sign(
        "pressure_mismatch",
        *_span(log),
        0.8,
        f"measurement.pressure_bar_g is {entered:.2f} bar, operation.pressure_bar_g is {line:.2f} bar: more apart than"
        " a dryer and its filters drop.",
        {"entered_bar_g": entered, "line_bar_g": line, "difference_bar": abs(entered - line)},
    )


def _inlet(log: Log, dew_point_c: Floats, used: Flags, conditions: Conditions) -> Sign | None:
    if "inlet_temperature" not in conditions.logged or conditions.inlet_temperature_c is None:
        return None
    above = dew_point_c - conditions.inlet_temperature_c
    wetter = used & (above > _WETTER_K)
    if wetter.sum() < max(5.0, 600.0 / max(log.interval_s, 1.0)):
        return None
    most = float(above[wetter].max())
    times = log.time_s[wetter]
    return Sign(
        "inlet_wetter_than_saturated",
        float(times[0]),
        float(times[-1]),
        0.9,
        f"The outlet's dew point is up to {most:.1f} K above the logged inlet temperature, in {int(wetter.sum())}"
        " readings: air cannot leave wetter than it can enter.",
        {"most_above_k": most, "readings": float(wetter.sum())},
    )


def _basis(log: Log, dew_point_c: Floats, used: Flags, plant: Plant) -> Sign | None:
    """An atmospheric dew point brought to line pressure must not pass the gas's own temperature."""
    if (plant.measurement.basis or log.titled_basis) != "atmospheric" or not used.any():
        return None
    gas = log.channels.get("temperature")
    hottest = 70.0 if gas is None or not np.isfinite(gas).any() else float(np.nanmax(gas)) + _WETTER_K
    wet = used & (dew_point_c > hottest)
    if wet.sum() < max(5, 0.02 * used.sum()):
        return None
    return Sign(
        "pressure_mismatch",
        *_span(log),
        0.8,
        f"Taken as atmospheric, the dew point would be up to {float(dew_point_c[wet].max()):.1f} °C at line pressure,"
        f" above {hottest:.0f} °C, which the air cannot hold: the log is more likely a pressure dew point already.",
        {"highest_c": float(dew_point_c[wet].max()), "hottest_c": hottest},
    )


def _title(log: Log, plant: Plant) -> Sign | None:
    """A title that says another basis than the plant file."""
    stated, titled = plant.measurement.basis, log.titled_basis
    if stated is None or titled is None or stated == titled or log.moisture_basis == "line":
        return None
    header = log.columns["dew_point"].header
    return Sign(
        "pressure_mismatch",
        *_span(log),
        0.6,
        f"The column's title {header!r} says {titled} dew point, the plant file {stated} dew point; the plant file was"
        " followed.",
    )
