"""Laws that hold for any moist air: there and back, order, and what compression leaves alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.air import humidity as air

dew_points = st.floats(-100.0, 60.0)
near_freezing = st.floats(-0.5, 1.5)
pressures = st.floats(0.5, 16.0)
flags = st.booleans()


@settings(max_examples=300)
@given(st.one_of(dew_points, near_freezing), pressures, flags)
def test_dew_point_comes_back_from_its_moisture(dew_point: float, bar: float, real: bool) -> None:
    x = air.moisture_fraction(dew_point, bar, real=real)
    assert 0.0 < x < 1.0
    assert air.dew_point_c(x, bar, real=real) == pytest.approx(dew_point, abs=1e-6)


@settings(max_examples=200)
@given(st.floats(-100.0, 60.0), pressures, pressures, flags)
def test_dew_point_comes_back_from_another_pressure(dew_point: float, bar: float, other: float, real: bool) -> None:
    there = air.change_pressure(dew_point, bar, other, real=real)
    assert air.change_pressure(there, other, bar, real=real) == pytest.approx(dew_point, abs=1e-6)


@given(st.floats(-130.0, 200.0))
def test_saturation_comes_back(temperature: float) -> None:
    assert air.frost_point_c(air.saturation_pressure_pa(temperature)) == pytest.approx(temperature, abs=1e-6)


@given(st.floats(-130.0, 200.0))
def test_phase_comes_back(frost_point: float) -> None:
    over_water = air.supercooled_from_frost_c(frost_point)
    assert over_water <= frost_point
    assert air.frost_from_supercooled_c(over_water) == pytest.approx(frost_point, abs=1e-6)


@given(st.one_of(dew_points, near_freezing), st.floats(1e-4, 5.0), pressures, flags)
def test_wetter_air_holds_more_water(dew_point: float, step: float, bar: float, real: bool) -> None:
    drier, wetter = air.moisture_fraction(np.array([dew_point, dew_point + step]), bar, real=real)
    assert drier < wetter


@given(st.floats(-100.0, 60.0), pressures, st.floats(1.001, 3.0), flags)
def test_compression_raises_the_dew_point(dew_point: float, bar: float, ratio: float, real: bool) -> None:
    assert air.change_pressure(dew_point, bar, bar * ratio, real=real) > dew_point


@given(st.floats(1e-8, 0.02), st.floats(0.5, 16.0))
def test_real_air_takes_up_more_water(moisture: float, bar: float) -> None:
    real, ideal = (air.dew_point_c(moisture, bar, real=real) for real in (True, False))
    assert real < ideal
    assert ideal - real < 2.5


@given(st.floats(1e-9, 0.3), st.floats(0.5, 16.0), st.floats(-60.0, 60.0))
def test_every_unit_comes_back(x: float, bar: float, gas_c: float) -> None:
    ways = [
        air.moisture_from_ppmv_dry(air.ppmv_dry(x)),
        air.moisture_from_ppmv_moist(air.ppmv_moist(x)),
        air.moisture_from_ppmw(air.ppmw(x)),
        air.moisture_from_mixing_ratio(air.mixing_ratio_g_kg(x)),
        air.moisture_from_absolute_humidity(air.absolute_humidity_g_m3(x, bar, gas_c), bar, gas_c),
        air.moisture_from_reference_humidity(air.reference_humidity_g_m3(x)),
    ]
    assert ways == pytest.approx([x] * len(ways), rel=1e-12)
    percent = air.relative_humidity_percent(x, bar, gas_c)
    if percent <= 100.0:
        assert air.moisture_from_relative_humidity(percent, bar, gas_c) == pytest.approx(x, rel=1e-12)


@given(st.floats(0.5, 40.0), st.floats(0.6, 16.0))
def test_saturated_air_has_a_hundred_percent(gas_c: float, bar: float) -> None:
    x = air.moisture_fraction(gas_c, bar)
    assert air.relative_humidity_percent(x, bar, gas_c) == pytest.approx(100.0, rel=1e-9)


@given(st.lists(st.one_of(st.floats(-300.0, 300.0), st.just(float("nan"))), min_size=1, max_size=20), pressures)
def test_a_log_never_raises_when_masked(values: list[float], bar: float) -> None:
    found = air.moisture_fraction(np.array(values), bar, beyond="nan")
    valid = np.isfinite(found)
    again = air.dew_point_c(found, bar, beyond="nan")
    assert again[valid] == pytest.approx(np.array(values)[valid], abs=1e-6)
    assert np.isnan(again[~valid]).all()


@pytest.mark.parametrize("bar", [0.3, 0.5, 1.0, 1.5, 4.0, 8.0, 16.0, 40.0, 65.0])
def test_moisture_rises_without_a_break_through_freezing(bar: float) -> None:
    dew = np.concatenate(
        [np.linspace(-130.0, 60.0, 4001), np.linspace(-0.01, 0.03, 4001), np.linspace(-1.0, 3.0, 4001)]
    )
    dew = np.unique(dew[air.saturation_pressure_pa(dew) < 0.99e5 * bar])
    x = air.moisture_fraction(dew, bar)
    slope = np.diff(np.log(x)) / np.diff(dew)
    resolved = np.diff(dew) > 1e-6
    assert slope[resolved].min() > 0.01
    assert air.dew_point_c(x, bar) == pytest.approx(dew, abs=1e-6)
