"""What must hold of any timer's log, whatever its period, phase and level."""

import dataclasses

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import Recipe, screened_log, timer_log

recipes = st.builds(
    Recipe,
    half_cycle_s=st.floats(150.0, 420.0),
    days=st.just(0.6),
    plateau_c=st.floats(-65.0, -40.0),
    spike=st.floats(0.2, 0.5),
    tail=st.floats(0.2, 0.5),
    lag_s=st.floats(5.0, 25.0),
    unlike=st.sampled_from([0.0, 0.5]),
    seed=st.integers(0, 10_000),
)


@settings(max_examples=8, deadline=None)
@given(recipes)
def test_rows_touch_and_numbers_are_in_order(recipe):
    made = timer_log(recipe)
    cycle = segment(made.screened, made.plant)
    assert cycle.control == "fixed"
    assert abs(cycle.half_cycle_s.value / recipe.half_cycle_s - 1.0) < 1e-3
    table = cycle.half_cycles
    assert (np.diff(table["start_s"]) > 0).all()
    assert (table["floor_dew_point_c"] <= table["peak_dew_point_c"]).all()
    assert (table["mean_dew_point_c"] <= table[["peak_dew_point_c", "spike_dew_point_c"]].max(axis=1) + 0.5).all()
    assert set(table["tower"]) <= {"A", "B"}


@settings(max_examples=5, deadline=None)
@given(recipes, st.floats(-3e6, 3e6))
def test_moving_the_clock_moves_the_switchovers(recipe, moved_s):
    made = timer_log(dataclasses.replace(recipe, days=0.4))
    log = made.screened.log
    later = screened_log(log.time_s + round(moved_s), made.screened.dew_point_c, log.interval_s)
    first, second = segment(made.screened, made.plant), segment(later, made.plant)
    apart = second.half_cycles["start_s"].to_numpy() - first.half_cycles["start_s"].to_numpy()
    assert np.allclose(apart, round(moved_s), atol=0.02 * recipe.half_cycle_s)
