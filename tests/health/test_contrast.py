"""The difference of the towers, against statsmodels' Huber regression and by simulation."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.health.contrast import contrast_towers


def _series(seed: int, n: int, difference: float, *, slope: float = 0.0, noise: float = 0.3):
    rng = np.random.default_rng(seed)
    is_b = np.arange(n) % 2 == 1
    load = np.sin(np.arange(n) / 3.0) + 0.1 * rng.standard_normal(n)
    values = -60 + difference * is_b + slope * load + np.cumsum(rng.normal(0, 0.05, n)) + rng.normal(0, noise, n)
    follows = np.r_[False, np.ones(n - 1, bool)]
    return values, is_b, follows, load[:, None]


def test_the_coefficient_is_that_of_statsmodels_huber_regression() -> None:
    """Reference: statsmodels RLM with Huber's T, the same design built by hand."""
    rlm = pytest.importorskip("statsmodels.robust.robust_linear_model")
    values, is_b, follows, load = _series(1, 60, 1.5, slope=2.0)
    contrast = contrast_towers(values, is_b, follows, load)
    middle = np.arange(1, 59)
    response = values[middle] - 0.5 * (values[middle - 1] + values[middle + 1])
    covariate = (load[middle] - 0.5 * (load[middle - 1] + load[middle + 1]))[:, 0]
    design = np.column_stack([np.where(is_b[middle], 1.0, -1.0), np.ones(58), covariate])
    reference = rlm.RLM(response, design).fit()
    assert contrast is not None
    assert contrast.difference == pytest.approx(reference.params[0], abs=0.02)


@pytest.mark.parametrize("n", [24, 60, 300])
def test_the_interval_covers_the_true_difference(n: int) -> None:
    """Of 200 seeded series at least 88 % of the 95 % intervals hold the truth (few half-cycles cost some)."""
    hits = 0
    for seed in range(200):
        contrast = contrast_towers(*_series(seed, n, 1.0, slope=1.0)[:3], _series(seed, n, 1.0, slope=1.0)[3])
        assert contrast is not None
        hits += abs(contrast.difference - 1.0) <= 2.0 * contrast.error
    assert hits >= 176


def test_equal_towers_seldom_differ_significantly() -> None:
    alarms = 0
    for seed in range(300):
        contrast = contrast_towers(*_series(seed, 40, 0.0)[:3])
        assert contrast is not None
        alarms += contrast.p_value < 0.01
    assert alarms <= 12


def test_a_load_that_falls_to_one_tower_is_taken_out() -> None:
    n = 60
    values, is_b, follows, _ = _series(2, n, 0.0)
    load = is_b + 0.2 * np.random.default_rng(9).standard_normal(n)
    plain = contrast_towers(values + 4 * load, is_b, follows)
    adjusted = contrast_towers(values + 4 * load, is_b, follows, load[:, None])
    assert plain is not None
    assert plain.difference > 3
    assert adjusted is not None
    assert abs(adjusted.difference) < 1


def test_half_cycles_after_a_gap_are_not_held_against_each_other() -> None:
    values, is_b, follows, _ = _series(3, 20, 2.0)
    follows[10] = False
    contrast = contrast_towers(values, is_b, follows)
    assert contrast is not None
    assert contrast.contrasts == 16


def test_too_few_half_cycles_say_nothing() -> None:
    assert contrast_towers(*_series(4, 8, 2.0)[:3]) is None
