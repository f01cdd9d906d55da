"""The saturation curves of water and how to run along them backwards.

Question: what are ln e and its slope at a temperature, and at which temperature does a curve reach a given ln e? Input
and output: arrays of K and of ln(Pa). Method: published equations; their inverse by Newton's method.

References
----------
.. [R14] IAPWS R14-08(2011), Revised Release on the Pressure along the Melting and Sublimation Curves of Ordinary Water
   Substance, eq. 6.
.. [SR1] IAPWS SR1-86(1992), Revised Supplementary Release on Saturation Properties of Ordinary Water Substance, eq. 1.
.. [MK] D. M. Murphy and T. Koop, Review of the vapour pressures of ice and supercooled water for atmospheric
   applications, Q. J. R. Meteorol. Soc. 131 (2005) 1539, eq. 10.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Beyond = Literal["raise", "nan"]

ZERO_C_K = 273.15
TRIPLE_K = 273.16
TRIPLE_C = 0.01
TRIPLE_PA = 611.657
LOWEST_C = -130.0
HIGHEST_C = 200.0
LOWEST_SUPERCOOLED_C = -140.0

_CHUNK = 65_536
"""Elements worked on at a time: the intermediate arrays then stay in the processor's cache."""

Curve = Callable[[Floats], tuple[Floats, Floats]]
"""What a saturation curve is here: from T [K] to ln(e/Pa) and its slope [1/K]."""


def over_chunks(function: Callable[..., Floats], *arguments: Any) -> Any:
    """Apply a function of equally shaped arrays chunk by chunk; floats in, float out.

    Parameters
    ----------
    function : callable
        Takes as many 1-D arrays (or 0-D arrays, where an argument is the same for all) as there are arguments.
    *arguments : float or array_like
        Broadcast against each other.

    Returns
    -------
    float or ndarray
        Of the shape the arguments broadcast to.
    """
    arrays = [np.asarray(argument, dtype=np.float64) for argument in arguments]
    shape = np.broadcast_shapes(*(array.shape for array in arrays))
    if shape == ():
        return float(function(*(array.reshape(1) for array in arrays))[0])
    flat = [array if array.ndim == 0 else np.broadcast_to(array, shape).reshape(-1) for array in arrays]
    out = np.empty(int(np.prod(shape)))
    for start in range(0, out.size, _CHUNK):
        part = slice(start, start + _CHUNK)
        out[part] = function(*(array if array.ndim == 0 else array[part] for array in flat))
    return out.reshape(shape)


def within(values: Any, low: float, high: float, what: str, unit: str, beyond: Beyond) -> Floats:
    """Values with those outside a range refused or set to NaN; NaN stays NaN.

    Parameters
    ----------
    values : float or array_like
    low, high : float
        Range allowed, both ends included.
    what, unit : str
        For the message.
    beyond : {"raise", "nan"}

    Returns
    -------
    ndarray

    Raises
    ------
    ValueError
        If a value lies outside and `beyond` is "raise": it names the value, the unit and the range.
    """
    array = np.asarray(values, dtype=np.float64)
    outside = (array < low) | (array > high)
    if not outside.any():
        return array
    if beyond == "raise":
        culprit = float(array[outside].flat[0]) if array.ndim else float(array)
        raise ValueError(f"{what} {culprit:g} {unit} is outside {low:g} to {high:g} {unit}")
    return np.where(outside, np.nan, array)


def ice_curve(t_k: Floats) -> tuple[Floats, Floats]:
    """Logarithm of the sublimation pressure [ln Pa] and its slope [1/K] at `t_k` [K]; [R14]_ eq. 6."""
    log_theta = np.log(t_k / TRIPLE_K)
    first = -21.2144006 * np.exp((0.00333333333 - 1.0) * log_theta)
    second = 27.3203819 * np.exp((1.20666667 - 1.0) * log_theta)
    third = -6.10598130 * np.exp((1.70333333 - 1.0) * log_theta)
    slope = ((0.00333333333 - 1.0) * first + (1.20666667 - 1.0) * second + (1.70333333 - 1.0) * third) / t_k
    return np.log(TRIPLE_PA) + first + second + third, slope


def water_curve(t_k: Floats) -> tuple[Floats, Floats]:
    """Logarithm of the vapour pressure of liquid water [ln Pa] and its slope [1/K] at `t_k` [K]; [SR1]_ eq. 1."""
    critical_k, critical_pa = 647.096, 22.064e6
    v = 1.0 - t_k / critical_k
    s = np.sqrt(v)
    v2 = v * v
    v3 = v2 * v
    v6 = v3 * v3
    a1, a2, a3, a4, a5, a6 = -7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502
    total = v * (a1 + a2 * s + a3 * v2 + a4 * v2 * s + a5 * v3 + a6 * v6 * s)
    by_v = a1 + 1.5 * a2 * s + 3 * a3 * v2 + 3.5 * a4 * v2 * s + 4 * a5 * v3 + 7.5 * a6 * v6 * s
    log_ratio = critical_k / t_k * total
    return np.log(critical_pa) + log_ratio, -(log_ratio + by_v) / t_k


def supercooled_curve(t_k: Floats) -> tuple[Floats, Floats]:
    """Logarithm of the vapour pressure of supercooled water [ln Pa] and its slope [1/K] at `t_k` [K]; [MK]_ eq. 10."""
    log_t = np.log(t_k)
    bend = np.tanh(0.0415 * (t_k - 218.8))
    cold = 53.878 - 1331.22 / t_k - 9.44523 * log_t + 0.014025 * t_k
    value = 54.842763 - 6763.22 / t_k - 4.210 * log_t + 0.000367 * t_k + bend * cold
    slope = (
        6763.22 / t_k**2
        - 4.210 / t_k
        + 0.000367
        + 0.0415 * (1.0 - bend**2) * cold
        + bend * (1331.22 / t_k**2 - 9.44523 / t_k + 0.014025)
    )
    return value, slope


# Reciprocal temperature [1/K] as a polynomial in ln(e/Pa), rising powers, and the range it was fitted on: our own
# Chebyshev fits to the curves above, within 0.04 mK of them; Newton's method on the curve itself takes it from there.
_ICE_START = (
    (
        0.00470425831047,
        -0.000162731175414,
        4.164570134e-08,
        -2.48735352139e-09,
        -1.49467176596e-10,
        -7.08490163373e-12,
        -2.25228824726e-13,
    ),
    (-8.9, 6.42),
)
_WATER_START = (
    (
        0.00480965650088,
        -0.000175570019201,
        -1.55157991324e-07,
        -8.77988409625e-08,
        7.028233362e-09,
        -5.00689893951e-10,
        1.14756160584e-11,
    ),
    (4.8, 10.35),
)
_SUPERCOOLED_START = (
    (
        0.00479893611049,
        -0.000172796247881,
        1.8416999791e-06,
        -1.23800690102e-06,
        2.42574692369e-07,
        -2.26455789164e-08,
        8.16111992094e-10,
    ),
    (1.85, 6.42),
)
_STARTS: dict[Curve, tuple[tuple[float, ...], tuple[float, float]]] = {
    ice_curve: _ICE_START,
    water_curve: _WATER_START,
    supercooled_curve: _SUPERCOOLED_START,
}


def first_guess_k(curve: Curve, log_e: Floats) -> Floats:
    """Temperature [K] within 0.04 mK of the curve's inverse in the fitted range, at that range's end beyond it."""
    coefficients, (low, high) = _STARTS[curve]
    x = np.clip(log_e, low, high)
    reciprocal = np.full_like(x, coefficients[-1])
    for coefficient in coefficients[-2::-1]:
        reciprocal *= x
        reciprocal += coefficient
    return 1.0 / reciprocal


def solve_k(curve: Curve, log_e: Floats, start_k: Floats) -> Floats:
    """Temperature [K] at which `curve` reaches `log_e`, by Newton's method in reciprocal temperature.

    The curves are nearly straight in 1/T, so that each step squares a small error: once a step is below 1e-4 K,
    the next error is below 1e-10 K.
    """
    t_k = start_k
    for _ in range(50):
        value, slope = curve(t_k)
        reciprocal = 1.0 / t_k + (value - log_e) / (t_k * t_k * slope)
        new_k = 1.0 / reciprocal
        step = np.abs(new_k - t_k)
        t_k = new_k
        if not (step > 1e-4).any():
            return t_k
    raise ArithmeticError(f"the inversion of the saturation curve did not settle at ln(e/Pa) = {log_e[step > 1e-4]}")


def by_phase(
    values: Floats, is_ice: NDArray[np.bool_], ice: Callable[..., Floats], water: Callable[..., Floats]
) -> Floats:
    """Evaluate the one or the other function where it applies, and only there; both take the mask of their elements."""
    if is_ice.all():
        return ice(is_ice)
    if not is_ice.any():
        return water(~is_ice)
    out = np.empty_like(values)
    out[is_ice] = ice(is_ice)
    out[~is_ice] = water(~is_ice)
    return out
