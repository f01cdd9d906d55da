"""Heat of regeneration: what goes into bed, steel and water, and how long a heatless bed keeps its heat.

Question: which part of the heat is spent per regeneration and which per kilogram of water? Input: bed, water taken up.
Method: heat balance of one regeneration; speed of the thermal wave for the heat a heatless bed keeps.
"""

from __future__ import annotations

from diagnostics.air.orifice import GAS_CONSTANT_J_KG_K
from diagnostics.plant import BULK_DENSITY_KG_M3, Plant

BED_J_KG_K, STEEL_J_KG_K, AIR_J_KG_K = 1000.0, 500.0, 1007.0
HEAT_OF_ADSORPTION_KJ_KG = {"activated_alumina": 2800.0, "silica_gel": 2700.0, "molecular_sieve": 3600.0}
SENSIBLE_WATER_KJ_KG = 120.0
STEEL_PER_BED_KG, TEMPERATURE_RISE_K = 0.24, 115.0
"""Steel that is heated with a kilogram of bed, and by how much both are heated (from memory)."""

BED_VOID = {"activated_alumina": 0.39, "silica_gel": 0.385, "molecular_sieve": 0.375}
PARTICLE_VOID = {"activated_alumina": 0.50, "silica_gel": 0.45, "molecular_sieve": 0.35}
"""Middles of the usual ranges (from memory)."""


def total_void(desiccant: str) -> float:
    """Void of bed and pores: bed + (1 - bed) x particle [-]."""
    return BED_VOID[desiccant] + (1.0 - BED_VOID[desiccant]) * PARTICLE_VOID[desiccant]


def regeneration_heat_kwh(
    bed_kg: float,
    steel_kg: float,
    rise_k: float,
    water_kg: float,
    *,
    adsorption_kj_kg: float = 2800.0,
    sensible_kj_kg: float = SENSIBLE_WATER_KJ_KG,
) -> float:
    """Heat of one regeneration without exhaust and wall loss.

    Parameters
    ----------
    bed_kg, steel_kg, water_kg : float
        Desiccant, steel and water of one vessel [kg].
    rise_k : float
        Rise of bed and steel [K].
    adsorption_kj_kg, sensible_kj_kg : float
        Heat to desorb and to warm the water [kJ/kg].

    Returns
    -------
    float
        [kWh]
    """
    solid = (bed_kg * BED_J_KG_K + steel_kg * STEEL_J_KG_K) / 1000.0 * rise_k
    return (solid + water_kg * (adsorption_kj_kg + sensible_kj_kg)) / 3600.0


def solid_share(bed_kg: float, water_kg: float, desiccant: str) -> float:
    """Share of the heat that each regeneration costs whatever water it drives off: bed and steel [-].

    Parameters
    ----------
    bed_kg, water_kg : float
        Desiccant of one vessel, water driven off in one regeneration [kg].
    desiccant : str

    Returns
    -------
    float
        [-]; the steel is taken as `STEEL_PER_BED_KG` of the bed, the rise as `TEMPERATURE_RISE_K`.
    """
    steel_kg = STEEL_PER_BED_KG * bed_kg
    heat = HEAT_OF_ADSORPTION_KJ_KG[desiccant]
    dry = regeneration_heat_kwh(bed_kg, steel_kg, TEMPERATURE_RISE_K, 0.0)
    whole = regeneration_heat_kwh(bed_kg, steel_kg, TEMPERATURE_RISE_K, water_kg, adsorption_kj_kg=heat)
    return dry / whole


def heat_retention_s(
    contact_s: float, void: float, bulk_kg_m3: float, gas_kg_m3: float, *, bed_j_kg_k: float = BED_J_KG_K
) -> float:
    """Time the thermal wave takes through the bed: beyond it the heat of adsorption has left with the air.

    Parameters
    ----------
    contact_s : float
        Empty-bed contact time [s].
    void : float
        Of bed and pores [-].
    bulk_kg_m3, gas_kg_m3 : float
        Bulk density of the bed, density of the air at pressure [kg/m3].
    bed_j_kg_k : float
        Specific heat of the desiccant [J/(kg K)].

    Returns
    -------
    float
        ``contact_s (void + bulk cp_s / (gas cp_g))`` [s], the bed's length over the wave's speed.
    """
    return contact_s * (void + bulk_kg_m3 * bed_j_kg_k / (gas_kg_m3 * AIR_J_KG_K))


def rated_heat_retention_s(plant: Plant) -> float | None:
    """Heat retention at rated flow, pressure and temperature [s]; None where rating or bed are unknown."""
    dryer = plant.dryer
    if dryer.rated_flow_m3_min is None or dryer.desiccant_mass_kg is None:
        return None
    kelvin = dryer.rated_inlet_temperature_c + 273.15
    actual_m3_s = dryer.rated_flow_m3_min / 60.0 / plant.rated_pressure_bar * kelvin / 293.15
    bulk = BULK_DENSITY_KG_M3[dryer.desiccant]
    gas = plant.rated_pressure_bar * 1e5 / (GAS_CONSTANT_J_KG_K * kelvin)
    contact = dryer.desiccant_mass_kg / bulk / actual_m3_s
    return heat_retention_s(contact, total_void(dryer.desiccant), bulk, gas)
