"""Whole diagnoses of logs made by the lumped second plant: the due finding comes first, and nothing else is called.

Seeds differ from the study's, whose results thresholds were looked at with.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnostics.diagnosis import diagnose
from diagnostics.log.reading import read_log
from diagnostics.plant import plant_from
from tests.health.fault_sets import DUE
from tests.second_plant import second_plant

OPEN = {"breakthrough", "excess_regeneration"}
"""Facts of load and limit that may be true beside the fault."""


def _found(seed: int, folder: Path, fault: str | None, kind: str):
    table, truth = second_plant(
        seed,
        kind=kind,
        control="stopped" if fault == "stopped_switching" else "fixed",
        faults=(fault,) if fault else (),
        reserve=1.3,
        load=0.6,
        days=3.0 if kind == "heated" else 1.0,
        onset_share=0.5,
    )
    table.to_csv(folder / "log.csv", index=False)
    plant = plant_from(truth["plant"])
    return diagnose(read_log([folder / "log.csv"], plant), plant).findings, truth


@pytest.mark.parametrize("kind", ["heatless", "heated"])
@pytest.mark.parametrize(
    "fault",
    ["tower_imbalance", "dead_heater", "stopped_switching", "control_fallback", "liquid_carryover", "bypass_leak"],
)
def test_the_fault_that_was_made_is_found_first(fault: str, kind: str, tmp_path: Path) -> None:
    found, truth = _found(9001, tmp_path, fault, kind)
    counted = [f for f in found if f.code not in OPEN | {"sensor_range_end"}]
    assert [f.code for f in counted] == [DUE[fault]]
    onset = truth["onsets"].get(fault)
    if onset is not None:
        assert abs(counted[0].start_s - onset) <= 4 * truth["half_cycle_s"]


@pytest.mark.parametrize("kind", ["heatless", "heated"])
@pytest.mark.parametrize("seed", [9101, 9102])
def test_a_healthy_dryer_draws_no_warning(seed: int, kind: str, tmp_path: Path) -> None:
    found, _ = _found(seed, tmp_path, None, kind)
    assert [f.code for f in found if f.severity != "info"] == []
