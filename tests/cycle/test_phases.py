"""Phases of both towers and what an interval can show."""

import numpy as np
import pandas as pd

from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.phases import phases_of
from diagnostics.plant import plant_from
from tests.cycle.invented import Recipe, timer_log

STATES = {"drying", "depressurising", "regenerating", "cooling", "repressurising", "standby"}


def _table(rows):
    return pd.DataFrame(rows, columns=["start_s", "end_s", "tower", "complete"])


def test_a_heated_half_cycle_is_heated_cooled_and_rests():
    plant = plant_from(
        {"dryer": {"regeneration": "heated_purge", "half_cycle_s": 14400, "heater_s": 8640, "purge_s": 12000}}
    )
    phases = phases_of(_table([(0.0, 14400.0, "A", True)]), plant)
    own = [phase for phase in phases if phase.tower == "B"]
    assert [phase.state for phase in own] == [
        "depressurising",
        "regenerating",
        "cooling",
        "repressurising",
        "standby",
    ]
    lengths = {phase.state: phase.end_s - phase.start_s for phase in own}
    assert lengths["regenerating"] == 8640.0
    assert lengths["cooling"] == 3360.0
    assert own[-1].end_s == 14400.0
    assert [phase.state for phase in phases if phase.tower == "A"] == ["drying"]


def test_a_short_half_cycle_cuts_regeneration_off():
    plant = plant_from({"dryer": {"half_cycle_s": 240, "purge_s": 192}})
    phases = phases_of(_table([(0.0, 100.0, "B", True)]), plant)
    assert max(phase.end_s for phase in phases) == 100.0


def test_both_towers_are_covered_without_hole_or_overlap():
    made = timer_log(Recipe(seed=2))
    cycle = segment(made.screened, made.plant)
    assert {phase.state for phase in cycle.phases} <= STATES
    for tower in "AB":
        own = sorted((p for p in cycle.phases if p.tower == tower), key=lambda phase: phase.start_s)
        ends = np.array([phase.end_s for phase in own])
        starts = np.array([phase.start_s for phase in own])
        assert np.allclose(starts[1:], ends[:-1])


def test_unnamed_towers_have_no_phases():
    assert phases_of(_table([(0.0, 240.0, None, True)]), plant_from({})) == ()
