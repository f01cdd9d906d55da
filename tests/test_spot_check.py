"""One reading into every quantity: against public tables, exact arithmetic and nonsense."""

from __future__ import annotations

import json
import math
from dataclasses import FrozenInstanceError

import pytest

from diagnostics.errors import InputError, UsageError
from diagnostics.spot_check import UNITS, spot_check, spot_table

CONTRACT_KEYS = [
    "pressure_dew_point_c",
    "atmospheric_dew_point_c",
    "dew_point_over_water_c",
    "vapour_pressure_pa",
    "ppmv",
    "ppmv_moist",
    "ppmw",
    "mixing_ratio_g_kg",
    "absolute_humidity_g_m3",
    "reference_humidity_g_m3",
    "relative_humidity_percent",
    "enhancement_factor",
    "purity_class",
]


def test_keys_are_the_published_ones() -> None:
    plain = spot_check(-40.0, "degC", 7.0).to_dict()
    assert list(plain) == [*CONTRACT_KEYS, "uncertainty_c", "intervals"]
    judged = spot_check(-40.0, "degC", 7.0, limit_c=-40.0).to_dict()
    assert list(judged) == [*plain, "conformity", "probability_of_conformity"]
    assert json.loads(json.dumps(judged, allow_nan=False)) == judged


@pytest.mark.parametrize("dew_point", [-70.0, -40.0, -3.0, 12.0])
def test_intervals_are_the_quantities_at_the_ends_of_the_uncertainty(dew_point: float) -> None:
    read = spot_check(dew_point, "degC", 7.0, gas_temperature_c=24.0, uncertainty_c=1.5)
    low, high = (spot_check(dew_point + away, "degC", 7.0, gas_temperature_c=24.0) for away in (-1.5, 1.5))
    assert set(read.intervals) == set(CONTRACT_KEYS) - {"enhancement_factor", "purity_class"}
    for key, span in read.intervals.items():
        assert span == pytest.approx((getattr(low, key), getattr(high, key)), rel=1e-9, abs=1e-9), key
        assert span[0] < getattr(read, key) < span[1], key


def test_interval_of_moisture_against_a_general_humidity_library() -> None:
    # CoolProp's moist-air model (HAPropsSI), humidity ratio at 8.01325 bar over -41, -40 and -39 degC.
    from CoolProp.HumidAirProp import HAPropsSI

    read = spot_check(-40.0, "degC", 7.0, uncertainty_c=1.0)
    for end, level in zip(read.intervals["mixing_ratio_g_kg"], (-41.0, -39.0), strict=True):
        ratio = HAPropsSI("W", "D", level + 273.15, "T", 293.15, "P", 8.01325e5)
        assert end == pytest.approx(1000.0 * ratio, rel=0.01)


def test_without_an_uncertainty_there_is_no_interval_and_no_word_of_one() -> None:
    exact = spot_check(-40.0, "degC", 7.0, uncertainty_c=0.0)
    assert exact.intervals == {}
    assert not any("brackets" in note for note in exact.notes)
    assert spot_check(-109.0, "degC", 7.0, uncertainty_c=50.0).intervals == {}, "its low end is out of range"


def test_result_is_frozen() -> None:
    with pytest.raises(FrozenInstanceError):
        spot_check(-40.0, "degC", 7.0).ppmv = 0.0  # type: ignore[misc]


@pytest.mark.parametrize(
    ("pressure_dew_point", "gauge", "atmospheric_dew_point"),
    [
        # A public conversion table in two decimals, ideal gas, 1.013 bar, ice below 0 degC (read).
        (-66.56, 7.0, -80.0),
        (-43.54, 7.0, -60.0),
        (-20.17, 7.0, -40.0),
        (4.05, 7.0, -20.0),
        (17.93, 7.0, -10.0),
        (32.27, 7.0, 0.0),
    ],
)
def test_trade_table_is_ideal(pressure_dew_point: float, gauge: float, atmospheric_dew_point: float) -> None:
    row = spot_check(atmospheric_dew_point, "degC", gauge, basis="atmospheric", ideal=True)
    assert row.pressure_dew_point_c == pytest.approx(pressure_dew_point, abs=0.01)
    assert row.atmospheric_dew_point_c == pytest.approx(atmospheric_dew_point, abs=1e-6)
    assert row.enhancement_factor == 1.0


def test_real_air_differs_from_the_trade_table() -> None:
    # CoolProp's moist-air model: -40 degC at 7 bar gauge is -56.67 degC at 1.01325 bar, the ideal -56.95 degC.
    assert spot_check(-40.0, "degC", 7.0).atmospheric_dew_point_c == pytest.approx(-56.67, abs=0.01)
    assert spot_check(-40.0, "degC", 7.0, ideal=True).atmospheric_dew_point_c == pytest.approx(-56.95, abs=0.01)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("basis", ["pressure", "atmospheric"])
@pytest.mark.parametrize("ideal", [False, True])
def test_every_unit_leads_back_to_the_same_air(unit: str, basis: str, ideal: bool) -> None:
    settings = {"basis": basis, "ideal": ideal, "gas_temperature_c": 28.0, "barometer_bar": 0.93}
    air = spot_check(-31.0, "degC", 6.3, **{**settings, "basis": "pressure"})
    at_reading = air if basis == "pressure" else spot_check(air.ppmv, "ppmv", 0.0, **settings)
    reading = {
        "degC": at_reading.pressure_dew_point_c,
        "degF": at_reading.pressure_dew_point_c * 1.8 + 32.0,
        "ppmv": air.ppmv,
        "ppmw": air.ppmw,
        "g_m3": at_reading.absolute_humidity_g_m3,
        "g_kg": air.mixing_ratio_g_kg,
        "percent_rh": at_reading.relative_humidity_percent,
    }[unit]
    again = spot_check(reading, unit, 6.3, **settings)
    assert again.pressure_dew_point_c == pytest.approx(-31.0, abs=1e-7)
    assert again.ppmv == pytest.approx(air.ppmv, rel=1e-8)


def test_over_water_is_another_number_below_zero() -> None:
    # IAPWS R14-08 against Murphy and Koop 2005: frost -40 degC is dew -43.65 degC over supercooled water.
    assert spot_check(-43.651443, "degC", 7.0, over="water").pressure_dew_point_c == pytest.approx(-40.0, abs=1e-4)
    assert spot_check(-40.0, "degC", 7.0).dew_point_over_water_c == pytest.approx(-43.651443, abs=1e-4)
    assert spot_check(12.0, "degC", 7.0, over="water").pressure_dew_point_c == 12.0
    assert spot_check(12.0, "degC", 7.0).dew_point_over_water_c == pytest.approx(12.0, abs=1e-6)
    assert spot_check(-105.0, "degC", 7.0).dew_point_over_water_c is None


@pytest.mark.parametrize(
    ("dew_point", "number"),
    [
        (-70.0, 1),
        (-69.9, 2),
        (-40.0, 2),
        (-39.99, 3),
        (-20.0, 3),
        (3.0, 4),
        (3.01, 5),
        (7.0, 5),
        (10.0, 6),
        (10.01, None),
    ],
)
def test_a_limit_typed_is_a_limit_kept(dew_point: float, number: int | None) -> None:
    # ISO 8573-1:2010 table 2 (read on public pages): limits included.
    assert spot_check(dew_point, "degC", 7.0).purity_class == number
    assert spot_check(dew_point * 1.8 + 32.0, "degF", 7.0).purity_class == number


@pytest.mark.parametrize(
    ("dew_point", "verdict"),
    [(-43.0, "pass"), (-42.0, "pass"), (-41.0, "undecided"), (-38.0, "undecided"), (-37.5, "fail")],
)
def test_conformity_with_a_guard_band(dew_point: float, verdict: str) -> None:
    # Guard band as wide as U, ISO 14253-1's older default (rule from memory); probability from JCGM 106 by hand.
    row = spot_check(dew_point, "degC", 7.0, limit_c=-40.0, uncertainty_c=2.0)
    assert row.conformity == verdict
    assert row.probability_of_conformity == pytest.approx(0.5 * (1 + math.erf((-40.0 - dew_point) / math.sqrt(2.0))))


def test_no_limit_no_verdict() -> None:
    row = spot_check(-40.0, "degC", 7.0)
    assert row.conformity is None
    assert row.probability_of_conformity is None


def test_gas_temperature_moves_only_what_refers_to_it() -> None:
    cold, warm = (spot_check(-40.0, "degC", 7.0, gas_temperature_c=t) for t in (0.0, 40.0))
    assert cold.absolute_humidity_g_m3 / warm.absolute_humidity_g_m3 == pytest.approx(313.15 / 273.15)
    assert cold.relative_humidity_percent > 10 * warm.relative_humidity_percent
    assert cold.reference_humidity_g_m3 == warm.reference_humidity_g_m3
    assert cold.ppmv == warm.ppmv


def test_wetter_than_the_gas_can_hold_is_said() -> None:
    assert any("give off water" in note for note in spot_check(35.0, "degC", 7.0, gas_temperature_c=20.0).notes)
    assert not any("give off water" in note for note in spot_check(3.0, "degC", 7.0, gas_temperature_c=20.0).notes)


@pytest.mark.parametrize(
    ("arguments", "settings", "says"),
    [
        ((-300.0, "degC", 7.0), {}, "-300 °C"),
        ((180.0, "degC", 7.0), {}, "boiling"),
        ((0.0, "ppmv", 7.0), {}, "no dew point"),
        ((-5.0, "g_kg", 7.0), {}, "no dew point"),
        ((120.0, "percent_rh", 7.0), {"gas_temperature_c": 20.0}, "120"),
        ((50.0, "percent_rh", 7.0), {}, "gas temperature"),
        ((1e7, "g_m3", 7.0), {}, "cannot be"),
        ((math.nan, "degC", 7.0), {}, "nan"),
        ((math.inf, "ppmv", 7.0), {}, "inf"),
        ((-40.0, "degC", -1.0), {}, "line pressure"),
        ((-40.0, "degC", 700.0), {}, "line pressure"),
        ((-40.0, "degC", 7.0), {"barometer_bar": 1013.0}, "barometer"),
        ((-40.0, "degC", 7.0), {"limit_c": 400.0}, "limit"),
        ((-40.0, "degC", 7.0), {"uncertainty_c": -1.0}, "uncertainty"),
        ((-40.0, "degC", 7.0), {"gas_temperature_c": -300.0}, "gas temperature"),
    ],
)
def test_impossible_numbers_are_refused_in_one_sentence(arguments: tuple, settings: dict, says: str) -> None:
    with pytest.raises(InputError) as refused:
        spot_check(*arguments, **settings)
    sentence = str(refused.value)
    assert says in sentence
    assert "\n" not in sentence
    assert sentence.endswith(".")


@pytest.mark.parametrize("settings", [{"unit": "C"}, {"basis": "gauge"}, {"over": "glass"}])
def test_unknown_words_are_wrong_usage(settings: dict) -> None:
    words = {"unit": "degC", **settings}
    with pytest.raises(UsageError, match="known are"):
        spot_check(-40.0, words.pop("unit"), 7.0, **words)


@pytest.mark.parametrize(
    ("value", "to", "step", "count", "last"),
    [
        (-40.0, -38.0, 0.5, 5, -38.0),
        (-40.0, -70.0, 5.0, 7, -70.0),
        (-40.0, -70.0, -8.0, 4, -64.0),
        (5.0, 5.0, 1.0, 1, 5.0),
    ],
)
def test_table_runs_from_end_to_end(value: float, to: float, step: float, count: int, last: float) -> None:
    rows = spot_table(value, to, step, "degC", 7.0, limit_c=-40.0)
    assert len(rows) == count
    assert rows[0].value == value
    assert rows[-1].value == last
    assert rows[-1] == spot_check(last, "degC", 7.0, limit_c=-40.0)


@pytest.mark.parametrize(("to", "step"), [(-70.0, 0.0), (-70.0, 1e-6), (math.nan, 1.0)])
def test_endless_tables_are_refused(to: float, step: float) -> None:
    with pytest.raises(InputError):
        spot_table(-40.0, to, step, "degC", 7.0)
