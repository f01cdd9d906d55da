"""One packed bed, or several in a row, as finite volumes: what leaves it, and how water and heat move inside.

Question: how wet and how warm is the air that leaves a bed, given what enters? Inputs: loading and enthalpy of each
cell, the stream. Output: the same after some time, and the leaving air step by step.

Model: plug flow, gas quasi-steady (the gas in the voids holds a few thousandths of the water), linear driving force,
heat of adsorption, separate gas and bead temperatures, optionally a steel wall. With G the dry air's mass flux, Y the
mixing ratio, q the loading and stars for equilibrium over the beads:

    G dY/dz = -K (Y - Y*(q, T)),    rho_b dq/dt = K (Y - Y*),    G c dTg/dz = -U (Tg - T)

K is the driving force's conductance in the gas (film and pores in series) or, for the solid's law dq/dt = k (q* - q),
the chord k rho_b (q*(Y) - q) / (Y - Y*(q)). Within a cell beads are uniform and the gas is integrated exactly, which is
second order in the transfer units of one cell; `march` steps in time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diagnostics.bed.isotherm import Desiccant

Array = NDArray[np.float64]
AIR_HEAT_J_KG_K = 1007.0
VAPOUR_HEAT_J_KG_K = 1860.0
MASS_RATIO = 0.62198
AIR_GAS_CONSTANT_J_KG_K = 287.05
REFERENCE_K = 273.15
_FEED_K = 308.15
HIGHEST_SHARE = 0.5


def mixing_ratio(vapour_pa: Array, pressure_pa: Array | float) -> Array:
    """Water per dry air [kg/kg] of a vapour pressure [Pa] at a total pressure [Pa]."""
    vapour = np.minimum(vapour_pa, HIGHEST_SHARE * pressure_pa)
    return MASS_RATIO * vapour / (pressure_pa - vapour)


def vapour_pressure(ratio: Array | float, pressure_pa: Array | float) -> Array | float:
    """Vapour pressure [Pa] of a mixing ratio [kg/kg] at a total pressure [Pa]."""
    return pressure_pa * ratio / (MASS_RATIO + ratio)


@dataclass(frozen=True)
class Packing:
    """A bed's shape and how fast it exchanges.

    Attributes
    ----------
    desiccant : Desiccant
    length_m, area_m2 : float
    cells : int
    heat : {"isothermal", "adiabatic", "wall"}
    law : {"gas", "solid", "sites"}
        Which driving force is linear; "sites" is Thomas' reversible kinetics of second order, the gas's law times the
        share of free sites, for isotherms with a plateau ``qs``. Second order in time without heat balance, first with.
    conductance_1_s : float or None
        Per bed volume, on concentration in the gas, for law "gas" [1/s]; None reckons film and pores in series.
    solid_rate_1_s : float
        k of the law "solid" [1/s].
    kinetics : float
        Multiplies the rate (1 for new beads) [-].
    capacity : float
        Multiplies the loading that a vapour pressure fills (1 for new beads) [-].
    wall_j_k : float
        Steel that warms with one bed [J/K].
    wall_w_k, loss_w_k : float
        From beads to steel and from steel to the room, whole bed [W/K].
    dispersion_m2_s : float
        Axial dispersion, folded into the conductance by its second moment (Ruthven 1984, Principles of Adsorption
        and Adsorption Processes, ch. 8).
    """

    desiccant: Desiccant
    length_m: float
    area_m2: float
    cells: int = 100
    heat: Literal["isothermal", "adiabatic", "wall"] = "wall"
    law: Literal["gas", "solid", "sites"] = "gas"
    conductance_1_s: float | None = None
    solid_rate_1_s: float = 4e-4
    kinetics: float = 1.0
    capacity: float = 1.0
    wall_j_k: float = 0.0
    wall_w_k: float = 0.0
    loss_w_k: float = 0.0
    dispersion_m2_s: float = 0.0

    @property
    def mass_kg(self) -> float:
        """Dry desiccant [kg]."""
        return self.length_m * self.area_m2 * self.desiccant.bulk_density_kg_m3

    @property
    def cell_kg(self) -> float:
        """Dry desiccant of one cell [kg]."""
        return self.mass_kg / self.cells

    @property
    def void_m3(self) -> float:
        """Gas space between and inside the beads [m3]."""
        return self.length_m * self.area_m2 * self.desiccant.total_void

    def with_faults(self, *, capacity: float = 1.0, kinetics: float = 1.0) -> Packing:
        """Bed whose capacity and rate are multiplied."""
        return replace(self, capacity=self.capacity * capacity, kinetics=self.kinetics * kinetics)


def pore_rate_1_s(desiccant: Desiccant, pressure_pa: float, temperature_k: float) -> float:
    """Conductance of the beads' pores on concentration, per bed volume [1/s].

    15 De / rp^2 (Glueckauf 1955), De = void x D / tortuosity.
    """
    diffusivity = _diffusivity_m2_s(pressure_pa, temperature_k)
    inside = desiccant.particle_void * diffusivity / desiccant.tortuosity
    return 15.0 * (1.0 - desiccant.bed_void) * inside / (0.5e-3 * desiccant.bead_mm) ** 2


def _diffusivity_m2_s(pressure_pa: float, temperature_k: float) -> float:
    # Water in air 2.6e-5 m2/s at 298 K and 1 bar, as T^1.75/p; common practice, no published source.
    return 2.6e-5 * (temperature_k / 298.15) ** 1.75 * 1e5 / pressure_pa


def exchange_rates(packing: Packing, flow_kg_s: float, pressure_pa: float, temperature_k: float) -> tuple[float, float]:
    """Mass conductance on concentration [1/s] and heat conductance [W/m3 K], both per bed volume.

    Film: Sh = 2 + 1.1 Sc^(1/3) Re^0.6 (Wakao & Funazkri 1978, Chem. Eng. Sci. 33, 1375), heat by the same with Pr, in
    series with the pores.
    """
    desiccant = packing.desiccant
    bead = desiccant.bead_mm * 1e-3
    density = pressure_pa / (AIR_GAS_CONSTANT_J_KG_K * temperature_k)
    viscosity = 1.85e-5 * (temperature_k / 300.0) ** 0.7
    diffusivity = _diffusivity_m2_s(pressure_pa, temperature_k)
    reynolds = flow_kg_s / packing.area_m2 * bead / viscosity
    schmidt = viscosity / (density * diffusivity)
    beads = 1.0 - desiccant.bed_void
    surface = 6.0 * beads / bead
    film = (2.0 + 1.1 * schmidt ** (1 / 3) * reynolds**0.6) * diffusivity / bead * surface
    pores = pore_rate_1_s(desiccant, pressure_pa, temperature_k)
    conductivity = 0.0262 * (temperature_k / 300.0) ** 0.8
    heat = (2.0 + 1.1 * 0.7 ** (1 / 3) * reynolds**0.6) * conductivity / bead * surface
    mass = packing.conductance_1_s or 1.0 / (1.0 / film + 1.0 / pores)
    mass *= packing.kinetics
    if packing.dispersion_m2_s and flow_kg_s:
        speed = flow_kg_s / packing.area_m2 / density
        mass = 1.0 / (1.0 / mass + packing.dispersion_m2_s / speed**2)
    return mass, heat


@dataclass(frozen=True)
class Stream:
    """Air entering a bed.

    Attributes
    ----------
    flow_kg_s : float or array (cells,)
        Dry air through each cell's faces; an array where gas is stored or let out on the way.
    ratio : float or None
        Mixing ratio [kg/kg]; None takes what leaves the bed before.
    temperature_k : float or None
        None takes what leaves the bed before.
    pressure_pa : float
    exchange_k : float
        Temperature the exchange rates are taken at [K].
    """

    flow_kg_s: float | Array
    ratio: float | None
    temperature_k: float | None
    pressure_pa: float
    exchange_k: float = _FEED_K


@dataclass
class BedState:
    """Loading [kg/kg], enthalpy [J per kg dry desiccant] and wall temperature [K] of each cell, in order of flow."""

    loading: Array
    enthalpy: Array
    wall_k: Array

    def copy(self) -> BedState:
        """Independent copy."""
        return BedState(self.loading.copy(), self.enthalpy.copy(), self.wall_k.copy())

    def reversed(self) -> BedState:
        """The same bed, cells in the other order."""
        return BedState(self.loading[::-1].copy(), self.enthalpy[::-1].copy(), self.wall_k[::-1].copy())


@dataclass
class Passage:
    """What crossed the beds' ends.

    Attributes
    ----------
    ratio, temperature_k : array (steps, beds)
        Leaving air, mean over each step: mixing ratio [kg/kg], temperature [K].
    water_in_kg, water_out_kg, void_kg : array (beds,)
        Over the whole march; `void_kg` is what void gas took along where the flow differs from face to face.
    heat_in_j, heat_out_j : array (beds,)
        Enthalpy of the gas above 0 degC.
    """

    ratio: Array
    temperature_k: Array
    water_in_kg: Array
    water_out_kg: Array
    void_kg: Array
    heat_in_j: Array
    heat_out_j: Array
    wall_j: Array


def heat_at_reference(desiccant: Desiccant) -> float:
    """Heat of adsorption at 0 degC [J/kg] whose value at 35 degC is the desiccant's."""
    return desiccant.heat_of_adsorption_j_kg + (desiccant.water_specific_heat_j_kg_k - VAPOUR_HEAT_J_KG_K) * 35.0


def temperature_of(desiccant: Desiccant, loading: Array, enthalpy: Array) -> Array:
    """Bead temperature [K] of loading [kg/kg] and enthalpy [J/kg]."""
    capacity = desiccant.specific_heat_j_kg_k + desiccant.water_specific_heat_j_kg_k * loading
    return REFERENCE_K + (enthalpy + heat_at_reference(desiccant) * loading) / capacity


def enthalpy_of(desiccant: Desiccant, loading: Array, temperature_k: Array | float) -> Array:
    """Enthalpy [J per kg dry desiccant] of loading [kg/kg] at a temperature [K]."""
    capacity = desiccant.specific_heat_j_kg_k + desiccant.water_specific_heat_j_kg_k * loading
    return capacity * (temperature_k - REFERENCE_K) - heat_at_reference(desiccant) * loading


def uniform_state(packing: Packing, loading: float, temperature_k: float) -> BedState:
    """Bed of one loading [kg/kg] and temperature [K]."""
    q = np.full(packing.cells, float(loading))
    return BedState(q, enthalpy_of(packing.desiccant, q, temperature_k), np.full(packing.cells, float(temperature_k)))
