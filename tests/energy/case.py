"""A diagnosis of a hand-made log, with the parts that the energy side reads."""

from __future__ import annotations

from typing import Any

from diagnostics.bed.record import Breakthrough
from diagnostics.cycle.record import Cycle
from diagnostics.diagnosis import Diagnosis
from diagnostics.energy.payback import reckon_payback
from diagnostics.energy.purge import account_purge
from diagnostics.energy.switching import switch_on_dew_point
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant
from tests.energy import made


def diagnosis(
    plant: Plant,
    log: ScreenedLog | None = None,
    rhythm: Cycle | None = None,
    margin: Breakthrough | None = None,
    **cycle: Any,
) -> Diagnosis:
    """Diagnosis whose purity, trend and findings are left out."""
    log = log or made.screened(plant)
    rhythm = rhythm or made.cycle(log, plant.half_cycle_s, **cycle)
    margin = margin or made.margin()
    purge = account_purge(log, rhythm, plant)
    switching = switch_on_dew_point(log, rhythm, margin, purge, plant)
    left_out: Any = None
    return Diagnosis(
        plant, log, rhythm, left_out, left_out, margin, purge, switching, reckon_payback(switching, plant), ()
    )
