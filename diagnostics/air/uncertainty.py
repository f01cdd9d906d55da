"""How far a dew point reading may be off: the instrument's budget.

Question: which expanded uncertainty does a line's dew point carry? Input: the dew point, the plant file's measurement
table, the log's date and resolution. Output: `Budget`, standard uncertainties by cause. Method: root sum of squares; a
stated "± a" and everything known only by bounds is rectangular (JCGM 100:2008, 4.3.7).
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from diagnostics.air.budget import Budget
from diagnostics.air.curves import TRIPLE_C, ZERO_C_K, ice_curve, water_curve
from diagnostics.air.humidity import change_pressure
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

DRIFT_K_PER_YEAR = 1.0
"""Bound of a dew point probe's drift within a year; common practice, no published source."""

GAUGE_BAR = 0.25
"""Bound of a line pressure that was read: 1.6 % of a 16 bar gauge (accuracy class 1.6, from memory)."""

ASSUMED_BAR = 1.0
"""Bound of a line pressure that nobody gave and that was taken as the rating's."""

_BY_PARTIAL_PRESSURE = ("degC", "degF", "K", "g/m3", "g_m3", "mg/m3")


def slope_per_k(dew_point_c: float) -> float:
    """Relative change of vapour pressure with dew point, d ln e / dT [1/K], over ice below 0.01 degC."""
    curve = ice_curve if dew_point_c < TRIPLE_C else water_curve
    return float(curve(np.array([dew_point_c + ZERO_C_K]))[1][0])


def probe_standard_uncertainty_k(dew_point_c: float, plant: Plant) -> float:
    """The instrument's own standard uncertainty [K] at the dew point it sees [degC].

    A table is interpolated in dew point and held beyond its ends; "k2" is halved, "limits" are divided by
    the root of 3.
    """
    stated = plant.measurement.uncertainty_c
    if isinstance(stated, list):
        points = np.array(sorted(stated), dtype=float)
        value = float(np.interp(dew_point_c, points[:, 0], points[:, 1]))
    else:
        value = float(stated)
    return value / (2.0 if plant.measurement.uncertainty_kind == "k2" else math.sqrt(3.0))


def uncertainty_budget(
    dew_point_c: float,
    plant: Plant,
    *,
    at_s: float | None = None,
    resolution_c: float = 0.0,
    pressure_bar: float | None = None,
    pressure_logged: bool = False,
    moisture_unit: str = "degC",
    basis: str | None = None,
) -> Budget:
    """Uncertainty budget of a pressure dew point.

    Parameters
    ----------
    dew_point_c : float
        At line pressure, frost point below 0.01 degC [degC].
    plant : Plant
    at_s : float, optional
        Instant of the measurement, epoch seconds; without it no drift is counted.
    resolution_c : float
        Step of the logged value's last digit [K].
    pressure_bar : float, optional
        Line pressure [bar abs]; the plant's if absent.
    pressure_logged : bool
        Whether it was logged.
    moisture_unit : str
        Unit the log was read in; a share of the air (ppm, g/kg) becomes a dew point only with the pressure.
    basis : str, optional
        ``pressure`` or ``atmospheric``, what the logged dew point referred to; the plant file's if absent.

    Returns
    -------
    Budget
        For an atmospheric basis the probe's share is taken at the dew point it saw and carried to line pressure.
    """
    bar = plant.line_pressure_bar if pressure_bar is None else pressure_bar
    atmospheric = (basis or plant.measurement.basis) == "atmospheric"
    seen_c, stretch = dew_point_c, 1.0
    if atmospheric:
        seen_c = change_pressure(dew_point_c, bar, plant.site.barometric_pressure_bar)
        stretch = slope_per_k(seen_c) / slope_per_k(dew_point_c)
    pressure_k = 0.0
    if atmospheric or moisture_unit not in _BY_PARTIAL_PRESSURE:
        known = pressure_logged or plant.is_given("measurement.pressure_bar_g")
        bound_bar = GAUGE_BAR if known or plant.is_given("operation.pressure_bar_g") else ASSUMED_BAR
        pressure_k = bound_bar / math.sqrt(3.0) / bar / slope_per_k(dew_point_c)
    return Budget(
        probe_k=stretch * probe_standard_uncertainty_k(seen_c, plant),
        drift_k=stretch * _drift_k(plant, at_s),
        pressure_k=pressure_k,
        resolution_k=stretch * resolution_c / math.sqrt(12.0),
    )


def budget_in_log(
    dew_point_c: float, screened: ScreenedLog, plant: Plant, *, pressure_bar: float | None = None
) -> Budget:
    """Uncertainty budget of a dew point of this log [degC], with its own date, last digit, pressure and basis.

    Parameters
    ----------
    dew_point_c : float
        At line pressure.
    screened : ScreenedLog
    plant : Plant
    pressure_bar : float, optional
        Line pressure [bar abs]; the plant's if absent.
    """
    return uncertainty_budget(
        dew_point_c,
        plant,
        at_s=float(screened.log.time_s[-1]),
        resolution_c=screened.resolution_c,
        pressure_bar=pressure_bar,
        pressure_logged="pressure" in screened.conditions.logged,
        moisture_unit=screened.log.moisture_unit,
        basis=screened.basis,
    )


def _drift_k(plant: Plant, at_s: float | None) -> float:
    calibrated = plant.measurement.calibrated_on
    if calibrated is None or at_s is None:
        return 0.0
    midnight = dt.datetime.combine(calibrated, dt.time(), dt.UTC)
    years = abs(at_s - midnight.timestamp()) / (365.25 * 86400.0)
    return DRIFT_K_PER_YEAR * years / math.sqrt(3.0)
