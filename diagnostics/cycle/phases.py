"""What each tower does over time: the rest of a half-cycle from the plant's timings, the switchovers from the log."""

from __future__ import annotations

import pandas as pd

from diagnostics.cycle.record import Phase, State
from diagnostics.plant import Plant

DEPRESSURISING_SHARE = 0.04
MOST_DEPRESSURISING_S = 300.0
"""Time of the pressure drop, common practice, no published source: 5-20 s heatless, 2-5 min heated."""
REPRESSURISING_SHARE = 0.08
MOST_REPRESSURISING_S = 900.0


def phases_of(table: pd.DataFrame, plant: Plant) -> tuple[Phase, ...]:
    """Phases of both towers.

    Parameters
    ----------
    table : DataFrame
        Half-cycles; those without a tower's name have no phases.
    plant : Plant
        Gives the timings of regeneration.

    Returns
    -------
    tuple of Phase
        Ascending by start; the part of a half-cycle that began before the log is given as drying only.
    """
    steps = _steps(plant)
    phases: list[Phase] = []
    spans = zip(table["start_s"].tolist(), table["end_s"].tolist(), table["tower"].tolist(), strict=True)
    for i, (start, end, tower) in enumerate(spans):
        if tower not in ("A", "B"):
            continue
        phases.append(Phase(start, end, tower, "drying"))
        other = "B" if tower == "A" else "A"
        if i == 0 and not table["complete"].iloc[0]:
            continue
        at = start
        for state, length in steps:
            if at >= end:
                break
            until = at + length
            phases.append(Phase(at, until if until < end else end, other, state))
            at = until
        if at < end:
            phases.append(Phase(at, end, other, "standby"))
    return tuple(phases)


def _steps(plant: Plant) -> list[tuple[State, float]]:
    dryer, half = plant.dryer, plant.half_cycle_s
    release = min(DEPRESSURISING_SHARE * half, MOST_DEPRESSURISING_S)
    refill = min(REPRESSURISING_SHARE * half, MOST_REPRESSURISING_S)
    purge, heater, blower = dryer.purge_s or 0.0, dryer.heater_s or 0.0, dryer.blower_s or 0.0
    if not plant.heated or heater == 0.0:
        steps: list[tuple[State, float]] = [
            ("depressurising", release),
            ("regenerating", max(purge, blower)),
            ("repressurising", refill),
        ]
    else:
        whole = max(purge, blower, heater)
        steps = [
            ("depressurising", release),
            ("regenerating", heater),
            ("cooling", whole - heater),
            ("repressurising", refill),
        ]
    return [(state, length) for state, length in steps if length > 0.0]
