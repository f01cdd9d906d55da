"""Moist air at pressure: how much water it holds at a dew point, and the dew point it has at another pressure.

Question: what mole fraction of water belongs to a dew point at a line pressure, and back? Input: dew point [degC] and
pressure [bar abs]. Method: x P = f e_s, with the enhancement factor f of water vapour in air; ``real=False`` sets
f = 1, as the trade's conversion tables do. Every conversion between pressures goes through x, which compression leaves
alone.

References
----------
.. [VIR] The enhancement factor follows from the virial coefficients of moist air (those behind the IAPWS guideline on
   the fugacity of water in humid air and CoolProp's ``HAPropsSI``); the polynomials below are our own fit to that
   model, to 4.3e-4 in ln f over ice and 1.4e-4 over water.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diagnostics.air.curves import (
    HIGHEST_C,
    LOWEST_C,
    TRIPLE_C,
    TRIPLE_K,
    TRIPLE_PA,
    ZERO_C_K,
    Beyond,
    Curve,
    Floats,
    by_phase,
    first_guess_k,
    ice_curve,
    over_chunks,
    solve_k,
    water_curve,
    within,
)

LOWEST_BAR = 0.3
HIGHEST_BAR = 65.0

# [VIR] ln f = (P - e)/1e6 [A(x) + (P/1e6) B(x) + (e/P) C(x)], x = t/100 degC, P and e in Pa; rising powers of x.
_ICE = (
    (0.03739458, -0.0290381, 0.03950649, 0.0227549, 0.04055687),
    (-0.0001456145, -0.0008133051, 0.002416492),
    (0.0,),
)
_WATER = (
    (0.03581844, -0.03270828, 0.01497549, 0.001321571),
    (2.309386e-05, 0.0002912685),
    (0.6061621, -0.6010834),
)
_ICE_RANGE_C = (-120.0, 0.01)
_WATER_RANGE_C = (0.0, 80.0)
_SEAM_K = 0.2
"""Over water the factor approaches that over ice with this e-folding length towards the triple point.

At 0.01 degC and 8 bar the factor over ice is 8e-4 larger than that over water: pressure (Poynting) and dissolved air
lower the freezing point by 0.08 K. Left as a jump, two dew points would have the same moisture.
"""

# ln f and its slope [1/K] at t [degC] and P [Pa], given e [Pa] and d ln e/dt [1/K].
Enhancement = Callable[[Floats, Floats, Floats, Floats], tuple[Floats, Floats]]


def _horner(coefficients: tuple[float, ...], x: Floats) -> tuple[Floats, Floats]:
    value = np.full_like(x, coefficients[-1])
    slope = np.zeros_like(x)
    for coefficient in coefficients[-2::-1]:
        slope = slope * x + value
        value = value * x + coefficient
    return value, slope


def _fit(
    parts: tuple[tuple[float, ...], ...], bounds: tuple[float, float], t: Floats, p: Floats, e: Floats, e_slope: Floats
) -> tuple[Floats, Floats]:
    x = np.clip(t, *bounds) / 100.0
    (a, a_x), (b, b_x), (c, c_x) = (_horner(part, x) for part in parts)
    inside = np.where((t >= bounds[0]) & (t <= bounds[1]), 0.01, 0.0)
    boiling = e >= p
    share = np.where(boiling, 1.0, e / p)
    air = np.where(boiling, 0.0, (p - e) / 1e6)
    bracket = a + p / 1e6 * b + share * c
    bracket_t = inside * (a_x + p / 1e6 * b_x + share * c_x) + share * e_slope * c
    return air * bracket, np.where(boiling, 0.0, air * bracket_t - e * e_slope / 1e6 * bracket)


def _over_ice(t: Floats, p: Floats, e: Floats, e_slope: Floats) -> tuple[Floats, Floats]:
    return _fit(_ICE, _ICE_RANGE_C, t, p, e, e_slope)


def _over_water(t: Floats, p: Floats, e: Floats, e_slope: Floats) -> tuple[Floats, Floats]:
    value, slope = _fit(_WATER, _WATER_RANGE_C, t, p, e, e_slope)
    fade = _step_at_triple_point(p) * np.exp(-np.clip(t - TRIPLE_C, -_SEAM_K, None) / _SEAM_K)
    return value + fade, slope - fade / _SEAM_K


def _step_at_triple_point(p: Floats) -> Floats:
    t, e, flat = np.full_like(p, TRIPLE_C), np.full_like(p, TRIPLE_PA), np.zeros_like(p)
    return _fit(_ICE, _ICE_RANGE_C, t, p, e, flat)[0] - _fit(_WATER, _WATER_RANGE_C, t, p, e, flat)[0]


def water_enhancement(t: Floats, p: Floats, e: Floats) -> Floats:
    """Enhancement factor over liquid water [-] at t [degC], p and e [Pa]; below 0 degC that of 0 degC is kept."""
    flat = np.zeros_like(e)
    return np.exp(_over_water(np.maximum(t, TRIPLE_C), p, e, flat)[0])


def _of(pressure: Floats, part: NDArray[np.bool_]) -> Floats:
    return pressure if pressure.ndim == 0 or pressure.size == 1 else pressure[part]


def _moist_curve(curve: Curve, enhancement: Enhancement, p: Floats) -> Curve:
    def moist(t_k: Floats) -> tuple[Floats, Floats]:
        log_e, slope = curve(t_k)
        log_f, log_f_slope = enhancement(t_k - ZERO_C_K, p, np.exp(log_e), slope)
        return log_e + log_f, slope + log_f_slope

    return moist


def _log_moist_pressure(t: Floats, p: Floats) -> Floats:
    """Logarithm of f e_s [ln Pa]."""

    def log_pressure(curve: Curve, enhancement: Enhancement, part: NDArray[np.bool_]) -> Floats:
        return _moist_curve(curve, enhancement, _of(p, part))(t[part] + ZERO_C_K)[0]

    return by_phase(
        t,
        t < TRIPLE_C,
        lambda part: log_pressure(ice_curve, _over_ice, part),
        lambda part: log_pressure(water_curve, _over_water, part),
    )


def _bars(pressure_bar: Any, beyond: Beyond) -> Floats:
    return within(pressure_bar, LOWEST_BAR, HIGHEST_BAR, "pressure", "bar abs", beyond)


def enhancement_factor(t_c: Any, pressure_bar: Any, *, beyond: Beyond = "raise") -> Any:
    """Factor by which air at pressure holds more water vapour than its saturation pressure says, [VIR]_.

    Over ice below 0.01 degC, over liquid water from there on. The fit covers -90 to 60 degC and 0.9 to 17 bar, where it
    is within 4e-4 of the model. Its polynomials run on from -120 to 80 degC and are held beyond; the virial form itself
    runs on to other pressures. Against the model that is within 4e-3 from -120 to 100 degC at 0.3 to 8 bar, 1.5e-2 at
    17 bar, and at 40 bar within 4e-3 from -90 to 80 degC. Over water the factor meets that over ice at the triple point
    (see `_SEAM_K`); from 1.5 degC on it is the fit.

    Parameters
    ----------
    t_c : float or array_like
        Dew point, or frost point below 0.01 degC [degC], -130 to 200.
    pressure_bar : float or array_like
        Total pressure [bar abs], 0.3 to 65.
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        f [-], 1 where the saturation pressure exceeds the total pressure; NaN where an input is NaN.

    Raises
    ------
    ValueError
        If a value lies outside its range and `beyond` is "raise".
    """

    def factor(t: Floats, bar: Floats) -> Floats:
        p = bar * 1e5

        def log_factor(curve: Curve, enhancement: Enhancement, part: NDArray[np.bool_]) -> Floats:
            log_e, slope = curve(t[part] + ZERO_C_K)
            return np.exp(enhancement(t[part], _of(p, part), np.exp(log_e), slope)[0])

        return by_phase(
            t,
            t < TRIPLE_C,
            lambda part: log_factor(ice_curve, _over_ice, part),
            lambda part: log_factor(water_curve, _over_water, part),
        )

    return over_chunks(
        factor, *_alike(within(t_c, LOWEST_C, HIGHEST_C, "dew point", "degC", beyond), _bars(pressure_bar, beyond))
    )


def _alike(values: Floats, pressure: Floats) -> tuple[Floats, Floats]:
    """The pair with the values spread to the shape of the pressures where only these vary."""
    if values.ndim == 0 and pressure.ndim:
        return np.broadcast_to(values, pressure.shape), pressure
    return values, pressure


def moisture_fraction(dew_point_c: Any, pressure_bar: Any, *, real: bool = True, beyond: Beyond = "raise") -> Any:
    """Mole fraction of water in moist air with a given dew point: x = f e_s / P.

    Parameters
    ----------
    dew_point_c : float or array_like
        Dew point, frost point below 0.01 degC, at `pressure_bar` [degC], -130 to 200.
    pressure_bar : float or array_like
        Total pressure [bar abs], 0.3 to 65.
    real : bool
        False sets the enhancement factor to one.
    beyond : {"raise", "nan"}
        What becomes of a value outside the range, also of a dew point above the boiling point.

    Returns
    -------
    float or ndarray
        x [mol/mol of moist air]; NaN where an input is NaN.

    Raises
    ------
    ValueError
        If a value lies outside its range, or the air cannot hold that much water at this pressure, and `beyond` is
        "raise".
    """

    def fraction(t: Floats, bar: Floats) -> Floats:
        p = bar * 1e5
        if real:
            return np.exp(_log_moist_pressure(t, p)) / p
        log_e = by_phase(
            t,
            t < TRIPLE_C,
            lambda part: ice_curve(t[part] + ZERO_C_K)[0],
            lambda part: water_curve(t[part] + ZERO_C_K)[0],
        )
        return np.exp(log_e) / p

    allowed = within(dew_point_c, LOWEST_C, HIGHEST_C, "dew point", "degC", beyond)
    bars = _bars(pressure_bar, beyond)
    x = over_chunks(fraction, *_alike(allowed, bars))
    boiling = np.asarray(x) >= 1.0
    if not boiling.any():
        return x
    if beyond == "raise":
        dew, bar = (float(np.broadcast_to(part, boiling.shape)[boiling].flat[0]) for part in (allowed, bars))
        raise ValueError(f"dew point {dew:g} degC is above the boiling point of water at {bar:g} bar abs")
    return np.where(boiling, np.nan, x) if boiling.ndim else float("nan")


def dew_point_c(moisture: Any, pressure_bar: Any, *, real: bool = True, beyond: Beyond = "raise") -> Any:
    """Dew point, frost point below 0.01 degC, of air that holds a given share of water: inverse of `moisture_fraction`.

    Solves f(T, P) e_s(T) = x P by Newton's method on that equation; the round trip is closed to 1e-8 K from -130 to
    200 degC, wherever the dew point lies below the boiling point.

    Parameters
    ----------
    moisture : float or array_like
        Mole fraction of water in the moist air [mol/mol], above 0 and below 1.
    pressure_bar : float or array_like
        Total pressure [bar abs], 0.3 to 65.
    real : bool
        False sets the enhancement factor to one.
    beyond : {"raise", "nan"}
        What becomes of a value outside the range, also of a result outside -130 to 200 degC.

    Returns
    -------
    float or ndarray
        Dew point [degC]; NaN where an input is NaN.

    Raises
    ------
    ValueError
        If a value lies outside its range and `beyond` is "raise".
    """

    def temperature(x: Floats, bar: Floats) -> Floats:
        p = bar * 1e5
        log_target = np.log(x * p)
        log_triple = np.log(TRIPLE_PA)
        if real:
            triple = np.full_like(p, TRIPLE_K)
            log_triple = _moist_curve(ice_curve, _over_ice, p)(triple)[0]

        def inverse(curve: Curve, enhancement: Enhancement, part: NDArray[np.bool_]) -> Floats:
            goal = log_target[part]
            moist = _moist_curve(curve, enhancement, _of(p, part)) if real else curve
            return solve_k(moist, goal, first_guess_k(curve, goal)) - ZERO_C_K

        return by_phase(
            x,
            log_target < log_triple,
            lambda part: inverse(ice_curve, _over_ice, part),
            lambda part: np.maximum(inverse(water_curve, _over_water, part), TRIPLE_C),
        )

    smallest, largest = 1e-15, np.nextafter(1.0, 0.0)
    x = within(moisture, smallest, largest, "mole fraction of water", "mol/mol", beyond)
    x, bars = _alike(x, _bars(pressure_bar, beyond))
    partial_pa = within(x * bars * 1e5, *_SOLVABLE_PA, "partial pressure of water", "Pa", beyond)
    found = over_chunks(temperature, np.where(np.isnan(partial_pa), np.nan, x), bars)
    rounding = 1e-6
    kept = within(found, LOWEST_C - rounding, HIGHEST_C + rounding, "dew point", "degC", beyond)
    return kept if kept.ndim else float(kept)


_SOLVABLE_PA = (1e-7, 4e6)
"""Partial pressures at about -140 and +250 degC: the curves still hold there, so that no search runs astray."""


def change_pressure(dew_point: Any, from_bar: Any, to_bar: Any, *, real: bool = True, beyond: Beyond = "raise") -> Any:
    """Dew point of the same air at another pressure: the mole fraction stays.

    Parameters
    ----------
    dew_point : float or array_like
        Dew point, frost point below 0.01 degC, at `from_bar` [degC].
    from_bar, to_bar : float or array_like
        Total pressures [bar abs], 0.3 to 65.
    real : bool
        False sets the enhancement factor to one.
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        Dew point, frost point below 0.01 degC, at `to_bar` [degC].

    Raises
    ------
    ValueError
        If a value lies outside its range and `beyond` is "raise".
    """
    x = moisture_fraction(dew_point, from_bar, real=real, beyond=beyond)
    return dew_point_c(x, to_bar, real=real, beyond=beyond)
