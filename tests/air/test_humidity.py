"""Humidity against independent libraries, a slow twin and real weather records; ranges and what happens beyond them."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import cumulative_trapezoid
from scipy.optimize import brentq

from diagnostics.air import humidity as air
from tests.shared_data import shared

PRESSURES_BAR = [0.9, 1.01325, 5.0, 8.01325, 12.0, 17.0]


class TestIndependentLibraries:
    """CoolProp 8 and iapws 1.5 are independent programs of the same or of a better-founded formulation."""

    def test_ice_against_iapws(self) -> None:
        from iapws._iapws import _Sublimation_Pressure

        t_c = np.arange(-130.0, 0.0, 2.5)
        theirs = [1e6 * _Sublimation_Pressure(t + 273.15) for t in t_c]
        assert air.vapour_pressure_ice_pa(t_c) == pytest.approx(theirs, rel=1e-8)

    def test_water_against_the_equation_of_state(self) -> None:
        # The release is a fit to IAPWS-95's own saturation line, stated to hold within 0.01 % of it.
        from CoolProp.CoolProp import PropsSI

        t_c = np.arange(0.05, 200.0, 5.0)
        theirs = PropsSI("P", "T", t_c + 273.15, "Q", 0, "Water")
        assert air.vapour_pressure_water_pa(t_c) == pytest.approx(theirs, rel=1.5e-4)

    def test_water_against_the_industrial_formulation(self) -> None:
        # IAPWS-IF97 region 4: a separate fit, within 0.01 % of SR1-86 up to 100 degC.
        from iapws.iapws97 import _PSat_T

        t_c = np.arange(0.05, 100.0, 5.0)
        theirs = [1e6 * _PSat_T(t + 273.15) for t in t_c]
        assert air.vapour_pressure_water_pa(t_c) == pytest.approx(theirs, rel=1.2e-4)

    @pytest.mark.parametrize("pressure_bar", PRESSURES_BAR)
    def test_moisture_of_saturated_air(self, pressure_bar: float) -> None:
        # CoolProp's moist air is the virial model of ASHRAE RP-1485; our enhancement factor is a fit to it, 4e-4.
        from CoolProp.HumidAirProp import HAPropsSI

        t_c = np.concatenate([np.arange(-90.0, 0.0, 5.0), np.arange(1.5, 60.5, 4.5)])
        theirs = [HAPropsSI("psi_w", "T", t + 273.15, "P", pressure_bar * 1e5, "R", 1.0) for t in t_c]
        assert air.moisture_fraction(t_c, pressure_bar) == pytest.approx(theirs, rel=4.5e-4)

    @pytest.mark.parametrize(
        ("pressure_bar", "tolerance"), [(0.5, 1e-3), (5.0, 2.5e-3), (8.01325, 4e-3), (17.0, 1.5e-2)]
    )
    def test_beyond_the_fit(self, pressure_bar: float, tolerance: float) -> None:
        # 4e-3 in moisture is 0.02 K at -120 degC.
        from CoolProp.HumidAirProp import HAPropsSI

        t_c = np.array([-120.0, -110.0, -100.0, -95.0] + ([] if pressure_bar < 1.2 else [65.0, 80.0, 95.0]))
        theirs = [HAPropsSI("psi_w", "T", t + 273.15, "P", pressure_bar * 1e5, "R", 1.0) for t in t_c]
        assert air.moisture_fraction(t_c, pressure_bar) == pytest.approx(theirs, rel=tolerance)

    def test_dew_point_of_given_moisture(self) -> None:
        from CoolProp.HumidAirProp import HAPropsSI

        for pressure_bar in PRESSURES_BAR[1:4]:
            for x in (2e-4, 1e-3, 5e-3):
                theirs = HAPropsSI("D", "T", 323.15, "P", pressure_bar * 1e5, "psi_w", x) - 273.15
                assert air.dew_point_c(x, pressure_bar) == pytest.approx(theirs, abs=0.005)

    def test_relative_humidity_of_compressed_air(self) -> None:
        # Relative humidity as the moisture against saturated air of the same pressure and temperature.
        from CoolProp.HumidAirProp import HAPropsSI

        for gas_c, pressure_bar, percent in ((35.0, 8.0, 60.0), (20.0, 1.01325, 30.0), (45.0, 16.0, 5.0)):
            x = HAPropsSI("psi_w", "T", gas_c + 273.15, "P", pressure_bar * 1e5, "R", percent / 100.0)
            assert air.relative_humidity_percent(x, pressure_bar, gas_c) == pytest.approx(percent, rel=1e-3)


class TestSupercooledWater:
    def test_against_clausius_and_clapeyron(self) -> None:
        # Murphy and Koop's equation against d ln e/dT = L/(R T^2) from the triple point on: heat of vaporisation there
        # 2500.9 J/g (IAPWS-95), rising on cooling by c_liquid - c_vapour, c_liquid of supercooled water from IAPWS
        # G12-15 as iapws computes it, c_vapour 1.86 J/gK. Taking the vapour as ideal costs 0.05 %; the rest is the
        # equation's own, 0.1 % at -37 degC.
        from iapws._iapws import _Supercooled

        gas_j_g_k = 8.314462618 / 18.015268
        t_k = np.linspace(273.16, 236.15, 371)
        liquid_j_g_k = np.array([_Supercooled(t, 0.101325)["cp"] for t in t_k])
        heat_j_g = 2500.9 - cumulative_trapezoid(liquid_j_g_k - 1.86, t_k, initial=0.0)
        log_e = cumulative_trapezoid(heat_j_g / (gas_j_g_k * t_k**2), t_k, initial=0.0)
        ours = np.log(np.asarray(air.vapour_pressure_supercooled_pa(t_k - 273.15)) / 611.657)
        to_20 = t_k > 253.0
        assert ours[to_20] == pytest.approx(log_e[to_20], abs=6e-4)
        assert ours == pytest.approx(log_e, abs=1.5e-3)

    def test_there_and_back(self) -> None:
        frost = np.linspace(-130.0, 30.0, 1601)
        over_water = air.supercooled_from_frost_c(frost)
        assert air.frost_from_supercooled_c(over_water) == pytest.approx(frost, abs=1e-6)
        below = frost < 0.0
        assert (over_water[below] < frost[below]).all()
        assert (over_water[~below][1:] == frost[~below][1:]).all()


class TestSlowTwin:
    """The vectorised inversion against a search by bisection on the equation as printed, one number at a time."""

    def test_saturation_and_its_inverse(self) -> None:
        rng = np.random.default_rng(20)
        for t in np.concatenate([rng.uniform(-130.0, 200.0, 60), [-0.5, 0.0, 0.00999, 0.01, 0.0101, 0.5]]):
            e = slow_saturation_pa(t)
            assert air.saturation_pressure_pa(t) == pytest.approx(e, rel=1e-12)
            assert air.frost_point_c(e) == pytest.approx(
                brentq(lambda c, e=e: slow_saturation_pa(c) - e, t - 1, t + 1), abs=1e-8
            )

    def test_dew_point_of_moist_air(self) -> None:
        rng = np.random.default_rng(21)
        moisture, pressure = 10 ** rng.uniform(-7.0, -2.2, 80), rng.uniform(0.5, 17.0, 80)
        fast = air.dew_point_c(moisture, pressure)
        for x, bar, found in zip(moisture, pressure, fast, strict=True):
            slow = brentq(lambda t, x=x, bar=bar: slow_moisture(t, bar) - x, -128.0, 80.0, xtol=1e-11)
            assert found == pytest.approx(slow, abs=1e-7)


def slow_saturation_pa(t_c: float) -> float:
    """IAPWS R14-08 below 0.01 degC, SR1-86 above, one number at a time."""
    t_k = t_c + 273.15
    if t_c < 0.01:
        theta = t_k / 273.16
        terms = ((-21.2144006, 0.00333333333), (27.3203819, 1.20666667), (-6.10598130, 1.70333333))
        return 611.657 * math.exp(sum(a * theta**b for a, b in terms) / theta)
    v = 1.0 - t_k / 647.096
    terms = (
        (-7.85951783, 1.0),
        (1.84408259, 1.5),
        (-11.7866497, 3.0),
        (22.6807411, 3.5),
        (-15.9618719, 4.0),
        (1.80122502, 7.5),
    )
    return 22.064e6 * math.exp(647.096 / t_k * sum(a * v**b for a, b in terms))


def slow_log_factor(t_c: float, pascal: float, over_ice: bool) -> float:
    """The virial fit as printed; the temperature held at -120 and 80 degC."""
    e = slow_saturation_pa(t_c)
    if over_ice:
        x = max(t_c, -120.0) / 100.0
        a = (0.03739458, -0.0290381, 0.03950649, 0.0227549, 0.04055687)
        b: tuple[float, ...] = (-0.0001456145, -0.0008133051, 0.002416492)
        c: tuple[float, ...] = ()
    else:
        x = min(t_c, 80.0) / 100.0
        a = (0.03581844, -0.03270828, 0.01497549, 0.001321571)
        b = (2.309386e-05, 0.0002912685)
        c = (0.6061621, -0.6010834)
    sums = [sum(value * x**power for power, value in enumerate(part)) for part in (a, b, c)]
    return (pascal - e) / 1e6 * (sums[0] + pascal / 1e6 * sums[1] + e / pascal * sums[2])


def slow_moisture(t_c: float, bar: float) -> float:
    pascal = bar * 1e5
    log_f = slow_log_factor(t_c, pascal, over_ice=t_c < 0.01)
    if t_c >= 0.01:
        step = slow_log_factor(0.01, pascal, over_ice=True) - slow_log_factor(0.01, pascal, over_ice=False)
        log_f += step * math.exp(-(t_c - 0.01) / 0.2)
    return math.exp(log_f) * slow_saturation_pa(t_c) / pascal


class TestWeatherRecords:
    """Records whose dew points or vapour pressures others reckoned, with formulations of their own."""

    def test_radiosonde_over_water(self) -> None:
        # Dew point over water by Hyland and Wexler's equation carried below 0 degC; Murphy and Koop's differs from it
        # by 0.03 K to -20, 0.1 K to -40 and 0.6 K below -80 degC, always towards the warmer side.
        sonde = pd.read_csv(shared("data", "weather", "sonde_sgpsondewnpnC1_20190101.csv.gz"))
        over_water = np.asarray(air.vapour_pressure_supercooled_pa(sonde["tdry_C"].to_numpy()))
        frost = air.frost_point_c(over_water * sonde["rh_pct"].to_numpy() / 100.0)
        ours = np.asarray(air.supercooled_from_frost_c(frost))
        theirs = sonde["dp_C"].to_numpy()
        difference = ours - theirs
        assert np.abs(difference[theirs > -20.0]).max() < 0.03
        assert np.abs(difference[theirs > -40.0]).max() < 0.1
        assert np.abs(difference).max() < 0.6
        assert difference.min() > -0.01

    def test_surface_station_over_ice(self) -> None:
        # Vapour pressure in three digits, over ice below 0 degC: 1 % apart; over water it would be 4 to 7 % apart.
        station = pd.read_csv(shared("data", "weather", "surface_1min_sgpmetE13_20190101.csv.gz"))
        t, theirs = station["temp_C"].to_numpy(), 1000.0 * station["vapor_pressure_kPa"].to_numpy()
        humidity = station["rh_pct"].to_numpy() / 100.0
        over_ice = humidity * np.asarray(air.saturation_pressure_pa(t))
        assert np.abs(over_ice / theirs - 1.0).max() < 0.01
        freezing = t < -3.0
        over_water = humidity[freezing] * np.asarray(air.vapour_pressure_supercooled_pa(t[freezing]))
        assert np.abs(over_water / theirs[freezing] - 1.0).min() > 0.02

    def test_airports_over_water(self) -> None:
        # Relative humidity from temperature and dew point: 0.1 % apart, but for a few rows known to be faulty.
        hourly = pd.read_csv(shared("data", "weather", "hourly_airport_nyc_2013.csv.gz")).dropna()
        t, dew = (((hourly[name] - 32.0) / 1.8).to_numpy() for name in ("temp", "dewp"))
        bar = hourly["pressure"].to_numpy() / 1000.0
        x = air.moisture_fraction(air.frost_from_supercooled_c(dew), bar, real=False)
        ours = np.asarray(air.relative_humidity_percent(x, bar, t, real=False))
        apart = np.abs(ours - hourly["humid"].to_numpy())
        assert np.quantile(apart, 0.999) < 0.1


class TestShapesAndRanges:
    FUNCTIONS = (
        lambda v, **k: air.saturation_pressure_pa(v, **k),
        lambda v, **k: air.enhancement_factor(v, 8.0, **k),
        lambda v, **k: air.moisture_fraction(v, 8.0, **k),
        lambda v, **k: air.change_pressure(v, 8.0, 1.0, **k),
        lambda v, **k: air.supercooled_from_frost_c(v, **k),
        lambda v, **k: air.frost_from_supercooled_c(v, **k),
    )

    @pytest.mark.parametrize("function", FUNCTIONS)
    def test_float_in_float_out_array_in_array_out(self, function) -> None:
        assert type(function(-40.0)) is float
        assert type(function(-40)) is float
        grid = np.array([[-40.0, 3.0, np.nan], [10.0, -70.0, 0.0]])
        found = function(grid)
        assert found.shape == grid.shape
        assert np.isnan(found).tolist() == np.isnan(grid).tolist()
        assert found[0, 0] == pytest.approx(function(-40.0), rel=1e-13)
        assert function(np.array([])).shape == (0,)
        assert math.isnan(function(float("nan")))

    @pytest.mark.parametrize("function", FUNCTIONS)
    def test_beyond_the_range(self, function) -> None:
        with pytest.raises(ValueError, match=r"-200.*deg.*outside|outside"):
            function(np.array([-40.0, -200.0]))
        masked = function(np.array([-40.0, -200.0, 500.0]), beyond="nan")
        assert np.isnan(masked).tolist() == [False, True, True]
        assert math.isnan(function(-200.0, beyond="nan"))

    def test_pressure_may_vary_with_the_reading(self) -> None:
        dew, bar = np.array([-40.0, 3.0, 20.0]), np.array([8.0, 5.0, 1.0])
        together = air.moisture_fraction(dew, bar)
        apart = [air.moisture_fraction(float(d), float(b)) for d, b in zip(dew, bar, strict=True)]
        assert together == pytest.approx(apart, rel=1e-13)
        assert air.moisture_fraction(-40.0, bar).shape == (3,)
        assert air.dew_point_c(1e-4, bar).shape == (3,)
        assert air.moisture_fraction(np.zeros((4, 1)), bar).shape == (4, 3)

    @pytest.mark.parametrize(
        ("call", "names"),
        [
            (lambda: air.moisture_fraction(-40.0, 80.0), "80 bar abs"),
            (lambda: air.moisture_fraction(120.0, 1.0), "boiling"),
            (lambda: air.dew_point_c(0.0, 8.0), "mole fraction"),
            (lambda: air.dew_point_c(1.0, 8.0), "mole fraction"),
            (lambda: air.dew_point_c(0.9, 65.0), "Pa"),
            (lambda: air.frost_point_c(-1.0), "-1 Pa"),
            (lambda: air.vapour_pressure_ice_pa(5.0), "5 degC"),
            (lambda: air.vapour_pressure_water_pa(-5.0), "-5 degC"),
            (lambda: air.vapour_pressure_supercooled_pa(60.0), "60 degC"),
            (lambda: air.relative_humidity_percent(1e-3, 8.0, 900.0), "900 degC"),
            (lambda: air.moisture_from_relative_humidity(130.0, 8.0, 20.0), "130 %"),
            (lambda: air.moisture_from_ppmw(-1.0), "-1 ppmw"),
            (lambda: air.absolute_humidity_g_m3(1.5, 8.0, 20.0), "1.5 mol/mol"),
        ],
    )
    def test_message_names_value_unit_and_range(self, call, names: str) -> None:
        with pytest.raises(ValueError, match=names):
            call()

    def test_boiling_is_no_state_of_a_log_either(self) -> None:
        found = air.moisture_fraction(np.array([99.0, 101.0]), 1.01325, beyond="nan")
        assert found[0] > 0.9
        assert math.isnan(found[1])

    def test_series_of_pandas(self) -> None:
        series = pd.Series([-40.0, np.nan, 3.0], index=[5, 7, 9])
        assert air.moisture_fraction(series, 8.0)[2] == pytest.approx(air.moisture_fraction(3.0, 8.0), rel=1e-13)

    def test_phases_meet_at_the_triple_point(self) -> None:
        assert air.saturation_pressure_pa(0.01 - 1e-9) == pytest.approx(611.657, rel=1e-8)
        assert air.saturation_pressure_pa(0.01) == pytest.approx(611.657, rel=2e-7)
        for bar in (1.0, 8.0, 16.0):
            assert air.enhancement_factor(0.01, bar) == pytest.approx(
                air.enhancement_factor(0.01 - 1e-9, bar), rel=1e-9
            )
