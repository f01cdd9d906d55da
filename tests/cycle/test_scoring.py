"""The yardstick itself: right answers score one, a comb laid at random does not."""

import numpy as np

from tests.cycle.scoring import margin_of, score


def test_the_truth_scores_one():
    true = 240.0 * np.arange(100)
    assert score(true, true + 11.0, margin_of(10.0, 240.0)).f1 == 1.0


def test_a_comb_of_the_right_period_at_a_random_phase_scores_under_two_fifths():
    rng = np.random.default_rng(7)
    true = 240.0 * np.arange(300)
    scores = [score(true, true + rng.uniform(0, 240.0), margin_of(10.0, 240.0)).f1 for _ in range(200)]
    # 5 % either side of the switchover is a tenth of all phases
    assert np.mean(scores) < 0.4
    assert np.mean(scores) < 0.15


def test_each_truth_is_matched_once():
    twice = score(np.array([100.0]), np.array([99.0, 101.0]), 5.0)
    assert (twice.precision, twice.recall) == (0.5, 1.0)


def test_nothing_found_scores_nothing():
    assert score(np.array([1.0]), np.array([]), 1.0).f1 == 0.0
