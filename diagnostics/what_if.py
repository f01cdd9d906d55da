"""The energy side again with changed settings, before and after.

Question: what would purge, saving and payback be at another setting? Input: a diagnosis and settings by their key in
the plant file. Output: a `WhatIf`. Method: the plant file's tables are changed and checked anew, then purge, switching
and payback are reckoned again; half-cycles and readings stay as the log showed them.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from diagnostics.bed.record import Breakthrough
from diagnostics.bed.reserve import load_ratio
from diagnostics.cycle.record import Cycle
from diagnostics.energy.extension import bounds_of
from diagnostics.energy.limit import reserve_factor
from diagnostics.energy.payback import reckon_payback
from diagnostics.energy.purge import account_purge
from diagnostics.energy.record import Payback, Purge, Switching
from diagnostics.energy.switching import switch_on_dew_point
from diagnostics.errors import InputError
from diagnostics.estimate import Estimate
from diagnostics.log.conditions import conditions_of
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant, plant_from

if TYPE_CHECKING:
    from diagnostics.diagnosis import Diagnosis

_RELOADS = ("operation.", "site.", "measurement.", "dryer.purge", "dryer.rated_flow")
"""Settings that change what the dryer was given, so that the conditions are reckoned again."""
_REGENERATION = frozenset(
    {"site.air_use"}
    | {
        f"dryer.{name}"
        for name in (
            "control",
            "dew_point_limit_c",
            "half_cycle_s",
            "heater_kw",
            "heater_s",
            "heating_ends_by",
            "longest_half_cycle_s",
            "orifice_mm",
            "purge_s",
            "purge_share",
            "shortest_half_cycle_s",
        )
    }
)
"""Settings by which the air's dryness could change."""


@dataclass(frozen=True)
class EnergyCase:
    """Purge, switching and payback of one plant."""

    plant: Plant
    purge: Purge
    switching: Switching
    payback: Payback


@dataclass(frozen=True)
class WhatIf:
    """The energy side before and after a change of settings."""

    settings: Mapping[str, Any]
    before: EnergyCase
    after: EnergyCase
    notes: tuple[str, ...] = ()


def what_if(diagnosis: Diagnosis, settings: Mapping[str, Any]) -> WhatIf:
    """Reckon the energy side of a diagnosis with changed settings.

    Parameters
    ----------
    diagnosis : Diagnosis
    settings : mapping
        Keys of the plant file with their new values, e.g. ``{"dryer.longest_half_cycle_s": 3600}``; None takes the
        key away.

    Returns
    -------
    WhatIf

    Raises
    ------
    InputError
        If a key is unknown or a value impossible, or if medical or breathing air would be regenerated otherwise.
    """
    _refuse_for_people(diagnosis.plant, settings)
    plant = with_settings(diagnosis.plant, settings)
    screened, cycle = diagnosis.screened, diagnosis.cycle
    if any(key.startswith(_RELOADS) for key in settings):
        screened = replace(screened, conditions=conditions_of(screened.log, plant)[0])
    cycle = _with_timer(cycle, settings, plant)
    breakthrough, notes = _with_limit(diagnosis, plant)
    after = energy_case(screened, cycle, breakthrough, plant)
    before = EnergyCase(diagnosis.plant, diagnosis.purge, diagnosis.switching, diagnosis.payback)
    return WhatIf(dict(settings), before, after, notes)


def _refuse_for_people(plant: Plant, settings: Mapping[str, Any]) -> None:
    """No other regeneration is reckoned for air that people breathe, nor the use of the air talked away."""
    use = plant.site.air_use
    touched = [key for key in settings if key in _REGENERATION]
    if use in ("medical", "breathing") and touched:
        raise InputError(
            f"{touched[0]} is not reckoned otherwise for {use} air: half-cycles, purge and limit stay as they are; the"
            " responsible person decides on any change."
        )


def energy_case(screened: ScreenedLog, cycle: Cycle, breakthrough: Breakthrough, plant: Plant) -> EnergyCase:
    """Purge, switching and payback from the parts of a diagnosis.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    breakthrough : Breakthrough
    plant : Plant

    Returns
    -------
    EnergyCase
    """
    purge = account_purge(screened, cycle, plant)
    switching = switch_on_dew_point(screened, cycle, breakthrough, purge, plant)
    return EnergyCase(plant, purge, switching, reckon_payback(switching, plant))


def with_settings(plant: Plant, settings: Mapping[str, Any]) -> Plant:
    """The plant with changed settings, checked as a plant file is.

    Parameters
    ----------
    plant : Plant
    settings : mapping
        ``table.key`` with its new value; None takes the key away.

    Returns
    -------
    Plant

    Raises
    ------
    InputError
        If a key is no ``table.key`` of the plant file or a value impossible.
    """
    tables = deepcopy(dict(plant.tables))
    for key, value in settings.items():
        table, dot, name = key.partition(".")
        if not dot or not name:
            raise InputError(f"{key} is not a setting; write it like dryer.longest_half_cycle_s=3600.")
        held = tables.setdefault(table, {})
        if not isinstance(held, dict):
            raise InputError(f"{key}: {table} is a list in the plant file; change it there.")
        if value is None:
            held.pop(name, None)
        else:
            held[name] = value
    return plant_from(tables, source="the settings")


def _with_timer(cycle: Cycle, settings: Mapping[str, Any], plant: Plant) -> Cycle:
    """A timer set anew takes the place of the one the log showed."""
    if "dryer.half_cycle_s" not in settings or cycle.control == "dew_point" or not cycle.resolved:
        return cycle
    return replace(cycle, half_cycle_s=Estimate.exact(plant.half_cycle_s))


def _with_limit(diagnosis: Diagnosis, plant: Plant) -> tuple[Breakthrough, tuple[str, ...]]:
    """The margin at the changed nameplate and limit: what the bed holds in seconds stays, the limit moves it."""
    margin, before = diagnosis.breakthrough, diagnosis.plant
    shift = plant.dryer.dew_point_limit_c - before.dryer.dew_point_limit_c
    factor, notes = 1.0, []
    if shift:
        pressure = float(np.mean(diagnosis.screened.conditions.pressure_bar))
        today = bounds_of(diagnosis.cycle, before).today_s
        factor = reserve_factor(margin, diagnosis.cycle, pressure, shift, today)
        notes.append(
            f"The limit moves by {shift:+g} K: the half-cycle that can be repeated was scaled by {factor:.2f} along the"
            " rise of moisture; a log at the new limit decides."
        )
    margin = replace(margin, limit_dew_point_c=plant.dryer.dew_point_limit_c)
    if margin.reserve is None:
        return margin, tuple(notes)
    factor *= before.half_cycle_s / plant.half_cycle_s
    if margin.reserve_from == "log":
        # What the log showed holds at the load it had, whatever rating that load is set against.
        factor *= _load_against_rating(diagnosis, plant)
    return replace(margin, reserve=margin.reserve.scaled(factor)), tuple(notes)


def _load_against_rating(diagnosis: Diagnosis, plant: Plant) -> float:
    conditions = diagnosis.screened.conditions
    after, before = load_ratio(conditions, plant), load_ratio(conditions, diagnosis.plant)
    if after is None or before is None or before.mean() <= 0.0:
        return 1.0
    return float(after.mean() / before.mean())
