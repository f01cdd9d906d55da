"""Median and quantiles against numpy's own, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.order_statistics import median, quantile, quantiles


@pytest.mark.parametrize("size", [1, 2, 3, 4, 5, 10, 59, 60, 1001])
@pytest.mark.parametrize("digits", [1, 3, 12])
def test_like_numpy(size: int, digits: int) -> None:
    values = np.random.default_rng(size).normal(size=size).round(digits)
    assert median(values) == np.median(values)
    shares = (0.0, 0.005, 0.1, 0.3, 0.5, 0.77, 0.98, 1.0)
    assert [quantile(values, share) for share in shares] == np.quantile(values, shares).tolist()
    assert quantiles(values, shares) == np.quantile(values, shares).tolist()


def test_leaves_its_values_in_their_order() -> None:
    values = np.array([3.0, 1.0, 2.0, 5.0])
    assert (median(values), quantile(values, 0.5)) == (2.5, 2.5)
    assert values.tolist() == [3.0, 1.0, 2.0, 5.0]
