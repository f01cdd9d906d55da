"""The inverse of normal equations against numpy's pseudo-inverse, and the jackknife against leaving out in fact."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.cycle.normal_equations import BLOCKS, jackknife_error, symmetric_inverse


@pytest.mark.parametrize("columns", [1, 2, 4, 7])
def test_inverse_is_the_pseudo_inverse(columns: int) -> None:
    design = np.random.default_rng(columns).normal(size=(40, columns))
    normal = design.T @ design
    np.testing.assert_array_equal(symmetric_inverse(normal), np.linalg.pinv(normal, hermitian=True))


def test_column_that_is_nowhere_seen_gets_nought() -> None:
    design = np.random.default_rng(3).normal(size=(40, 3))
    design[:, 1] = 0.0
    normal = design.T @ design
    found = symmetric_inverse(normal)
    np.testing.assert_allclose(found, np.linalg.pinv(normal, hermitian=True), rtol=1e-12)
    assert not found[1].any()


def test_many_at_once() -> None:
    design = np.random.default_rng(4).normal(size=(6, 30, 3))
    normal = design.swapaxes(1, 2) @ design
    np.testing.assert_allclose(symmetric_inverse(normal) @ normal, np.broadcast_to(np.eye(3), (6, 3, 3)), atol=1e-9)


def test_jackknife_leaves_out_each_block() -> None:
    rng = np.random.default_rng(5)
    time = np.arange(85.0)
    design = np.stack([np.ones_like(time), time], axis=1)
    y, weight = 0.3 * time + rng.normal(size=time.size), rng.uniform(0.5, 1.0, time.size)
    slopes = []
    for block in range(BLOCKS):
        kept = np.arange(time.size) * BLOCKS // time.size != block
        root = np.sqrt(weight[kept])
        slopes.append(np.linalg.lstsq(design[kept] * root[:, None], y[kept] * root, rcond=None)[0][1])
    expected = np.sqrt((BLOCKS - 1.0) / BLOCKS * np.sum((slopes - np.mean(slopes)) ** 2))
    assert jackknife_error(design, weight, y, 1, np.zeros(2)) == pytest.approx(expected, rel=1e-9)
    assert jackknife_error(design[:20], weight[:20], y[:20], 1, np.zeros(2)) == 0.0
