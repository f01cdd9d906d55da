"""Timers told by their switchovers one by one, in logs whose load hides the average cycle."""

import numpy as np
import pytest

from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.trace import moisture_trace, trace_of
from diagnostics.cycle.turn_clock import course_by_turns, turn_chain
from tests.cycle.invented import Recipe, timer_log
from tests.cycle.noise import noise_log
from tests.cycle.scoring import margin_of, score

HEATED = {"interval_s": 60.0, "days": 5.0, "spike_s": 1800.0, "tail_s": 7200.0, "lag_s": 120.0}


@pytest.mark.parametrize(("seed", "pauses"), [(5, ((0.42, 0.1),)), (2, ((0.6, 0.13),)), (3, ((0.2, 0.08), (0.7, 0.1)))])
def test_a_heated_timer_is_followed_through_its_pauses(seed, pauses):
    half = 14_400.0 * (1.0 + 0.002 * np.random.default_rng(seed).standard_normal())
    made = timer_log(Recipe(half_cycle_s=half, seed=seed, pauses=pauses, **HEATED))
    cycle = segment(made.screened, made.plant)
    assert cycle.control == "fixed"
    assert cycle.half_cycle_s.value == pytest.approx(half, rel=0.003)
    starts = cycle.half_cycles["start_s"].to_numpy(dtype=float)
    time_s = made.screened.log.time_s
    true, found = (at[(at > time_s[0] + 720.0) & (at < time_s[-1] - 720.0)] for at in (made.switchovers_s, starts))
    assert score(true, found, margin_of(60.0, half)).f1 >= 0.9


@pytest.mark.parametrize("kind", ["ar1", "walk", "shifts", "curved"])
def test_turns_of_noise_make_no_chain(kind):
    for seed in range(1100, 1104):
        assert turn_chain(moisture_trace(noise_log(kind, seed))) is None


def test_a_chain_keeps_its_step_over_missed_turns_and_begins_anew_after_a_pause():
    rng = np.random.default_rng(0)
    time_s = 60.0 * np.arange(5 * 1440)
    at = np.concatenate([1000.0 + 9000.0 * np.arange(20), 211_500.0 + 9000.0 * np.arange(24)])
    shown = np.delete(at, [4, 5, 13, 30])
    value = 0.002 * rng.standard_normal(time_s.size)
    for turn in shown:
        value += 0.3 * np.exp(-np.maximum(time_s - turn, 0.0) / 1500.0) * (time_s >= turn)
    trace = trace_of(time_s, value, 60.0)
    chain = turn_chain(trace)
    assert chain.step_s == pytest.approx(9000.0, rel=1e-3)
    assert [piece.size for piece in chain.pieces] == [17, 23]
    course = course_by_turns(trace, None)
    assert len(course.pieces) == 2
    assert course.half_cycle_s == pytest.approx(9000.0, rel=2e-4)
