"""Vapour pressure of ice and of liquid water, and the temperature that belongs to a vapour pressure.

Question: how much does pure water vapour press at saturation? Input: temperature [degC]. Output: pressure [Pa].
Method: the releases of the water-properties association, no fits of our own except the start of the inversion.

References
----------
.. [R14] IAPWS R14-08(2011), Revised Release on the Pressure along the Melting and Sublimation Curves of Ordinary Water
   Substance, eq. 6.
.. [SR1] IAPWS SR1-86(1992), Revised Supplementary Release on Saturation Properties of Ordinary Water Substance, eq. 1.
.. [MK] D. M. Murphy and T. Koop, Review of the vapour pressures of ice and supercooled water for atmospheric
   applications, Q. J. R. Meteorol. Soc. 131 (2005) 1539, eq. 10.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from diagnostics.air.curves import (
    HIGHEST_C,
    LOWEST_C,
    LOWEST_SUPERCOOLED_C,
    TRIPLE_C,
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
    supercooled_curve,
    water_curve,
    within,
)


def _pressure_of(curve: Curve, t_c: Any, low: float, high: float, what: str, beyond: Beyond) -> Any:
    allowed = within(t_c, low, high, what, "degC", beyond)
    return over_chunks(lambda t: np.exp(curve(t + ZERO_C_K)[0]), allowed)


def vapour_pressure_ice_pa(t_c: Any, *, beyond: Beyond = "raise") -> Any:
    """Sublimation pressure of ice, [R14]_ eq. 6.

    Parameters
    ----------
    t_c : float or array_like
        Temperature [degC], -130 to +0.01 (the release holds down to 50 K).
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        Pressure [Pa]; NaN where the input is NaN.

    Raises
    ------
    ValueError
        If a temperature lies outside the range and `beyond` is "raise".
    """
    return _pressure_of(ice_curve, t_c, LOWEST_C, TRIPLE_C, "temperature of ice", beyond)


def vapour_pressure_water_pa(t_c: Any, *, beyond: Beyond = "raise") -> Any:
    """Vapour pressure of liquid water, [SR1]_ eq. 1.

    Parameters
    ----------
    t_c : float or array_like
        Temperature [degC], 0 to 200 (the release holds from 0.01 degC to the critical point).
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        Pressure [Pa]; NaN where the input is NaN.

    Raises
    ------
    ValueError
        If a temperature lies outside the range and `beyond` is "raise".
    """
    return _pressure_of(water_curve, t_c, 0.0, HIGHEST_C, "temperature of liquid water", beyond)


def vapour_pressure_supercooled_pa(t_c: Any, *, beyond: Beyond = "raise") -> Any:
    """Vapour pressure of supercooled liquid water, [MK]_ eq. 10.

    Below about -38 degC water does not stay liquid; the curve is then a convention of instruments that report dew
    points over water, not a state.

    Parameters
    ----------
    t_c : float or array_like
        Temperature [degC], -140 to +50 (the source gives 123 to 332 K).
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        Pressure [Pa]; NaN where the input is NaN.

    Raises
    ------
    ValueError
        If a temperature lies outside the range and `beyond` is "raise".
    """
    return _pressure_of(supercooled_curve, t_c, LOWEST_SUPERCOOLED_C, 50.0, "temperature of supercooled water", beyond)


def saturation_pressure_pa(t_c: Any, *, beyond: Beyond = "raise") -> Any:
    """Vapour pressure at saturation: over ice below 0.01 degC, over liquid water from there on.

    Parameters
    ----------
    t_c : float or array_like
        Dew point, or frost point below 0.01 degC [degC], -130 to 200.
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        Pressure [Pa] of the pure phase, without enhancement factor; NaN where the input is NaN.

    Raises
    ------
    ValueError
        If a temperature lies outside the range and `beyond` is "raise".
    """

    def pressure(t: Floats) -> Floats:
        return by_phase(
            t,
            t < TRIPLE_C,
            lambda part: np.exp(ice_curve(t[part] + ZERO_C_K)[0]),
            lambda part: np.exp(water_curve(t[part] + ZERO_C_K)[0]),
        )

    return over_chunks(pressure, within(t_c, LOWEST_C, HIGHEST_C, "dew point", "degC", beyond))


_LOWEST_PA = float(np.exp(ice_curve(np.array([LOWEST_C + ZERO_C_K]))[0][0]))
_HIGHEST_PA = float(np.exp(water_curve(np.array([HIGHEST_C + ZERO_C_K]))[0][0]))


def frost_point_c(e_s_pa: Any, *, beyond: Beyond = "raise") -> Any:
    """Temperature at which the pure vapour is saturated: inverse of `saturation_pressure_pa`.

    Parameters
    ----------
    e_s_pa : float or array_like
        Saturation vapour pressure of the pure phase [Pa], that of -130 to 200 degC (8.7e-7 Pa to 1.55 MPa).
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        Frost point below 611.657 Pa, dew point from there on [degC]; the round trip is closed to 1e-9 K.

    Raises
    ------
    ValueError
        If a pressure lies outside the range and `beyond` is "raise".
    """

    def temperature(e: Floats) -> Floats:
        log_e = np.log(e)

        def inverse(curve: Curve, part: NDArray[np.bool_]) -> Floats:
            return solve_k(curve, log_e[part], first_guess_k(curve, log_e[part])) - ZERO_C_K

        # The two releases meet at the triple point to 1e-7; the bound keeps the inverse monotone across that seam.
        return by_phase(
            e,
            e < TRIPLE_PA,
            lambda part: inverse(ice_curve, part),
            lambda part: np.maximum(inverse(water_curve, part), TRIPLE_C),
        )

    return over_chunks(temperature, within(e_s_pa, _LOWEST_PA, _HIGHEST_PA, "vapour pressure", "Pa", beyond))


def supercooled_from_frost_c(frost_point: Any, *, beyond: Beyond = "raise") -> Any:
    """Dew point over supercooled water at the vapour pressure of a frost point; from 0.01 degC on nothing changes.

    Parameters
    ----------
    frost_point : float or array_like
        Frost point, dew point from 0.01 degC on [degC], -130 to 200.
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        Dew point over liquid water [degC], lower than the frost point by up to 4 K around -60 degC.

    Raises
    ------
    ValueError
        If a temperature lies outside the range and `beyond` is "raise".
    """

    def dew_point(t: Floats) -> Floats:
        log_e, _ = ice_curve(np.minimum(t, TRIPLE_C) + ZERO_C_K)
        over_water = solve_k(supercooled_curve, log_e, first_guess_k(supercooled_curve, log_e)) - ZERO_C_K
        return np.where(t < TRIPLE_C, np.minimum(over_water, TRIPLE_C), t)

    return over_chunks(dew_point, within(frost_point, LOWEST_C, HIGHEST_C, "frost point", "degC", beyond))


def frost_from_supercooled_c(dew_point: Any, *, beyond: Beyond = "raise") -> Any:
    """Frost point at the vapour pressure of a dew point over supercooled water; from 0.01 degC on nothing changes.

    Parameters
    ----------
    dew_point : float or array_like
        Dew point over liquid water [degC], -140 to 200.
    beyond : {"raise", "nan"}
        What becomes of a value outside the range.

    Returns
    -------
    float or ndarray
        Frost point below 0.01 degC [degC].

    Raises
    ------
    ValueError
        If a temperature lies outside the range and `beyond` is "raise".
    """

    def frost_point(t: Floats) -> Floats:
        log_e, _ = supercooled_curve(np.minimum(t, TRIPLE_C) + ZERO_C_K)
        over_ice = solve_k(ice_curve, log_e, first_guess_k(ice_curve, log_e)) - ZERO_C_K
        return np.where(t < TRIPLE_C, np.minimum(over_ice, TRIPLE_C), t)

    return over_chunks(
        frost_point, within(dew_point, LOWEST_SUPERCOOLED_C, HIGHEST_C, "dew point over water", "degC", beyond)
    )
