"""Fixed timers in invented logs: period with interval, switchovers, towers, through noise, jitter, gaps and resets."""

import numpy as np
import pytest

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import Recipe, timer_log
from tests.cycle.scoring import margin_of, score

HEATED = {
    "half_cycle_s": 14_380.0,
    "days": 4.0,
    "interval_s": 60.0,
    "spike": 2.0,
    "spike_s": 700.0,
    "tail": 0.3,
    "tail_s": 2000.0,
    "lag_s": 90.0,
    "regeneration": "heated_purge",
}


def _f1(made, cycle, recipe):
    found = cycle.half_cycles["start_s"].to_numpy()
    found = found[found > made.screened.log.time_s[0]]
    return score(made.switchovers_s, found, margin_of(recipe.interval_s, recipe.half_cycle_s)).f1


@pytest.mark.parametrize(
    "recipe",
    [
        Recipe(seed=1),
        Recipe(seed=2, half_cycle_s=299.1, interval_s=60.0, days=2.0, spike_s=40.0, tail_s=200.0),
        Recipe(seed=3, half_cycle_s=151.7, interval_s=10.0, lag_s=30.0),
        Recipe(seed=4, unlike=0.6, half_cycle_s=241.3),
        Recipe(seed=5, stamps_jitter=0.6, half_cycle_s=239.4),
        Recipe(seed=6, load_swing=0.6, plateau_c=-48.0, tail=0.6),
        Recipe(seed=7, digit_k=0.1, spike=0.4, tail=0.4),
        Recipe(seed=8, **HEATED),
        Recipe(seed=9, **{**HEATED, "unlike": 0.8, "half_cycle_s": 10_812.0}),
        Recipe(seed=10, **{**HEATED, "interval_s": 300.0, "lag_s": 300.0}),
    ],
    ids=lambda recipe: f"{recipe.half_cycle_s:.0f}s_every_{recipe.interval_s:.0f}s_seed{recipe.seed}",
)
def test_switchovers_of_a_timer(recipe):
    made = timer_log(recipe)
    cycle = segment(made.screened, made.plant)
    assert cycle.control == "fixed"
    assert cycle.half_cycle_s.value == pytest.approx(recipe.half_cycle_s, rel=3e-3)
    readings = recipe.half_cycle_s / recipe.interval_s
    assert _f1(made, cycle, recipe) >= (0.99 if readings >= 8 else 0.97)


def test_two_hundred_half_cycles_time_a_timer_to_a_fiftieth_of_a_percent():
    misses = []
    inside = 0
    for seed in range(12):
        recipe = Recipe(seed=40 + seed, half_cycle_s=240.0 * (1.0 + 0.01 * np.sin(seed)), load_swing=0.3)
        made = timer_log(recipe)
        found = segment(made.screened, made.plant).half_cycle_s
        misses.append(abs(found.value / recipe.half_cycle_s - 1.0))
        inside += found.low <= recipe.half_cycle_s <= found.high
    assert max(misses) <= 2e-4
    # 95 % of 12; ten or more are right with a chance of 0.98
    assert inside >= 10


def test_few_long_half_cycles_time_a_timer_to_a_third_of_a_percent():
    inside = 0
    for seed in range(10):
        recipe = Recipe(seed=60 + seed, **{**HEATED, "half_cycle_s": 14_400.0 + 37.0 * seed, "days": 3.0})
        made = timer_log(recipe)
        found = segment(made.screened, made.plant).half_cycle_s
        assert found.value == pytest.approx(recipe.half_cycle_s, rel=3e-3)
        inside += found.low <= recipe.half_cycle_s <= found.high
    assert inside >= 8


def test_the_log_overrides_the_plate():
    recipe = Recipe(seed=11, half_cycle_s=241.0, plate_s=300.0)
    made = timer_log(recipe)
    assert segment(made.screened, made.plant).half_cycle_s.value == pytest.approx(241.0, rel=1e-3)


def test_a_gap_leaves_phase_and_towers_as_they_were():
    recipe = Recipe(seed=12, gaps=((0.4, 0.13),), unlike=0.4)
    made = timer_log(recipe)
    cycle = segment(made.screened, made.plant)
    table = cycle.half_cycles
    at = np.searchsorted(made.switchovers_s, table["start_s"].to_numpy() - 0.5 * recipe.half_cycle_s)
    inner = table[(table["start_s"] > made.screened.log.time_s[0])]
    true = [made.towers[i] for i in at[-len(inner) :]]
    same = np.mean(np.array(true) == inner["tower"].to_numpy())
    assert same in (0.0, 1.0)
    hole = table[(table["end_s"] - table["start_s"]) > 1.01 * recipe.half_cycle_s]
    assert hole.empty
    assert not table["complete"].all()


def test_a_pause_keeps_the_period_and_moves_the_phase():
    recipe = Recipe(seed=13, half_cycle_s=240.0, days=1.0, pauses=((0.45, 0.104),), spike=0.3, tail=0.4)
    made = timer_log(recipe)
    cycle = segment(made.screened, made.plant)
    assert cycle.half_cycle_s.value == pytest.approx(240.0, rel=1e-3)
    assert _f1(made, cycle, recipe) >= 0.95
    assert any("paused or was reset" in note for note in cycle.notes)


def test_a_stop_ends_the_half_cycles():
    recipe = Recipe(seed=14, half_cycle_s=240.0, days=1.0, stop_at=0.6, spike=0.3, tail=0.4)
    made = timer_log(recipe)
    log, stop = made.screened.log, made.switchovers_s[-1]
    climb = np.where(log.time_s > stop + 1800.0, (log.time_s - stop - 1800.0) / 3600.0, 0.0)
    from tests.cycle.invented import plant_of, screened_log

    wetter = screened_log(log.time_s, np.round(made.screened.dew_point_c + climb, 2), log.interval_s)
    cycle = segment(wetter, plant_of(None))
    assert cycle.control == "stopped"
    assert cycle.resolved
    assert cycle.stopped_s == pytest.approx(stop, abs=2.5 * recipe.half_cycle_s)
    assert cycle.half_cycles["end_s"].max() <= stop + 2.5 * recipe.half_cycle_s
    assert cycle.half_cycle_s.value == pytest.approx(240.0, rel=1e-3)


def test_the_ends_of_the_log_are_cut_half_cycles():
    made = timer_log(Recipe(seed=15))
    table = segment(made.screened, made.plant).half_cycles
    assert not table["complete"].iloc[0]
    assert not table["complete"].iloc[-1]
    assert table["complete"].iloc[1:-1].all()
    assert (table["start_s"].to_numpy()[1:] == table["end_s"].to_numpy()[:-1]).all()
    assert set(table["tower"]) == {"A", "B"}
    assert table["tower"].iloc[0] == "A"


@pytest.mark.parametrize("interval_s", [60.0, 120.0])
def test_too_few_readings_are_never_resolved_plate_or_not(interval_s):
    recipe = Recipe(seed=16, half_cycle_s=62.0, interval_s=interval_s, days=1.5, spike_s=10.0, tail_s=30.0, lag_s=8.0)
    made = timer_log(recipe)
    from tests.cycle.invented import plant_of

    cycle = segment(made.screened, plant_of(62.0))
    assert cycle.control == "unresolved"
    assert cycle.readings_per_half_cycle < 4
    assert any("echo" in note for note in cycle.notes)


@pytest.mark.parametrize(("noise_k", "seed"), [(0.3, 1), (0.5, 2)])
def test_a_ripple_under_the_noise_goes_on_from_end_to_end(noise_k, seed):
    weak = {"half_cycle_s": 239.85, "interval_s": 15.0, "days": 2.0, "plate_s": 240.0, "wander": 0.02}
    recipe = Recipe(seed=seed, noise_k=noise_k, spike=0.06, tail=0.06, **weak)
    made = timer_log(recipe)
    cycle = segment(made.screened, made.plant)
    assert _f1(made, cycle, recipe) >= 0.99
    assert cycle.half_cycle_s.low <= recipe.half_cycle_s <= cycle.half_cycle_s.high


@pytest.mark.parametrize("wander", [0.05, 0.2])
def test_a_timer_that_divides_the_day_is_told_from_the_working_hours(wander):
    slow = {"half_cycle_s": 7187.0, "plate_s": 7200.0, "days": 7.0, "load_swing": 0.6, "wander": wander}
    shape = {"spike": 0.3, "spike_s": 300.0, "tail": 0.1, "tail_s": 800.0, "lag_s": 700.0}
    recipe = Recipe(seed=41, **{**HEATED, **slow, **shape})
    made = timer_log(recipe)
    cycle = segment(made.screened, made.plant)
    assert cycle.control == "fixed"
    assert _f1(made, cycle, recipe) >= 0.99
