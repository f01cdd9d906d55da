"""A line's error must tell how far lines through other draws of the same noise lie apart: drawn, no outside source."""

import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.special import stdtrit

from diagnostics.cycle.robust_line import long_run, robust_line


def _white(rng, n):
    return rng.normal(size=n)


def _wandering(rng, n):
    return lfilter([1.0], [1.0, -0.6], rng.normal(size=n + 50))[50:]


def _swinging(rng, n):
    """Where the logger catches a cycle: a sawtooth of some swings over the log, and noise."""
    swing = np.mod(np.arange(n) * rng.uniform(0.15, 0.45) + rng.random(), 1.0) - 0.5
    return swing + 0.1 * rng.normal(size=n)


@pytest.mark.parametrize(
    ("noise", "least", "most"), [(_white, 0.8, 1.3), (_wandering, 0.8, 1.4), (_swinging, 0.5, 1.3)]
)
@pytest.mark.parametrize("n", [24, 180])
def test_the_error_tells_how_far_lines_lie_apart(noise, least, most, n):
    rng = np.random.default_rng(5)
    design = np.column_stack([np.ones(n), np.linspace(0.0, 1.0, n)])
    found = [robust_line(design, noise(rng, n), np.ones(n)) for _ in range(300)]
    away = np.array([each.values[1] / each.errors[1] for each in found])
    assert least < np.sqrt((np.clip(away, -4.0, 4.0) ** 2).mean()) < most
    reach = stdtrit(np.array([each.freedom for each in found]), 0.975)
    assert np.mean(np.abs(away) < reach) > 0.90


def test_what_swings_to_and_fro_widens_less_than_noise_and_what_wanders_more():
    rng = np.random.default_rng(3)
    swings = np.mean([long_run(_swinging(rng, 180))[0] for _ in range(50)])
    unrelated = np.mean([long_run(_white(rng, 180))[0] for _ in range(50)])
    wanders = np.mean([long_run(_wandering(rng, 180))[0] for _ in range(50)])
    assert swings < 0.6
    assert unrelated == pytest.approx(1.0, abs=0.2)
    # a first-order process of memory r: (1 + r) / (1 - r) = 4
    assert wanders == pytest.approx(4.0, rel=0.3)


def test_wrong_values_do_not_move_the_line():
    rng = np.random.default_rng(1)
    time = np.linspace(0.0, 1.0, 60)
    value = 2.0 * time + 0.05 * rng.normal(size=60)
    value[[7, 30, 41, 55]] += 5.0
    found = robust_line(np.column_stack([np.ones(60), time]), value, np.ones(60))
    assert found.values[1] == pytest.approx(2.0, abs=0.1)
    assert found.errors[1] < 0.06
