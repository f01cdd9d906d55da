"""The dryer as hardware: two packed vessels, what regenerates them, how long each part of a half-cycle lasts.

Question: which flows, pressures and temperatures does a plant file stand for? Input: a `Plant`. Output: a `Dryer` that
`twin` can run. Method: the nameplate, and common practice where it is silent (no published source): vessels 2.5 times
as long as wide, steel a quarter of the desiccant's mass, blow-down and refilling times by type.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from diagnostics.bed.column import AIR_GAS_CONSTANT_J_KG_K, Packing, pore_rate_1_s
from diagnostics.bed.isotherm import (
    DESICCANTS,
    VAPOUR_GAS_CONSTANT_J_KG_K,
    Desiccant,
    saturation_over_water_pa,
)
from diagnostics.plant import Plant

FREE_AIR_KG_M3 = 1e5 / (AIR_GAS_CONSTANT_J_KG_K * 293.15)
"""Dry air at 20 degC and 1 bar absolute [kg/m3]."""
State = Literal["depressurising", "regenerating", "cooling", "repressurising", "standby"]

_SLENDERNESS = 2.5
_STEEL_SHARE = 0.25
_STEEL_J_KG_K = 500.0
_TO_WALL_W_M2_K = 30.0
_LOSS_W_M2_K = {"heatless": 7.0}
_LOSS_INSULATED_W_M2_K = 1.5
_HEATER_CEILING_K = {"activated_alumina": 473.15, "silica_gel": 453.15, "molecular_sieve": 523.15}
_HOT_DISCHARGE_K = 413.15
_FASTEST_SHORT_CYCLE = 4.0
_CELLS = 60


@dataclass(frozen=True)
class Phase:
    """What the regenerating vessel goes through, in order."""

    state: State
    duration_s: float


@dataclass(frozen=True)
class Dryer:
    """Two vessels A and B and their settings; pairs are (A, B).

    Attributes
    ----------
    packings : tuple of Packing
    half_cycle_s, shortest_half_cycle_s, longest_half_cycle_s : float
    purge_kg_s : float
        While purging, at `rated_pa` [kg/s]; it follows the line's absolute pressure as a choked orifice does.
    phases : tuple of Phase
        Without the wait that may follow.
    regenerating_pa : float
        In the vessel under regeneration [Pa abs].
    heater_ceiling_k, heater_w : float
        Highest temperature and power; power inf where none is given.
    blower_kg_s : float
        Ambient air for heating [kg/s], 0 without a blower.
    seat_leak_share : float
        Inlet air that passes closed valve seats into the dry side [-].
    unseated, seating_s : float
        How much more comes with the seats' leak right after a switchover, and how fast that fades [-, s]: valves that
        still seat, moisture left in the outlet's pipes. The bump of a healthy heatless trace (0 to 10 K, 10 to 60 s)
        and the spike of a heated one (5 to 40 K, 5 to 45 min); from memory.
    purge_factor, heater_factor : tuple of float
        Faults of one vessel's regeneration; 1 is healthy.
    """

    regeneration: str
    control: str
    packings: tuple[Packing, Packing]
    half_cycle_s: float
    shortest_half_cycle_s: float
    longest_half_cycle_s: float
    limit_c: float
    rated_kg_s: float
    rated_pa: float
    purge_kg_s: float
    phases: tuple[Phase, ...]
    regenerating_pa: float
    heater_ceiling_k: float
    heater_w: float
    blower_kg_s: float
    exhaust_ends_heating: bool
    vessel_void_m3: float
    seat_leak_share: float = 8e-5
    unseated: float = 0.8
    seating_s: float = 20.0
    bypass_share: float = 0.0
    purge_factor: tuple[float, float] = (1.0, 1.0)
    heater_factor: tuple[float, float] = (1.0, 1.0)
    stuck: bool = False

    @property
    def heated(self) -> bool:
        """Whether regeneration uses heat."""
        return self.regeneration != "heatless"

    def stored_kg(self, line_pa: float, temperature_k: float = 303.15) -> float:
        """Air let out at each depressurisation [kg]; refilling takes the same and is not counted again."""
        drop = max(line_pa - self.regenerating_pa, 0.0)
        return self.vessel_void_m3 * drop / (AIR_GAS_CONSTANT_J_KG_K * temperature_k)

    def purge_at(self, line_pa: float, tower: int) -> float:
        """Purge while purging [kg/s] at a line pressure [Pa abs] into tower 0 or 1."""
        return self.purge_kg_s * line_pa / self.rated_pa * self.purge_factor[tower]


def dryer_from(plant: Plant, *, cells: int | None = None, desiccant: Desiccant | None = None) -> Dryer:
    """Build the dryer a plant file describes.

    Parameters
    ----------
    plant : Plant
    cells : int, optional
        Finite volumes along each bed; 60 if not given (120 move the dew point at rating by 0.3 K).
    desiccant : Desiccant, optional
        Beads whose isotherm and heat are known better than those that the plant file's name stands for; generic alumina
        above all is a shape from memory.

    Returns
    -------
    Dryer

    Raises
    ------
    ValueError
        If the plant file gives no rated flow.
    """
    nameplate = plant.dryer
    if nameplate.rated_flow_m3_min is None:
        raise ValueError("a simulated dryer needs dryer.rated_flow_m3_min; add it to the plant file")
    kind = nameplate.regeneration
    half_cycle_s = plant.half_cycle_s
    purge_s = min(nameplate.purge_s or 0.0, 0.97 * half_cycle_s)
    share = nameplate.purge_share or 0.0
    if nameplate.purge_share_means == "average" and purge_s:
        share *= half_cycle_s / purge_s
    atmosphere_pa = plant.site.barometric_pressure_bar * 1e5
    back_bar = nameplate.regenerating_pressure_bar_g
    if back_bar is None:
        back_bar = -0.6 if kind == "vacuum_assisted" else 0.03
    rated_kg_s = nameplate.rated_flow_m3_min / 60.0 * FREE_AIR_KG_M3
    packing = _packing(plant, cells or _CELLS, desiccant or DESICCANTS[nameplate.desiccant])
    regenerating_pa = atmosphere_pa + back_bar * 1e5
    if kind == "heat_of_compression":
        regenerating_pa = plant.rated_pressure_bar * 1e5
    return Dryer(
        regeneration=kind,
        control=nameplate.control,
        packings=(packing, packing),
        half_cycle_s=half_cycle_s,
        shortest_half_cycle_s=nameplate.shortest_half_cycle_s or half_cycle_s,
        longest_half_cycle_s=nameplate.longest_half_cycle_s or 6.0 * half_cycle_s,
        limit_c=nameplate.dew_point_limit_c,
        rated_kg_s=rated_kg_s,
        rated_pa=plant.rated_pressure_bar * 1e5,
        purge_kg_s=share * rated_kg_s,
        phases=_phases(plant, purge_s),
        regenerating_pa=regenerating_pa,
        heater_ceiling_k=_HOT_DISCHARGE_K if kind == "heat_of_compression" else _HEATER_CEILING_K[nameplate.desiccant],
        heater_w=(nameplate.heater_kw * 1e3) if nameplate.heater_kw else math.inf,
        blower_kg_s=_blower_kg_s(kind, rated_kg_s),
        exhaust_ends_heating=nameplate.heating_ends_by == "exhaust_temperature",
        unseated=12.0 if plant.heated else 0.8,
        seating_s=400.0 if plant.heated else 20.0,
        vessel_void_m3=(nameplate.vessel_volume_m3 or packing.void_m3) * packing.desiccant.total_void,
    )


def _packing(plant: Plant, cells: int, desiccant: Desiccant) -> Packing:
    nameplate = plant.dryer
    assert nameplate.desiccant_mass_kg is not None  # filled from the rated flow
    volume = nameplate.desiccant_mass_kg / desiccant.bulk_density_kg_m3
    kinetics = _short_cycle_factor(plant, desiccant)
    width = (4.0 * volume / (math.pi * _SLENDERNESS)) ** (1.0 / 3.0)
    length = _SLENDERNESS * width
    shell = math.pi * width * length
    return Packing(
        desiccant=desiccant,
        length_m=length,
        area_m2=volume / length,
        cells=cells,
        kinetics=kinetics,
        wall_j_k=_STEEL_SHARE * nameplate.desiccant_mass_kg * _STEEL_J_KG_K,
        wall_w_k=_TO_WALL_W_M2_K * shell,
        loss_w_k=_LOSS_W_M2_K.get(nameplate.regeneration, _LOSS_INSULATED_W_M2_K) * shell,
    )


def _short_cycle_factor(plant: Plant, desiccant: Desiccant) -> float:
    """How much faster than by the long-time rate a bead works when half-cycles are short.

    Glueckauf's 15 D/r2 holds for long times; for theta = D t/r2 below 0.1 the equivalent rate is 5.14/sqrt(theta) D/r2
    (Alpay & Scott 1992, Chem. Eng. Sci. 47, 499, from memory). D counts the loading that goes with the gas.
    """
    kelvin, line_pa = plant.dryer.rated_inlet_temperature_c + 273.15, plant.rated_pressure_bar * 1e5
    inlet_pa = float(saturation_over_water_pa(np.array(kelvin)))
    filled = float(desiccant.isotherm.loading(inlet_pa, kelvin)) * desiccant.bulk_density_kg_m3
    in_gas = inlet_pa / (VAPOUR_GAS_CONSTANT_J_KG_K * kelvin)
    theta = pore_rate_1_s(desiccant, line_pa, kelvin) / 15.0 * in_gas / filled * plant.half_cycle_s
    return float(np.clip(5.14 / math.sqrt(theta) / 15.0, 1.0, _FASTEST_SHORT_CYCLE))


def _blower_kg_s(kind: str, rated_kg_s: float) -> float:
    # So much of the rating by mass carries the heat in the usual time; common practice, no published source.
    return {"blower_purge": 0.22, "vacuum_assisted": 0.18}.get(kind, 0.0) * rated_kg_s


def _phases(plant: Plant, purge_s: float) -> tuple[Phase, ...]:
    nameplate, half_cycle_s = plant.dryer, plant.half_cycle_s
    kind = nameplate.regeneration
    if kind == "heatless":
        blow_s = min(10.0, 0.04 * half_cycle_s)
        purge_s = min(purge_s, 0.95 * half_cycle_s - blow_s)
        fill_s = half_cycle_s - blow_s - purge_s
        return Phase("depressurising", blow_s), Phase("regenerating", purge_s), Phase("repressurising", fill_s)
    if kind == "heat_of_compression":
        hot_s = nameplate.heater_s or 0.6 * half_cycle_s
        return Phase("regenerating", hot_s), Phase("cooling", 0.97 * half_cycle_s - hot_s)
    blow_s = min(180.0, 0.015 * half_cycle_s)
    heat_s = nameplate.heater_s or 0.6 * half_cycle_s
    cool_s = purge_s - heat_s if kind == "heated_purge" else purge_s
    cool_s = min(cool_s, half_cycle_s - blow_s - heat_s - 0.01 * half_cycle_s)
    fill_s = min(600.0, half_cycle_s - blow_s - heat_s - cool_s)
    return (
        Phase("depressurising", blow_s),
        Phase("regenerating", heat_s),
        Phase("cooling", max(cool_s, 0.0)),
        Phase("repressurising", fill_s),
    )
