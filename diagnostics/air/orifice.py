"""Air through an orifice: mass flow from bore, pressures and temperature.

Question: how much air does a purge orifice pass? Method: isentropic flow of an ideal gas with a discharge coefficient,
choked below the critical pressure ratio (ISO 9300, ideal-gas form), subsonic above it (Saint-Venant and Wantzel), and
the conductance form of ISO 6358.
"""

from __future__ import annotations

import math

GAMMA = 1.4
GAS_CONSTANT_J_KG_K = 287.05
"""Of dry air."""
_REFERENCE_DENSITY_KG_M3 = 1e5 / (GAS_CONSTANT_J_KG_K * 293.15)


def critical_flow_function(gamma: float = GAMMA) -> float:
    """Critical flow function C* of an ideal gas [-] (ISO 9300).

    Parameters
    ----------
    gamma : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        ``sqrt(gamma (2/(gamma+1))^((gamma+1)/(gamma-1)))``
    """
    return math.sqrt(gamma * (2.0 / (gamma + 1.0)) ** ((gamma + 1.0) / (gamma - 1.0)))


def critical_pressure_ratio(gamma: float = GAMMA) -> float:
    """Downstream over upstream pressure below which the flow is choked [-].

    Parameters
    ----------
    gamma : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        ``(2/(gamma+1))^(gamma/(gamma-1))``
    """
    return (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))


def orifice_kg_s(
    bore_mm: float,
    upstream_bar: float,
    downstream_bar: float,
    temperature_c: float,
    *,
    discharge_coefficient: float = 0.8,
    gamma: float = GAMMA,
) -> float:
    """Mass flow through an orifice.

    Parameters
    ----------
    bore_mm : float
        Diameter of the bore [mm].
    upstream_bar, downstream_bar : float
        Absolute pressures [bar]; the upstream one is the higher.
    temperature_c : float
        Of the air upstream [degC].
    discharge_coefficient : float
        [-]
    gamma : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        [kg/s]

    Raises
    ------
    ValueError
        If bore, pressures, temperature or coefficient are outside their physical range.
    """
    _check(bore_mm, upstream_bar, downstream_bar, temperature_c)
    if not 0.0 < discharge_coefficient <= 1.0:
        raise ValueError(f"discharge_coefficient = {discharge_coefficient:g} is outside 0 to 1")
    area_m2 = math.pi / 4.0 * (bore_mm / 1000.0) ** 2
    density_term = area_m2 * discharge_coefficient * upstream_bar * 1e5
    density_term /= math.sqrt(GAS_CONSTANT_J_KG_K * (temperature_c + 273.15))
    ratio = downstream_bar / upstream_bar
    if ratio <= critical_pressure_ratio(gamma):
        return density_term * critical_flow_function(gamma)
    bracket = ratio ** (2.0 / gamma) - ratio ** ((gamma + 1.0) / gamma)
    return density_term * math.sqrt(2.0 * gamma / (gamma - 1.0) * bracket)


def orifice_m3_min(
    bore_mm: float,
    upstream_bar: float,
    downstream_bar: float,
    temperature_c: float,
    *,
    discharge_coefficient: float = 0.8,
) -> float:
    """Volume flow through an orifice at 20 degC, 1 bar absolute, dry.

    Parameters
    ----------
    bore_mm, upstream_bar, downstream_bar, temperature_c, discharge_coefficient : float
        As in `orifice_kg_s`.

    Returns
    -------
    float
        [m3/min]
    """
    kg_s = orifice_kg_s(
        bore_mm, upstream_bar, downstream_bar, temperature_c, discharge_coefficient=discharge_coefficient
    )
    return kg_s * 60.0 / _REFERENCE_DENSITY_KG_M3


def conductance_kg_s(
    conductance_m3_s_pa: float,
    critical_ratio: float,
    upstream_bar: float,
    downstream_bar: float,
    temperature_c: float,
    *,
    exponent: float = 0.5,
) -> float:
    """Mass flow through a part with a sonic conductance (ISO 6358, from memory).

    Parameters
    ----------
    conductance_m3_s_pa : float
        Sonic conductance C [m3/(s Pa)] at 20 degC, 1 bar, 65 % relative humidity (density 1.185 kg/m3).
    critical_ratio : float
        Critical pressure ratio b [-].
    upstream_bar, downstream_bar : float
        [bar abs]
    temperature_c : float
        Upstream [degC].
    exponent : float
        Subsonic index m [-].

    Returns
    -------
    float
        [kg/s]

    Raises
    ------
    ValueError
        If an input is outside its physical range.
    """
    _check(1.0, upstream_bar, downstream_bar, temperature_c)
    if conductance_m3_s_pa <= 0 or not 0.0 <= critical_ratio < 1.0:
        raise ValueError(
            f"conductance {conductance_m3_s_pa:g} m3/(s Pa) must be above 0, critical ratio {critical_ratio:g} 0 to 1"
        )
    choked = conductance_m3_s_pa * upstream_bar * 1e5 * 1.185 * math.sqrt(293.15 / (temperature_c + 273.15))
    ratio = downstream_bar / upstream_bar
    if ratio <= critical_ratio:
        return choked
    return choked * (1.0 - ((ratio - critical_ratio) / (1.0 - critical_ratio)) ** 2) ** exponent


def _check(bore_mm: float, upstream_bar: float, downstream_bar: float, temperature_c: float) -> None:
    if not 0.0 < bore_mm <= 1000.0:
        raise ValueError(f"bore_mm = {bore_mm:g} mm is outside 0 to 1000 mm")
    if not 0.0 < upstream_bar <= 1000.0:
        raise ValueError(f"upstream_bar = {upstream_bar:g} bar absolute is outside 0 to 1000 bar")
    if not 0.0 <= downstream_bar <= upstream_bar:
        raise ValueError(f"downstream_bar = {downstream_bar:g} bar absolute is outside 0 to upstream {upstream_bar:g}")
    if not -100.0 <= temperature_c <= 500.0:
        raise ValueError(f"temperature_c = {temperature_c:g} degC is outside -100 to 500 degC")
