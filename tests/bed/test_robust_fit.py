"""The fit's minimum against scipy's own soft-l1 fit, and each model's derivatives against differences."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import approx_fprime, least_squares

from diagnostics.bed import purge_balance, purge_level, tail
from diagnostics.bed.purge_balance import Course
from diagnostics.bed.robust_fit import fit


def line(values):
    x = np.linspace(0.0, 1.0, 40)
    return values[0] + values[1] * x, np.column_stack([np.ones(40), x])


def test_it_finds_the_minimum_that_scipy_finds_for_the_same_loss() -> None:
    rng = np.random.default_rng(4)
    observed = line(np.array([1.0, 2.0]))[0] + 0.1 * rng.standard_normal(40)
    observed[::9] += 3.0
    centre, width, far = np.zeros(2), np.array([np.inf, np.inf]), np.full(2, 100.0)
    found = fit(line, observed, 0.1, centre, width, [np.zeros(2)], (-far, far))
    # scipy's loss on residuals over 0.1 (scipy.optimize.least_squares, general-purpose reference)
    theirs = least_squares(lambda v: (line(v)[0] - observed) / 0.1, np.zeros(2), loss="soft_l1", xtol=1e-12, ftol=1e-12)
    assert found.values == pytest.approx(theirs.x, abs=1e-4)
    assert found.cost == pytest.approx(theirs.cost, rel=1e-6)


def test_a_prior_pulls_and_a_bound_holds() -> None:
    observed = line(np.array([1.0, 2.0]))[0]
    wide = np.full(2, 10.0)
    free = fit(line, observed, 0.1, np.zeros(2), np.array([np.inf, 0.01]), [np.zeros(2)], (-wide, wide))
    assert 0.0 < free.values[1] < 1.0
    held = fit(line, observed, 0.1, np.zeros(2), np.full(2, np.inf), [np.zeros(2)], (-wide, np.array([10.0, 1.5])))
    assert held.values[1] == pytest.approx(1.5)


@pytest.mark.parametrize("block", [1, 3])
@pytest.mark.parametrize(
    ("predict", "centre"),
    [
        (purge_balance.predict, [0.2, -1.6, -5.0, -3.0, 0.3, -4.0, 1.5]),
        (purge_level.predict_level, [0.2, 2.0, 3.0, -3.0, 0.3, 0.5, 1.5]),
    ],
)
def test_derivatives_of_the_heatless_models(predict, centre, block: int) -> None:
    course = Course(0.9 * (1.0 + 0.2 * np.sin(np.arange(120) / 17.0)), np.zeros(120), block)
    rng = np.random.default_rng(block)
    for _ in range(3):
        values = np.array(centre) + 0.2 * rng.standard_normal(7)
        _, slopes = predict(course, values)
        by_difference = approx_fprime(values, lambda v: predict(course, v)[0], 1e-6)
        assert slopes == pytest.approx(by_difference, abs=2e-3 * np.abs(by_difference).max() + 1e-4)


@pytest.mark.parametrize(("kind", "shape"), [("exponential", [-9.0, 2.0]), ("gaussian", [1.6, -1.2])])
def test_derivatives_of_the_fronts(kind: str, shape: list[float]) -> None:
    rng = np.random.default_rng(2)
    points = tail.TailPoints(
        half_cycle=np.repeat(np.arange(6), 8),
        side=np.repeat([0.5, -0.5], 24),
        loaded=np.tile(np.linspace(0.2, 1.1, 8), 6),
        log_moisture=np.zeros(48),
        log_flow=0.2 * rng.standard_normal(48),
    )
    model = tail._model(points, kind, 6.0)
    values = np.array([-3.0, 0.3, *shape, 1.0, 0.1])
    _, slopes = model(values)
    assert slopes == pytest.approx(approx_fprime(values, lambda v: model(v)[0], 1e-6), abs=1e-3)
