"""What else would save energy at this dryer, side by side and together, nothing counted twice.

Question: which lever is worth how much? Input: a diagnosis. Output: `Levers`. Method: each lever is a change of the
dryer's state, whose year `dryer_state` reckons; levers together are one state with all changes, so that what two of
them would save on the same air is saved once.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from diagnostics.energy.dryer_state import State, YearModel
from diagnostics.energy.lever_offers import Change, offers
from diagnostics.energy.record import Lever, Levers
from diagnostics.energy.tariff import price_per_kwh
from diagnostics.energy.uncertain import Uncertain
from diagnostics.estimate import Estimate

if TYPE_CHECKING:
    from diagnostics.diagnosis import Diagnosis

_WORTH_NAMING = 0.005
"""Share of the dryer's yearly energy below which a lever is not listed."""


def weigh_levers(diagnosis: Diagnosis) -> Levers:
    """Levers at this dryer, the most worthwhile first.

    Parameters
    ----------
    diagnosis : Diagnosis

    Returns
    -------
    Levers
        Empty, with a note, where purge or load are unknown, and for medical and breathing air.
    """
    if diagnosis.plant.site.air_use in ("medical", "breathing"):
        note = "Medical and breathing air: no saving is offered; the responsible person decides."
        return Levers((), None, None, (note,))
    model = YearModel.of(diagnosis)
    if model is None:
        return Levers((), None, None, ("Purge or load are unknown, so levers cannot be weighed.",))
    changes = offers(diagnosis, model)
    price = price_per_kwh(diagnosis.plant)
    today, switched = State(), State(switched=True)
    levers = []
    for item in changes:
        start = switched if item.needs_switching else today
        saved = (model.power_kw(start) - model.power_kw(item.change(start))) * model.hours
        levers.append((item, saved.map(lambda kwh: np.maximum(kwh, 0.0))))
    whole = model.power_kw(today).value * model.hours
    kept = [(item, saved) for item, saved in levers if saved.value > _WORTH_NAMING * whole]
    kept.sort(key=lambda pair: pair[1].value, reverse=True)
    together, overlap = _together(model, kept)
    named = [_lever(item, saved, price) for item, saved in kept]
    return Levers(tuple(_as_told(lever, diagnosis) for lever in named), together, overlap, model.notes)


def _as_told(lever: Lever, diagnosis: Diagnosis) -> Lever:
    """Switching on dew point with the very interval under which its own figures stand."""
    figures = diagnosis.switching.figures
    if lever.key != "switch_on_dew_point" or figures.energy_saved_kwh_per_year is None:
        return lever
    return replace(
        lever,
        energy_saved_kwh_per_year=figures.energy_saved_kwh_per_year,
        cost_saved_per_year=figures.cost_saved_per_year,
    )


def _together(model: YearModel, kept: list[tuple[Change, Uncertain]]) -> tuple[Estimate | None, float | None]:
    """All levers at once, and by how much their plain sum would overstate that [kWh]."""
    if not kept:
        return None, None
    switching = any(item.key == "switch_on_dew_point" for item, _ in kept)
    state, plain = State(), 0.0
    for item, saved in kept:
        if (item.key == "longer_timer" and switching) or (item.needs_switching and not switching):
            continue
        state = item.change(state)
        plain += saved.value
    together = ((model.power_kw(State()) - model.power_kw(state)) * model.hours).map(lambda kwh: np.maximum(kwh, 0.0))
    return together.estimate(), plain - together.value


def _lever(item: Change, saved: Uncertain, price: float | None) -> Lever:
    energy = saved.estimate()
    return Lever(
        key=item.key,
        sentence=item.sentence,
        energy_saved_kwh_per_year=energy,
        cost_saved_per_year=None if price is None else energy.scaled(price),
        needs_switching=item.needs_switching,
        caution=item.caution,
    )
