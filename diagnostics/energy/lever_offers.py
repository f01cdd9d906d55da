"""Which levers a plant offers, and how each changes the dryer's state.

Question: what could be done here? Input: a diagnosis and its `YearModel`. Output: changes of state, each with its
sentence and caution. A lever that the plant's facts do not support is not offered; for medical and breathing air
nothing that touches half-cycles, purge or limit is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.energy.dryer_state import State, YearModel
from diagnostics.energy.limit import better_peak_c, reserve_factor, weaker_peak_c
from diagnostics.moment import say_duration

if TYPE_CHECKING:
    from diagnostics.diagnosis import Diagnosis

RELAXED_K, COOLER_K, LOWER_BAR = 10.0, 5.0, 0.5
CLEAN_DROP_BAR = 0.05
"""Pressure drop of a clean filter element at its rating (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Change:
    """A lever: how it changes the state, and what to mind."""

    key: str
    sentence: str
    change: Callable[[State], State]
    needs_switching: bool
    caution: str


def offers(diagnosis: Diagnosis, model: YearModel) -> list[Change]:
    """Levers that this plant offers."""
    found = [
        _filters(diagnosis),
        _lower_pressure(diagnosis, model),
        _switching(diagnosis),
        _longer_timer(diagnosis, model),
        _trimmed_purge(diagnosis, model),
        _relaxed_limit(diagnosis, model),
        _cooler_inlet(diagnosis, model),
        _mended_imbalance(diagnosis, model),
    ]
    return [item for item in found if item is not None]


def _switching(diagnosis: Diagnosis) -> Change | None:
    if diagnosis.switching.already_saved_share is not None:
        return None
    return Change(
        "switch_on_dew_point",
        "Switch on dew point instead of by timer.",
        lambda state: replace(state, switched=True, timer_s=None),
        False,
        "Keep the timer as the fall-back and the longest half-cycle in force; prove the probe yearly.",
    )


def _longer_timer(diagnosis: Diagnosis, model: YearModel) -> Change | None:
    longer = diagnosis.breakthrough.recommended_half_cycle_s
    if longer is None or longer <= 1.02 * model.case.bounds.today_s:
        return None
    return Change(
        "longer_timer",
        f"Set the timer to {say_duration(longer)}, which is safe at peak load.",
        lambda state: replace(state, timer_s=longer),
        False,
        "Lengthen in steps, prove the dew point for a day after each, keep the old setting marked.",
    )


def _trimmed_purge(diagnosis: Diagnosis, model: YearModel) -> Change | None:
    """Purge beyond what the nameplate's balance needs at today's pressure."""
    purge, plant = diagnosis.purge, diagnosis.plant
    if purge.nameplate_m3_min is None or purge.basis == "type_default" or plant.heated:
        return None
    vented = model.vented.value
    actual = model.plain_purge.value
    stated = purge.nameplate_m3_min.value - vented if plant.is_given("dryer.purge_share") else actual
    # The nameplate's purge follows line pressure up; what the balance needs follows it down.
    needed = stated * (plant.rated_pressure_bar / model.line_bar) ** 2
    if actual <= 0.0 or needed >= 0.97 * actual:
        return None
    factor = needed / actual
    return Change(
        "trimmed_purge",
        f"Trim the purge by {100 * (1 - factor):.0f} % to what the nameplate's balance needs at"
        f" {model.line_bar:.1f} bar absolute.",
        lambda state: replace(state, purge_factor=state.purge_factor * factor),
        False,
        "Prove the new dew point over a day or more at full load, keep the old setting marked.",
    )


def _relaxed_limit(diagnosis: Diagnosis, model: YearModel) -> Change | None:
    whole = reserve_factor(
        diagnosis.breakthrough, diagnosis.cycle, model.line_bar, RELAXED_K, model.case.bounds.today_s
    )
    if whole <= 1.0:
        return None
    # Past the limit the tail climbs faster than the line to it, so only half of what the line promises is counted.
    factor = 1.0 + 0.5 * (whole - 1.0)
    limit = diagnosis.breakthrough.limit_dew_point_c
    return Change(
        "relaxed_limit",
        f"Relax the limit from {limit:g} to {limit + RELAXED_K:g} °C if the process allows it.",
        lambda state: replace(state, reserve_factor=state.reserve_factor * factor),
        True,
        "Only with the process owner, and well below the lowest temperature of any pipe the air meets.",
    )


def _cooler_inlet(diagnosis: Diagnosis, model: YearModel) -> Change | None:
    """Less moisture for a heated dryer; a heatless one lives on volume and gains nothing that a meter shows."""
    inlet = diagnosis.screened.conditions.inlet_temperature_c
    if not diagnosis.plant.heated or inlet is None or not inlet.size:
        return None
    mean = float(np.mean(inlet))
    now, then = moisture_fraction(np.array([mean, mean - COOLER_K]), model.line_bar)
    factor = float(then / now)
    return Change(
        "cooler_inlet",
        f"Bring the inlet {COOLER_K:g} K cooler (aftercooler, drain): {100 * (1 - factor):.0f} % less water.",
        lambda state: replace(state, moisture_factor=state.moisture_factor * factor),
        True,
        "",
    )


def _mended_imbalance(diagnosis: Diagnosis, model: YearModel) -> Change | None:
    wet, dry = weaker_peak_c(diagnosis.cycle), better_peak_c(diagnosis.cycle)
    if wet is None or dry is None or wet - dry < 1.0:
        return None
    factor = reserve_factor(
        diagnosis.breakthrough, diagnosis.cycle, model.line_bar, wet - dry, model.case.bounds.today_s
    )
    if factor <= 1.0:
        return None
    return Change(
        "mended_imbalance",
        f"Mend the weaker tower: its peaks lie {wet - dry:.1f} K above the other's.",
        lambda state: replace(state, reserve_factor=state.reserve_factor * factor),
        True,
        "Isolate, lock out, vent both vessels and read zero on every gauge before a valve is opened.",
    )


def _lower_pressure(diagnosis: Diagnosis, model: YearModel) -> Change | None:
    plant, operation = diagnosis.plant, diagnosis.plant.operation
    if operation.pressure_at_use_bar_g is None:
        return None
    spare = model.line_bar - plant.site.barometric_pressure_bar - operation.pressure_at_use_bar_g
    spare -= (plant.dryer.dryer_drop_bar or 0.0) + (plant.dryer.after_filter_drop_bar or 0.0)
    lower = min(LOWER_BAR, spare)
    if lower < 0.2:
        return None
    return Change(
        "lower_pressure",
        f"Lower the line pressure by {lower:.1f} bar; {spare:.1f} bar are spare up to where the air is used.",
        lambda state: replace(state, lower_bar=state.lower_bar + lower),
        False,
        "At lower pressure the dryer sees more volume and more water; watch the dew point for a day.",
    )


def _filters(diagnosis: Diagnosis) -> Change | None:
    dryer = diagnosis.plant.dryer
    drops = [drop for drop in (dryer.pre_filter_drop_bar, dryer.after_filter_drop_bar) if drop is not None]
    saved = sum(max(0.0, drop - CLEAN_DROP_BAR) for drop in drops)
    if saved <= 0.0:
        return None
    return Change(
        "filter_elements",
        f"Renew filter elements: {saved:.2f} bar above a clean element's {CLEAN_DROP_BAR:g} bar each. They pay within a"
        " year if they cost less than the yearly saving.",
        lambda state: replace(state, drop_saved_bar=state.drop_saved_bar + saved),
        False,
        "Vent the housing and read zero before it is opened.",
    )
