"""Purity class and conformity: what a dew point means against a table or a limit.

Question: which class does a dew point meet, and is a limit kept beyond doubt? Input: dew point, limit, uncertainty.
Method: the class table as printed; a guard band as wide as the expanded uncertainty; the probability of conformity from
the normal distribution.

References
----------
.. [ISO8573] ISO 8573-1:2010, table 2, humidity and liquid water (the table as quoted on several public pages).
.. [JCGM106] JCGM 106:2012 (ISO/IEC Guide 98-4), one upper tolerance limit, vague prior: Phi((T_U - y) / u) (the
   equation from memory).
"""

from __future__ import annotations

import math

from diagnostics.air.record import Conformity

STANDARD = "ISO 8573-1:2010"
CLASS_LIMITS_C = {1: -70.0, 2: -40.0, 3: -20.0, 4: 3.0, 5: 7.0, 6: 10.0}
"""Highest pressure dew point of each water class [degC], the limit itself included, [ISO8573]_."""


def purity_class(dew_point_c: float) -> int | None:
    """Water class that a pressure dew point meets, [ISO8573]_.

    Parameters
    ----------
    dew_point_c : float
        Pressure dew point [degC], compared unrounded.

    Returns
    -------
    int or None
        1 to 6; None above +10 degC, where the classes go by liquid water that a dew point cannot show, and for NaN.
        Class 0 is an agreement stricter than class 1 and never follows from a reading.
    """
    return next((number for number, limit in CLASS_LIMITS_C.items() if dew_point_c <= limit), None)


def conformity(value_c: float, limit_c: float, uncertainty_c: float) -> Conformity:
    """Whether an upper limit is kept, with a guard band as wide as the expanded uncertainty on either side.

    Parameters
    ----------
    value_c, limit_c : float
        Dew point and its highest permitted value [degC].
    uncertainty_c : float
        Expanded uncertainty, k = 2 [K].

    Returns
    -------
    {"pass", "fail", "undecided"}
        "pass" where value + U <= limit, which errs in at most 2.3 % of cases; "fail" where value - U > limit.
    """
    if value_c + uncertainty_c <= limit_c:
        return "pass"
    return "fail" if value_c - uncertainty_c > limit_c else "undecided"


def probability_of_conformity(value_c: float, limit_c: float, standard_uncertainty_c: float) -> float:
    """Probability that the true dew point keeps an upper limit, [JCGM106]_.

    Parameters
    ----------
    value_c, limit_c : float
        Dew point and its highest permitted value [degC].
    standard_uncertainty_c : float
        Standard uncertainty, k = 1 [K]; 0 gives 0 or 1.

    Returns
    -------
    float
        0 to 1 [-].
    """
    if standard_uncertainty_c <= 0.0:
        return 1.0 if value_c <= limit_c else 0.0
    return 0.5 * math.erfc((value_c - limit_c) / standard_uncertainty_c / math.sqrt(2.0))


def acceptance_limit_c(limit_c: float, standard_uncertainty_c: float, probability: float = 0.95) -> float:
    """Highest reading [degC] that keeps an upper limit with at least a given probability [-], [JCGM106]_."""
    from statistics import NormalDist

    return limit_c - NormalDist().inv_cdf(probability) * standard_uncertainty_c
