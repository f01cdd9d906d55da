"""How a figure came about, step by step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnostics.energy.record import Step
from diagnostics.errors import UsageError

if TYPE_CHECKING:
    from diagnostics.diagnosis import Diagnosis


def explain(diagnosis: Diagnosis, key: str) -> list[Step]:
    """Steps behind a figure of the diagnosis.

    Parameters
    ----------
    diagnosis : Diagnosis
    key : str
        The figure's place in the document, e.g. ``purge.average_m3_min``, or a part, e.g. ``purge``.

    Returns
    -------
    list of Step

    Raises
    ------
    UsageError
        If nothing of that name is traced.
    """
    steps = [step for part in (diagnosis.purge, diagnosis.switching, diagnosis.payback) for step in part.trace]
    found = [step for step in steps if step.key == key or step.key.startswith(f"{key}.")]
    if not found:
        known = ", ".join(dict.fromkeys(step.key for step in steps)) or "nothing in this diagnosis"
        raise UsageError(f"--explain {key}: no such figure is traced; known: {known}.")
    return found
