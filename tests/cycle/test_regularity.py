"""What only a timer does: its clock is kept over many half-cycles, whatever else moves the trace."""

import itertools

import numpy as np
import pytest

from diagnostics.cycle.clock import Piece
from diagnostics.cycle.folding import Folded
from diagnostics.cycle.regularity import KEPT, MOST_WANDERED, is_beyond_doubt
from diagnostics.cycle.tracking import Course


def _course(*, lag_spread, coherence=0.4, present_share=1.0, pieces=1):
    cut = np.linspace(0.0, 60_000.0, pieces + 1)
    parts = tuple(Piece(a, b, 7.0 * i) for i, (a, b) in enumerate(itertools.pairwise(cut)))
    flat = np.zeros(10)
    folded = Folded(np.linspace(0.0, 270.0, 10), flat, flat, 300.0, 1.0)
    return Course(300.0, 0.01, 9.0, 0.0, 1.0, parts, False, folded, 0.0, present_share, coherence, lag_spread)


def test_half_cycles_that_the_load_ends_wander_off_any_clock():
    rng = np.random.default_rng(5)
    number = np.arange(int(MOST_WANDERED))
    spread = []
    for _ in range(400):
        ends = np.cumsum(1.0 + 0.015 * rng.standard_normal(number.size))
        spread.append(np.std(ends - np.polyval(np.polyfit(number, ends, 1), number)))
    assert np.quantile(spread, 0.05) > KEPT


def test_a_clock_kept_over_many_half_cycles_is_a_timers_however_little_its_cycle_explains():
    assert is_beyond_doubt(_course(lag_spread=0.005), 60_000.0)


@pytest.mark.parametrize(
    "other", [{"lag_spread": 0.03}, {"lag_spread": 0.005, "pieces": 2}, {"lag_spread": 0.005, "present_share": 0.6}]
)
def test_a_clock_that_lags_or_leaves_off_is_not_beyond_doubt(other):
    assert not is_beyond_doubt(_course(**other), 60_000.0)


def test_few_half_cycles_are_not_beyond_doubt():
    assert not is_beyond_doubt(_course(lag_spread=0.005), 0.9 * MOST_WANDERED * 300.0)
