"""Set points, echoes, slips and lulls in logs of a second plant that shares nothing with the engine."""

import tomllib
from dataclasses import replace

import numpy as np
import pytest

import scenarios
from diagnostics.bed.simulation import simulate
from diagnostics.cycle.control import find_switching
from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.replay import rule_of, with_hidden
from diagnostics.cycle.trace import trace_of
from diagnostics.log.reading import read_log
from diagnostics.log.record import Upload
from diagnostics.log.screening import screen
from diagnostics.plant import plant_from
from tests.cycle.second_logs import case_of, scored, second_case
from tests.cycle.study_control import mixed_log


@pytest.mark.parametrize("seed", [9000, 9003])
def test_five_half_cycles_that_end_at_one_level_are_enough(seed):
    case = second_case(seed=seed, kind="heated", control="dew_point", days=4.0, load=0.45, reserve=2.0, swing=0.05)
    cycle = case.cycle()
    assert len(case.truth["switchovers"]) <= 6
    assert cycle.control == "dew_point"
    assert scored(case, cycle).f1 >= 0.97
    assert cycle.set_point_c.value == pytest.approx(-40.0, abs=0.4)


@pytest.mark.parametrize(
    ("kind", "order"),
    [("heatless", ("dew_point", "fixed")), ("heated", ("dew_point", "fixed")), ("heated", ("fixed", "dew_point"))],
)
def test_a_change_of_control_splits_the_log(kind, order):
    case = case_of(*mixed_log(seed=9003, kind=kind, order=order))
    cycle = case.cycle()
    assert [span.control for span in cycle.control_spans] == list(order)
    turn = cycle.control_spans[1].start_s
    assert turn == pytest.approx(case.truth["turn_s"], abs=3.0 * case.truth["half_cycle_s"])
    edge = 0.5 * case.truth["half_cycle_s"]
    for within in ((-np.inf, case.truth["turn_s"] + edge), (case.truth["turn_s"] - edge, np.inf)):
        assert scored(case, cycle, within).f1 >= 0.85


@pytest.mark.parametrize("fault", [(), ("tower_imbalance",), ("bypass_leak",), ("clock_jump",)])
def test_a_timer_too_fast_for_the_logger_leaves_no_echo(fault):
    case = second_case(seed=9201, kind="heatless", days=1.0, interval_s=60.0, faults=fault)
    assert not case.truth["resolved"]
    assert not case.cycle().resolved


@pytest.mark.parametrize("seed", [9200, 9201, 9202])
def test_a_clock_put_back_leaves_both_parts_in_time(seed):
    case = second_case(seed=seed, kind="heatless", faults=("clock_jump",), days=1.0)
    assert scored(case, case.cycle()).f1 >= 0.97


def test_a_rhythm_resumes_after_a_slug_of_water():
    case = second_case(seed=9202, kind="heatless", faults=("liquid_carryover",), days=1.0)
    assert scored(case, case.cycle()).f1 >= 0.97


def test_a_set_points_rule_tells_switchovers_that_nothing_falls_at():
    time_s = np.arange(0.0, 4000.0, 10.0)
    smooth = np.full(time_s.size, -1.0)
    smooth[(time_s > 1000.0) & (time_s < 2500.0)] = 0.5
    length, level = np.array([300.0, 300.0, 300.0, 700.0, 650.0, 720.0]), np.array([0.4, 0.5, 0.3, 0.0, 0.01, 0.0])
    rule = rule_of(length, level, 0.005, 10.0, np.ones(length.size, dtype=bool))
    assert rule.level == pytest.approx(0.0, abs=0.02)
    assert rule.shortest_s == 300.0
    seen = np.array([-3000.0, -2500.0, -2000.0, -1500.0, -1000.0, -500.0, 0.0, 400.0, 800.0, 2400.0])
    found = with_hidden(time_s, smooth, seen, rule)
    # wet at the shortest half-cycle and for good: it must have switched every 300 s
    assert found.tolist() == [*seen[:-2], 800.0, 1100.0, 1400.0, 1700.0, 2000.0, 2400.0]
    made = rule.made(length, level, 10.0)
    assert made.all()
    assert not rule.made(np.array([500.0]), np.array([-0.5]), 10.0).any()


def test_beds_that_break_through_to_inlet_air_at_every_turn_are_no_control_by_dew_point():
    """A front that reaches saturated air before every turn ends all half-cycles at one level. Invented series."""
    length_s, step_s = 14385.0, 60.0
    time_s = np.arange(0.0, 18 * length_s, step_s)
    since_s = np.mod(time_s - 40.0, length_s)
    turn = np.floor((time_s - 40.0) / length_s)
    through_s, before_s = (11500.0 + 2500.0 * np.sin(number * 2.1) for number in (turn, turn - 1.0))
    front = 9.0 / (1.0 + np.exp(-(since_s - through_s) / 250.0))
    drying = 9.0 / (1.0 + np.exp(-(length_s - before_s) / 250.0)) * np.exp(-since_s / 400.0)
    noise = 0.02 * np.random.default_rng(6).standard_normal(time_s.size)
    trace = replace(trace_of(time_s, -14.4 + np.maximum(front, drying) + noise, step_s), of_moisture=True)
    found = find_switching(trace, length_s)
    assert found is not None
    assert {span.control for span in found.spans} <= {"fixed", "unresolved"}


def test_half_cycles_held_at_the_least_that_are_not_much_longer_than_it_name_no_least_where_there_are_none():
    """Late half-cycles near the shortest by the readings' own step alone: no least length is told, and no NaN."""
    length_s = np.concatenate([[30.0], np.full(12, 88.0), np.linspace(300.0, 900.0, 20)])
    level = np.concatenate([[-3.0], np.full(12, 0.9), np.zeros(20)])
    rule = rule_of(length_s, level, 0.01, 60.0, np.ones(length_s.size, dtype=bool))
    assert rule.shortest_s is None


def test_the_climb_after_a_stop_holds_no_half_cycles():
    recipe = scenarios.recipes()["switching_stopped"]
    plant = plant_from(tomllib.loads(scenarios.plant_text(recipe.plant)))
    table, truth = simulate(plant, days=1.5, seed=recipe.seed, faults=recipe.faults)
    log = read_log([Upload("log.csv", table.to_csv(index=False).encode())], plant)
    cycle = segment(screen(log, plant), plant)
    last = truth["switchovers"][-1][0]
    assert cycle.control == "stopped"
    assert cycle.stopped_s == pytest.approx(last, abs=0.05 * 300.0)
    assert cycle.half_cycles["start_s"].max() <= last + 0.05 * 300.0
