"""Change points and robust statistics, against ruptures, scipy and the rows for averages of autocorrelated readings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diagnostics.health.steps import find_step, inflation, sigma


def _ar1(rng: np.random.Generator, n: int, r: float) -> np.ndarray:
    noise = rng.standard_normal(n)
    values = np.empty(n)
    values[0] = noise[0]
    for i in range(1, n):
        values[i] = r * values[i - 1] + math.sqrt(1 - r * r) * noise[i]
    return values


@pytest.mark.parametrize("seed", range(6))
def test_the_change_point_is_where_ruptures_puts_it(seed: int) -> None:
    """Reference: ruptures (a general-purpose library), binary segmentation with one break and least squares."""
    ruptures = pytest.importorskip("ruptures")
    rng = np.random.default_rng(seed)
    values = np.r_[rng.normal(-60, 0.4, 40), rng.normal(-56, 0.4, 25)]
    [reference, _] = ruptures.Binseg(model="l2", min_size=2, jump=1).fit(values).predict(n_bkps=1)
    step = find_step(values)
    assert step is not None
    assert step.index == reference
    assert step.size == pytest.approx(values[reference:].mean() - values[:reference].mean(), abs=1e-9)


def test_sigma_is_scipys_scaled_median_deviation() -> None:
    """Reference: scipy.stats.median_abs_deviation(scale='normal')."""
    from scipy.stats import median_abs_deviation

    values = np.random.default_rng(1).normal(3, 2, 101)
    assert sigma(values) == pytest.approx(median_abs_deviation(values, scale="normal"), rel=1e-4)
    assert sigma(np.array([1.0])) == 0.0


@pytest.mark.parametrize(
    ("lag1", "n", "n_eff"),
    # n_eff = n (1 - r)/(1 + r), the approximation for long series; computed with numpy 2.4.6 beside the exact sum
    [(0.0, 1440, 1440.0), (0.5, 100, 33.333333333333336)],
)
def test_the_widening_is_that_of_the_effective_number(lag1: float, n: int, n_eff: float) -> None:
    values = _ar1(np.random.default_rng(3), 20_000, lag1)
    assert n / inflation(values) ** 2 == pytest.approx(n_eff, rel=0.06)


def test_a_straight_climb_is_better_explained_by_a_line() -> None:
    rng = np.random.default_rng(4)
    step = find_step(np.linspace(-60, -54, 80) + rng.normal(0, 0.2, 80))
    assert step is not None
    assert step.line_explains > step.explains - 0.02


def test_a_step_of_the_load_is_taken_out() -> None:
    rng = np.random.default_rng(5)
    load = np.r_[np.full(30, 0.6), np.full(30, 1.0)] + rng.normal(0, 0.02, 60)
    values = -60 + 12 * load + rng.normal(0, 0.2, 60)
    with_load, without = find_step(values, load[:, None]), find_step(values)
    assert without is not None
    assert without.p_value < 1e-6
    assert with_load is not None
    assert with_load.p_value > 0.05


def test_the_onset_of_a_gradual_failure_is_its_first_departure() -> None:
    values = np.r_[np.full(20, -62.0), [-42.0, -27.0, 13.0], np.full(12, 25.0)]
    values[:20] += np.random.default_rng(6).normal(0, 0.3, 20)
    step = find_step(values)
    assert step is not None
    assert step.index == 20


@pytest.mark.parametrize("values", [np.zeros(40), np.arange(3.0), np.array([])])
def test_flat_and_short_series_hold_no_step(values: np.ndarray) -> None:
    assert find_step(values) is None


def test_red_noise_seldom_makes_a_significant_step() -> None:
    """At a level of 0.01 no more than 4 % of autocorrelated series without a step may show one (400 seeds)."""
    alarms = 0
    for seed in range(400):
        step = find_step(_ar1(np.random.default_rng(seed), 80, 0.6))
        alarms += step is not None and step.p_value < 0.01
    assert alarms <= 16


def test_the_best_climb_is_that_of_trying_every_hinge() -> None:
    """Slow twin: numpy.linalg.lstsq with each hinge in turn beside constant and load."""
    rng = np.random.default_rng(8)
    n = 60
    load = rng.normal(0, 1, n)
    values = 0.5 * load + 0.2 * np.maximum(0, np.arange(n) - 33) + rng.normal(0, 0.3, n)
    step = find_step(values, load[:, None])
    residuals = []
    for cut in range(3, n - 1):
        hinge = np.maximum(0.0, np.arange(n) - cut + 1)
        residuals.append(np.linalg.lstsq(np.column_stack([np.ones(n), load, hinge]), values, rcond=None)[1][0])
    assert step is not None
    assert step.climbs
    assert step.index == 3 + int(np.argmin(residuals))
