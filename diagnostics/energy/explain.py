"""How a figure came about, step by step.

Question: from which inputs, by which formula and on whose authority does a figure of the document follow? Input: a
diagnosis and the figure's key. Output: its steps, those it rests on first.
"""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from diagnostics.energy.record import Step
from diagnostics.errors import UsageError

if TYPE_CHECKING:
    from diagnostics.diagnosis import Diagnosis

_RESTS_ON = {
    "purge.average_m3_min": ("purge.depressurisation_m3_min",),
    "purge.share_of_rated": ("purge.average_m3_min",),
    "purge.share_of_inlet": ("purge.average_m3_min",),
    "purge.energy_kwh_per_year": ("purge.average_m3_min", "purge.kw_per_m3_min"),
    "purge.cost_per_year": ("purge.energy_kwh_per_year",),
    "switching.regenerations_saved_share": ("switching.half_cycle_s",),
    "switching.purge_saved_m3_min": ("purge.average_m3_min", "switching.half_cycle_s"),
    "switching.energy_saved_kwh_per_year": ("switching.purge_saved_m3_min", "purge.kw_per_m3_min"),
    "switching.cost_saved_per_year": ("switching.energy_saved_kwh_per_year",),
    "switching.co2_saved_kg_per_year": ("switching.energy_saved_kwh_per_year",),
    "payback.simple_payback_years": ("switching.cost_saved_per_year",),
    "payback.discounted_payback_years": ("switching.cost_saved_per_year",),
    "payback.probability_pays": ("switching.cost_saved_per_year", "payback.simple_payback_years"),
    "payback.npv": ("switching.cost_saved_per_year",),
    "payback.irr": ("switching.cost_saved_per_year",),
}


def explain(diagnosis: Diagnosis, key: str) -> list[Step]:
    """Steps behind a figure of the diagnosis.

    Parameters
    ----------
    diagnosis : Diagnosis
    key : str
        The figure's place in the document, e.g. ``purge.average_m3_min``, or a part of it, e.g. ``purge``.

    Returns
    -------
    list of Step
        In the order in which one follows from the other, the figure asked for last.

    Raises
    ------
    UsageError
        If nothing of that name is traced.
    """
    steps = [step for part in (diagnosis.purge, diagnosis.switching, diagnosis.payback) for step in part.trace]
    if not any(step.key == key or step.key.startswith(f"{key}.") for step in steps):
        raise UsageError(_unknown(key, [step.key for step in steps]))
    wanted = _with_grounds(key)
    return [step for step in steps if any(step.key == name or step.key.startswith(f"{name}.") for name in wanted)]


def _with_grounds(key: str) -> set[str]:
    found, open_keys = set(), [key]
    while open_keys:
        name = open_keys.pop()
        if name not in found:
            found.add(name)
            open_keys.extend(_RESTS_ON.get(name, ()))
    return found


def _unknown(key: str, traced: list[str]) -> str:
    if not traced:
        return f"--explain {key}: this diagnosis has no figure that could be traced."
    near = difflib.get_close_matches(key, traced, n=1)
    hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(dict.fromkeys(traced))}."
    return f"--explain {key}: no such figure is traced; {hint}"
