"""The whole path on a second, lumped plant: the saving told from a timer log against a run under dew-point control."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.bed.breakthrough import margin_to_breakthrough
from diagnostics.cycle.half_cycles import segment
from diagnostics.energy.purge import account_purge
from diagnostics.energy.switching import switch_on_dew_point
from diagnostics.log.reading import read_log
from diagnostics.log.screening import screen
from diagnostics.plant import plant_from
from tests.second_plant import second_plant

DAYS = {"heatless": 2.0, "heated": 5.0}


def told_and_true(kind: str, seed: int, folder):
    table, truth = second_plant(seed, kind=kind, days=DAYS[kind], interval_s=30.0 if kind == "heatless" else 60.0)
    _, switched = second_plant(seed, kind=kind, days=DAYS[kind], control="dew_point", interval_s=60.0)
    plant = plant_from(truth["plant"])
    lengths = np.diff([time for time, _ in switched["switchovers"]])
    settled = lengths[len(lengths) // 4 :] if kind == "heatless" else lengths[1:]
    path = folder / f"{kind}-{seed}.csv"
    table.to_csv(path, index=False)
    log = screen(read_log([path], plant), plant)
    rhythm = segment(log, plant)
    margin = margin_to_breakthrough(log, rhythm, plant)
    switching = switch_on_dew_point(log, rhythm, margin, account_purge(log, rhythm, plant), plant)
    return switching.figures.regenerations_saved_share, 1.0 - plant.half_cycle_s / settled.mean()


@pytest.mark.parametrize("kind", ["heatless", "heated"])
def test_the_saving_told_from_a_timer_log_is_had_under_dew_point_control(kind: str, tmp_path) -> None:
    # reserves of 0.9 to 1.6 and loads of 0.45 to 0.75, unknown to the engine
    pairs = [told_and_true(kind, seed, tmp_path) for seed in range(5)]
    covered = sum(told.low <= true <= told.high for told, true in pairs)
    assert covered >= 4
    for told, true in pairs:
        assert told.value == pytest.approx(true, abs=0.12)
