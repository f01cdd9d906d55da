"""Nothing is read into logs without a rhythm: a false alarm would be a finding out of thin air."""

import pytest

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import Recipe, plant_of, timer_log
from tests.cycle.noise import HIDDEN, KINDS, hidden_log, noise_log


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(6))
def test_no_rhythm_is_found_in_noise(kind, seed):
    cycle = segment(noise_log(kind, 1000 + seed), plant_of(None))
    assert cycle.control == "unresolved"
    assert cycle.half_cycles.empty
    assert cycle.half_cycle_s is None


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        ("dead_leg", 5006),  # steps of one last digit: all peaks have one level
        ("shifts", 5016),  # harmonics of the day, left when its wave is taken off
        ("walk", 5020),  # slow waves that fall faster than they rise
        ("coarse", 5037),  # three half-cycles that pass for a full cycle
        ("coarse", 5045),  # an echo as slow as a heated dryer's timer
    ],
)
def test_what_looks_like_a_control_is_none(kind, seed):
    screened, plant = hidden_log(kind, seed) if kind in HIDDEN else (noise_log(kind, seed), plant_of(None))
    assert not segment(screened, plant).resolved


def test_a_rhythm_no_timer_is_known_to_run_at_needs_its_plate():
    recipe = {"half_cycle_s": 1807.0, "interval_s": 150.0, "spike_s": 200.0, "tail_s": 900.0, "spike": 0.6, "days": 2.0}
    without = timer_log(Recipe(**recipe))
    assert segment(without.screened, without.plant).control == "unresolved"
    plated = timer_log(Recipe(**recipe, plate_s=1800.0))
    assert segment(plated.screened, plated.plant).control == "fixed"
