"""How much water a desiccant holds at equilibrium, and how warm it gets on taking it up.

Question: which vapour pressure stands over a bead of a given loading and temperature, and back? Inputs: loading [kg
water per kg dry desiccant], temperature [K], vapour pressure [Pa]. Method: published fits, each with its range and its
own misfit to the points it was made from; capacities are good to about 10 %.

Sources:

* Toth, 13X, 5A and silica gel granules: Wang & LeVan 2009, J. Chem. Eng. Data 54, 2839 (parameters read in an open
  property database of sorption pairs). Misfit to the paper's own points: 13X -4...+7 %, 5A +-4 %, silica gel
  -10...+12 %.
* Toth, silica gel type RD: Chua et al. 2002/2004 (read in the same database).
* Dubinin-Astakhov, silica gel beads: Sapienza et al. (same database); 0...+12 % at four measured points.
* Guggenheim-Anderson-de Boer (GAB), "generic alumina": no published parameters could be read. The shape is from memory,
  good to +-20 %, and meant to be replaced by whoever knows the beads. Published is only that alumina's isotherm against
  relative humidity hardly depends on temperature between 5 and 35 degC (Serbezov 2003, J. Chem. Eng. Data 48, 421).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
GAS_CONSTANT_J_MOL_K = 8.314462618
WATER_KG_MOL = 0.018015268
VAPOUR_GAS_CONSTANT_J_KG_K = GAS_CONSTANT_J_MOL_K / WATER_KG_MOL

# Wagner & Pruss 1993, J. Phys. Chem. Ref. Data 22, 783, eq. 1 (the saturation line of IAPWS): one smooth expression
# from ice-cold beds (supercooled, extrapolated) to the heater's 300 degC, beyond what `air.humidity` spans.
_CRITICAL_K, _CRITICAL_PA = 647.096, 22.064e6
_WAGNER = (-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502)


def saturation_over_water_pa(temperature_k: Array) -> Array:
    """Vapour pressure of liquid water [Pa] from 243 K (supercooled, extrapolated) to 640 K, temperature in K."""
    tau = 1.0 - temperature_k / _CRITICAL_K
    root = np.sqrt(tau)
    a1, a2, a3, a4, a5, a6 = _WAGNER
    square = tau * tau
    body = tau * (a1 + a2 * root + square * (a3 + a4 * root + a5 * tau + a6 * root * square * square))
    return _CRITICAL_PA * np.exp(_CRITICAL_K / temperature_k * body)


_LEAST_LOADING = 1e-9


def _straightened(loading: Any, held: Any, pressure: Any, slope: Any) -> tuple[Any, Any]:
    """Go straight through zero below the least loading, so that a step that overshoots finds its way back."""
    low = loading < held
    return np.where(low, pressure * loading / held, pressure), np.where(low, pressure / held, slope)


class Isotherm(Protocol):
    """Equilibrium between loading q [kg/kg], vapour pressure p [Pa] and temperature T [K]."""

    def loading(self, pressure_pa: Any, temperature_k: Any) -> Any:
        """Loading [kg/kg] in equilibrium with a vapour pressure [Pa] at a temperature [K]."""
        ...

    def pressure(self, loading: Any, temperature_k: Any) -> Any:
        """Vapour pressure [Pa] in equilibrium with a loading [kg/kg] at a temperature [K]."""
        ...

    def pressure_and_slope(self, loading: Any, temperature_k: Any) -> tuple[Any, Any]:
        """Vapour pressure [Pa] and its derivative by loading [Pa per kg/kg]."""
        ...


@dataclass(frozen=True)
class Toth:
    """``q = qs b p / (1 + (b p)^t)^(1/t)``, ``b = b0 exp(E/T)``, ``t = t0 + c/T``.

    Attributes
    ----------
    qs : float
        Fit constant of the plateau [kg/kg]; a capacity only where t is near 1.
    b0 : float
        [1/Pa]
    energy_k : float
        E [K].
    t0, c_k : float
        Heterogeneity [-] and its change with temperature [K].
    range_pa, range_c : tuple of float
        Range of the measured points.
    """

    qs: float
    b0: float
    energy_k: float
    t0: float
    c_k: float = 0.0
    range_pa: tuple[float, float] = (0.0, np.inf)
    range_c: tuple[float, float] = (-np.inf, np.inf)

    def loading(self, pressure_pa: Any, temperature_k: Any) -> Any:
        """Loading [kg/kg] at a vapour pressure [Pa] and temperature [K]."""
        x = self.b0 * np.exp(self.energy_k / temperature_k) * pressure_pa
        t = self.t0 + self.c_k / temperature_k
        return self.qs * x / (1.0 + x**t) ** (1.0 / t)

    def pressure(self, loading: Any, temperature_k: Any) -> Any:
        """Vapour pressure [Pa] at a loading [kg/kg] below ``qs`` and a temperature [K]."""
        return self.pressure_and_slope(loading, temperature_k)[0]

    def pressure_and_slope(self, loading: Any, temperature_k: Any) -> tuple[Any, Any]:
        """Vapour pressure [Pa] and its derivative by loading [Pa per kg/kg]; straight to zero below 1e-9 kg/kg."""
        held = np.clip(loading, _LEAST_LOADING, self.qs * (1.0 - 1e-9))
        t = self.t0 + self.c_k / temperature_k
        share = held / self.qs
        open_share = 1.0 - share**t
        pressure = share / open_share ** (1.0 / t) / (self.b0 * np.exp(self.energy_k / temperature_k))
        return _straightened(loading, held, pressure, pressure / (held * open_share))


@dataclass(frozen=True)
class DubininAstakhov:
    """``q = W0 exp(-(R T ln(psat/p)/E)^n)``.

    Attributes
    ----------
    w0 : float
        [kg/kg]
    energy_j_mol : float
    exponent : float
    """

    w0: float
    energy_j_mol: float
    exponent: float

    def loading(self, pressure_pa: Any, temperature_k: Any) -> Any:
        """Loading [kg/kg] at a vapour pressure [Pa] and temperature [K]."""
        depth = np.log(saturation_over_water_pa(temperature_k) / np.maximum(pressure_pa, 1e-300))
        potential = GAS_CONSTANT_J_MOL_K * temperature_k * np.maximum(depth, 0.0)
        return self.w0 * np.exp(-((potential / self.energy_j_mol) ** self.exponent))

    def pressure(self, loading: Any, temperature_k: Any) -> Any:
        """Vapour pressure [Pa] at a loading [kg/kg] and temperature [K]; saturation from ``w0`` on."""
        return self.pressure_and_slope(loading, temperature_k)[0]

    def pressure_and_slope(self, loading: Any, temperature_k: Any) -> tuple[Any, Any]:
        """Vapour pressure [Pa] and its derivative by loading [Pa per kg/kg]; straight to zero below 1e-9 kg/kg."""
        held = np.clip(loading, _LEAST_LOADING, self.w0 * (1.0 - 1e-9))
        depth = -np.log(held / self.w0)
        scale = self.energy_j_mol / (GAS_CONSTANT_J_MOL_K * temperature_k)
        pressure = saturation_over_water_pa(temperature_k) * np.exp(-scale * depth ** (1.0 / self.exponent))
        slope = pressure * scale / self.exponent * depth ** (1.0 / self.exponent - 1.0) / held
        return _straightened(loading, held, pressure, slope)


@dataclass(frozen=True)
class Gab:
    """``q = qm C K x / ((1 - K x)(1 - K x + C K x))`` with x the relative humidity over water.

    Attributes
    ----------
    qm : float
        Monolayer [kg/kg].
    c, k : float
        [-]; k below 1.
    """

    qm: float
    c: float
    k: float

    def loading(self, pressure_pa: Any, temperature_k: Any) -> Any:
        """Loading [kg/kg] at a vapour pressure [Pa] and temperature [K]; more than saturated counts as saturated."""
        y = self.k * np.clip(pressure_pa / saturation_over_water_pa(temperature_k), 0.0, 1.0)
        return self.qm * self.c * y / ((1.0 - y) * (1.0 + (self.c - 1.0) * y))

    def _bottom(self, loading: Any) -> tuple[Any, Any, Any]:
        b = self.qm * self.c - loading * (self.c - 2.0)
        root = np.sqrt(b * b + 4.0 * (self.c - 1.0) * loading * loading)
        return b, root, b + root

    def pressure(self, loading: Any, temperature_k: Any) -> Any:
        """Vapour pressure [Pa] at a loading [kg/kg] and temperature [K]; never above saturation."""
        humidity = np.minimum(2.0 * loading / (self.k * self._bottom(loading)[2]), 1.0)
        return saturation_over_water_pa(temperature_k) * humidity

    def pressure_and_slope(self, loading: Any, temperature_k: Any) -> tuple[Any, Any]:
        """Vapour pressure [Pa] and its derivative by loading [Pa per kg/kg]; beyond saturation as if it went on."""
        b, root, bottom = self._bottom(loading)
        steep = saturation_over_water_pa(temperature_k) * 2.0 / (self.k * bottom)
        bottom_slope = -(self.c - 2.0) + (4.0 * (self.c - 1.0) * loading - (self.c - 2.0) * b) / root
        saturated = steep * self.k * bottom / 2.0
        return np.minimum(steep * loading, saturated), steep * (1.0 - loading * bottom_slope / bottom)


@dataclass(frozen=True)
class Langmuir:
    """``q = qs b p / (1 + b p)``, the same at every temperature: for checks against closed forms."""

    qs: float
    b: float

    def loading(self, pressure_pa: Any, temperature_k: Any) -> Any:
        """Loading [kg/kg] at a vapour pressure [Pa]."""
        return self.qs * self.b * pressure_pa / (1.0 + self.b * pressure_pa) + 0.0 * temperature_k

    def pressure(self, loading: Any, temperature_k: Any) -> Any:
        """Vapour pressure [Pa] at a loading [kg/kg] below ``qs``."""
        share = np.clip(loading / self.qs, -0.5, 1.0 - 1e-12)
        return share / (self.b * (1.0 - share)) + 0.0 * temperature_k

    def pressure_and_slope(self, loading: Any, temperature_k: Any) -> tuple[Any, Any]:
        """Vapour pressure [Pa] and its derivative by loading [Pa per kg/kg]."""
        share = np.clip(loading / self.qs, -0.5, 1.0 - 1e-12)
        slope = 1.0 / (self.b * self.qs * (1.0 - share) ** 2) + 0.0 * temperature_k
        return self.pressure(loading, temperature_k), slope


@dataclass(frozen=True)
class Linear:
    """``q = h p``, the same at every temperature: for checks against closed forms."""

    henry: float

    def loading(self, pressure_pa: Any, temperature_k: Any) -> Any:
        """Loading [kg/kg] at a vapour pressure [Pa]."""
        return self.henry * pressure_pa + 0.0 * temperature_k

    def pressure(self, loading: Any, temperature_k: Any) -> Any:
        """Vapour pressure [Pa] at a loading [kg/kg]."""
        return loading / self.henry + 0.0 * temperature_k

    def pressure_and_slope(self, loading: Any, temperature_k: Any) -> tuple[Any, Any]:
        """Vapour pressure [Pa] and its derivative by loading [Pa per kg/kg]."""
        return self.pressure(loading, temperature_k), 1.0 / self.henry + 0.0 * temperature_k


def isosteric_heat_j_kg(isotherm: Isotherm, loading: Any, temperature_k: Any) -> Any:
    """Heat of adsorption [J/kg water] by Clausius-Clapeyron on the fit, ideal vapour, central difference of 1 K.

    Parameters
    ----------
    isotherm : Isotherm
    loading : float or array
        [kg/kg]
    temperature_k : float or array
        [K]
    """
    warm = np.log(isotherm.pressure(loading, temperature_k + 0.5))
    cold = np.log(isotherm.pressure(loading, temperature_k - 0.5))
    return VAPOUR_GAS_CONSTANT_J_KG_K * temperature_k**2 * (warm - cold)


TOTH_13X = Toth(0.271875, 2.408e-10, 6852.0, 0.3974, -4.199, (10.0, 1830.0), (0.0, 100.0))
TOTH_5A = Toth(0.422675, 4.714e-13, 9955.0, 0.3548, -51.14, (15.0, 1660.0), (0.0, 100.0))
TOTH_SILICA_GEL = Toth(114219.6, 2.787e-8, 1093.0, -0.00119, 22.13, (14.0, 5250.0), (0.0, 75.0))
TOTH_SILICA_GEL_RD = Toth(0.45, 1.6222e-12, 5835.03, 12.0, 0.0)
SILICA_GEL_BEADS = DubininAstakhov(0.38, 3962.2, 1.1)
GENERIC_ALUMINA = Gab(0.1088, 10.23, 0.7857)


@dataclass(frozen=True)
class Desiccant:
    """A packing: what it holds, how heavy and how warm.

    Attributes
    ----------
    isotherm : Isotherm
    bulk_density_kg_m3, bed_void, particle_void, bead_mm : float
        [kg/m3], [-], [-], [mm].
    heat_of_adsorption_j_kg : float
        Taken as constant [J/kg water].
    specific_heat_j_kg_k, water_specific_heat_j_kg_k : float
        Of the dry beads and of the adsorbed water [J/kg K]; both from memory.
    tortuosity : float
        Of the beads' pores [-], a fitted number.
    """

    name: str
    isotherm: Isotherm
    bulk_density_kg_m3: float
    bed_void: float
    particle_void: float
    bead_mm: float
    heat_of_adsorption_j_kg: float
    specific_heat_j_kg_k: float = 1000.0
    water_specific_heat_j_kg_k: float = 4000.0
    tortuosity: float = 4.0

    @property
    def total_void(self) -> float:
        """Void between and inside the beads [-]."""
        return self.bed_void + (1.0 - self.bed_void) * self.particle_void


DESICCANTS: dict[str, Desiccant] = {
    # 769 kg/m3: Serbezov 2003; heat, voids and bead size: common practice, no published source.
    "activated_alumina": Desiccant("generic alumina", GENERIC_ALUMINA, 769.0, 0.38, 0.50, 3.0, 2.80e6),
    # The Toth fit of silica gel must not be trusted below 10 Pa; a dryer lives there, so the beads' fit is taken.
    "silica_gel": Desiccant("silica gel beads", SILICA_GEL_BEADS, 700.0, 0.38, 0.45, 3.0, 2.65e6),
    # 689 kg/m3: Kim et al. 2003, J. Chem. Eng. Data 48, 137; heat from the Toth fit by Clausius-Clapeyron.
    "molecular_sieve": Desiccant("zeolite 13X beads", TOTH_13X, 689.0, 0.37, 0.35, 2.0, 3.12e6),
}
