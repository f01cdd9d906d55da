"""Switchovers in logs of a second, lumped dryer that shares nothing with the engine, healthy and faulty."""

import numpy as np
import pytest

from diagnostics.cycle.half_cycles import segment
from diagnostics.log.reading import read_log
from diagnostics.log.screening import screen
from diagnostics.plant import plant_from
from tests.cycle.scoring import margin_of, score
from tests.second_plant import second_plant


@pytest.mark.parametrize(
    ("kind", "faults"),
    [
        ("heatless", ()),
        ("heated", ()),
        ("heatless", ("tower_imbalance",)),
        ("heated", ("tower_imbalance",)),
        ("heatless", ("stopped_switching",)),
        ("heated", ("stopped_switching",)),
        ("heated", ("lost_rows",)),
        ("heatless", ("weak_purge",)),
    ],
)
def test_switchovers_and_control(kind, faults, tmp_path):
    log, truth = second_plant(seed=11, kind=kind, faults=faults)
    plant = plant_from(truth["plant"])
    file = tmp_path / "log.csv"
    log.to_csv(file, index=False)
    screened = screen(read_log([file], plant), plant)
    cycle = segment(screened, plant)
    assert cycle.control in truth["control"]
    true = np.array([at for at, _ in truth["switchovers"]])
    used = screened.log.time_s[screened.used]
    true = true[(true > used[0]) & (true < used[-1])]
    found = cycle.half_cycles["start_s"].to_numpy()
    found = found[found > used[0]]
    margin = margin_of(screened.log.interval_s, float(np.median(np.diff(true))))
    assert score(true, found, margin).f1 >= 0.97


@pytest.mark.parametrize("seed", [5, 9, 35])
def test_a_slow_climb_after_the_last_switchover_is_no_half_cycle(seed, tmp_path):
    log, truth = second_plant(seed=seed, kind="heated", control="stopped", days=4.0)
    plant = plant_from(truth["plant"])
    file = tmp_path / "log.csv"
    log.to_csv(file, index=False)
    cycle = segment(screen(read_log([file], plant), plant), plant)
    assert cycle.control == "stopped"
    assert cycle.stopped_s == pytest.approx(truth["switchovers"][-1][0], abs=0.05 * truth["half_cycle_s"])


@pytest.mark.parametrize(
    ("kind", "seed", "days", "faults"),
    [
        ("heatless", 0, 1.0, ()),
        ("heatless", 30, 1.0, ()),
        ("heatless", 50, 1.0, ()),
        ("heated", 5, 4.0, ()),
        ("heated", 9, 4.0, ()),
        ("heated", 5, 4.0, ("overload",)),
    ],
)
def test_lengths_that_follow_the_load_are_no_timer(kind, seed, days, faults, tmp_path):
    log, truth = second_plant(seed=seed, kind=kind, control="dew_point", days=days, faults=faults)
    plant = plant_from(truth["plant"])
    file = tmp_path / "log.csv"
    log.to_csv(file, index=False)
    screened = screen(read_log([file], plant), plant)
    cycle = segment(screened, plant)
    assert cycle.control == "dew_point"
    true = np.array([at for at, _ in truth["switchovers"]])
    found = cycle.half_cycles["start_s"].to_numpy()
    margin = margin_of(screened.log.interval_s, float(np.median(np.diff(true))))
    assert score(true, found[found > screened.log.time_s[0]], margin).f1 >= 0.96
