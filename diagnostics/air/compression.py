"""Work to compress air: what a cubic metre per minute costs in power, and what a bar more or less changes.

Question: how does power follow pressure? Method: isentropic and isothermal compression of an ideal gas (form of the
ISO 1217 annex on isentropic power), per m3/min sucked in.
"""

from __future__ import annotations

import math

KAPPA = 1.4


def isentropic_kw_per_m3_min(pressure_ratio: float, inlet_bar: float = 1.0, kappa: float = KAPPA) -> float:
    """Isentropic power per volume flow sucked in.

    Parameters
    ----------
    pressure_ratio : float
        Discharge over inlet, both absolute [-].
    inlet_bar : float
        [bar abs]
    kappa : float
        Isentropic exponent [-].

    Returns
    -------
    float
        ``kappa/(kappa-1) p1 V1 ((p2/p1)^((kappa-1)/kappa) - 1)`` [kW per m3/min].

    Raises
    ------
    ValueError
        If the ratio is below 1 or above 400.
    """
    _check(pressure_ratio, inlet_bar)
    exponent = (kappa - 1.0) / kappa
    return inlet_bar * 1e5 / 60.0 / 1000.0 / exponent * math.expm1(exponent * math.log(pressure_ratio))


def isothermal_kw_per_m3_min(pressure_ratio: float, inlet_bar: float = 1.0) -> float:
    """Isothermal power per volume flow sucked in: the least that any compressor can need.

    Parameters
    ----------
    pressure_ratio : float
        Discharge over inlet, both absolute [-].
    inlet_bar : float
        [bar abs]

    Returns
    -------
    float
        ``p1 V1 ln(p2/p1)`` [kW per m3/min].

    Raises
    ------
    ValueError
        If the ratio is below 1 or above 400.
    """
    _check(pressure_ratio, inlet_bar)
    return inlet_bar * 1e5 / 60.0 / 1000.0 * math.log(pressure_ratio)


def power_ratio(to_bar: float, from_bar: float, inlet_bar: float = 1.01325) -> float:
    """Isentropic power at one discharge pressure over that at another, same air.

    Parameters
    ----------
    to_bar, from_bar, inlet_bar : float
        [bar abs]

    Returns
    -------
    float
        [-]
    """
    return isentropic_kw_per_m3_min(to_bar / inlet_bar) / isentropic_kw_per_m3_min(from_bar / inlet_bar)


def _check(pressure_ratio: float, inlet_bar: float) -> None:
    if not 1.0 <= pressure_ratio <= 400.0:
        raise ValueError(f"pressure_ratio = {pressure_ratio:g} is outside 1 to 400")
    if not 0.1 <= inlet_bar <= 100.0:
        raise ValueError(f"inlet_bar = {inlet_bar:g} bar absolute is outside 0.1 to 100 bar")
