"""How long the bulk conversions take: ten million vapour pressures, a million dew points of real air."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from diagnostics.air import humidity as air


@pytest.fixture(scope="module")
def dew_points() -> np.ndarray:
    return np.random.default_rng(1).uniform(-80.0, 15.0, 10_000_000)


def test_frost_point_of_ten_million(benchmark: Any, dew_points: np.ndarray) -> None:
    pressure = air.saturation_pressure_pa(dew_points)
    found = benchmark.pedantic(air.frost_point_c, args=(pressure,), rounds=3, iterations=1)
    assert np.abs(found - dew_points).max() < 1e-6


@pytest.mark.parametrize("real", [True, False])
def test_dew_point_of_a_million(benchmark: Any, dew_points: np.ndarray, real: bool) -> None:
    some = dew_points[:1_000_000]
    moisture = air.moisture_fraction(some, 8.0, real=real)
    found = benchmark.pedantic(air.dew_point_c, args=(moisture, 8.0), kwargs={"real": real}, rounds=3, iterations=1)
    assert np.abs(found - some).max() < 1e-6


def test_change_of_pressure_of_a_million(benchmark: Any, dew_points: np.ndarray) -> None:
    some = dew_points[:1_000_000] - 20.0
    found = benchmark.pedantic(air.change_pressure, args=(some, 1.01325, 8.01325), rounds=3, iterations=1)
    assert (found > some).all()
