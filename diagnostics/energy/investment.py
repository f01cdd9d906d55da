"""Sums of an investment: present values, payback, rate of return, cost of a saved kilowatt-hour.

Method: an outlay now, amounts at each year's end; a saving may grow from year to year, upkeep does not. The discounted
payback counts within the year as the closed form of an annuity does.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_LONGEST_YEARS = 1000.0
_RATES = (-0.95, 1e6)


def simple_payback_years(outlay: float, yearly: float) -> float | None:
    """Outlay over the first year's net saving [a]; None unless both are above nought."""
    return outlay / yearly if outlay > 0.0 and yearly > 0.0 else None


def annuity_factor(rate: float, years: float, growth: float = 0.0) -> float:
    """Present value of 1 at the first year's end, growing by ``growth`` from year to year [-].

    Parameters
    ----------
    rate, growth : float
        Yearly, above -1.
    years : float
        May be broken.

    Returns
    -------
    float
        ``(1 - ((1+growth)/(1+rate))^years) / (rate - growth)``
    """
    if abs(rate - growth) < 1e-12:
        return years / (1.0 + rate)
    exponent = years * (math.log1p(growth) - math.log1p(rate))
    return -math.expm1(min(exponent, 700.0)) / (rate - growth)


def cash_flows(outlay: float, saving: float, upkeep: float, growth: float, years: int) -> Floats:
    """Amounts by year, shape (years + 1,): the outlay as a negative amount in year 0, then saving less upkeep.

    Parameters
    ----------
    outlay, saving, upkeep : float
        Amount now; first year's saving; yearly upkeep [currency].
    growth : float
        Yearly growth of the saving [-].
    years : int

    Returns
    -------
    ndarray, shape (years + 1,)
        [currency]
    """
    order = np.arange(years)
    return np.concatenate(([-outlay], saving * (1.0 + growth) ** order - upkeep))


def net_present_value(flows: Floats, rate: float) -> float:
    """Present value of amounts at the end of years 0, 1, 2 …

    Parameters
    ----------
    flows : ndarray, shape (years + 1,)
    rate : float
        Yearly discount rate, above -1 [-].

    Returns
    -------
    float
        ``sum(flows / (1 + rate)^year)``
    """
    return float(np.sum(flows * (1.0 + rate) ** -np.arange(flows.size, dtype=np.float64)))


def internal_rate(flows: Floats) -> float | None:
    """Rate at which the present value is nought [-].

    Parameters
    ----------
    flows : ndarray, shape (years + 1,)

    Returns
    -------
    float or None
        None where the amounts do not change sign exactly once, so that no single rate answers, or it lies beyond
        -95 % or a millionfold.
    """
    signs = np.sign(flows[flows != 0.0])
    if np.count_nonzero(np.diff(signs)) != 1:
        return None
    from scipy.optimize import brentq

    low, high = _RATES
    # Signs rather than their product, which would underflow for tiny amounts.
    if np.sign(net_present_value(flows, low)) * np.sign(net_present_value(flows, high)) >= 0.0:
        return None
    return float(brentq(lambda rate: net_present_value(flows, rate), low, high, xtol=1e-10))


def discounted_payback_years(
    outlay: float, saving: float, upkeep: float, rate: float, growth: float = 0.0
) -> float | None:
    """Years until discounted net savings cover the outlay [a].

    Parameters
    ----------
    outlay : float
    saving, upkeep : float
        First year's saving, yearly upkeep.
    rate, growth : float
        Yearly discount rate and growth of the saving [-].

    Returns
    -------
    float or None
        None where they never do within 1000 years.
    """
    if outlay <= 0.0 or saving <= upkeep:
        return None
    from scipy.optimize import brentq

    def covered(years: float) -> float:
        return saving * annuity_factor(rate, years, growth) - upkeep * annuity_factor(rate, years) - outlay

    years = np.concatenate((np.arange(0.0, 60.0), np.geomspace(60.0, _LONGEST_YEARS, 60)))
    values = [covered(float(year)) for year in years]
    first = next((i for i, value in enumerate(values) if value >= 0.0), None)
    return None if first is None else float(brentq(covered, years[first - 1], years[first], xtol=1e-9))


def capital_recovery_factor(rate: float, years: float) -> float:
    """Yearly amount that pays off 1 over ``years`` at ``rate`` [1/a]."""
    return 1.0 / annuity_factor(rate, years)


def cost_per_saved_kwh(outlay: float, upkeep: float, saved_kwh: float, rate: float, years: float) -> float | None:
    """Yearly cost of the measure over the energy it saves [currency/kWh]; None where nothing is saved.

    Parameters
    ----------
    outlay, upkeep : float
        [currency], [currency/a]
    saved_kwh : float
        [kWh/a]
    rate : float
        Yearly discount rate [-].
    years : float

    Returns
    -------
    float or None
        ``(outlay CRF + upkeep) / saved_kwh``
    """
    if saved_kwh <= 0.0:
        return None
    return (outlay * capital_recovery_factor(rate, years) + upkeep) / saved_kwh
