"""Prices by local time of the week."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.energy.tariff import WEEK_BINS, hours_of_week_seen, over_week, price_per_kwh, week_index, week_prices
from tests.energy import made


def with_tariff(*rates: dict, **economics: object):
    return made.plant({**made.HEATLESS, "economics": {"tariff": list(rates), **economics}})


def test_plain_price() -> None:
    assert price_per_kwh(made.plant(made.HEATLESS)) == 0.15
    assert price_per_kwh(made.plant(made.HEATLESS, economics__electricity_price_per_kwh=None)) is None


def test_day_and_night() -> None:
    plant = with_tariff(
        {"price_per_kwh": 0.2, "from": "06:00:00", "to": "22:00:00"},
        {"price_per_kwh": 0.1, "from": "22:00:00", "to": "06:00:00"},
    )
    assert price_per_kwh(plant) == pytest.approx((0.2 * 16 + 0.1 * 8) / 24)


def test_a_night_over_midnight_belongs_to_the_evening_before() -> None:
    # Saturday's night rate runs into Sunday morning, not into Saturday morning
    plant = with_tariff(
        {"price_per_kwh": 0.05, "from": "22:00:00", "to": "06:00:00", "weekdays": [6]}, electricity_price_per_kwh=0.2
    )
    prices = week_prices(plant).reshape(7, 96)
    assert prices[6, :24] == pytest.approx(0.05)
    assert prices[5, :24] == pytest.approx(0.2)
    assert prices[5, 88:] == pytest.approx(0.05)


def test_the_first_matching_tariff_counts_and_gaps_take_the_plain_price() -> None:
    plant = with_tariff(
        {"price_per_kwh": 0.5, "from": "12:00:00", "to": "13:00:00"},
        {"price_per_kwh": 0.3, "from": "10:00:00", "to": "14:00:00"},
        electricity_price_per_kwh=0.1,
    )
    day = week_prices(plant)[:96]
    assert (day[50], day[42], day[10]) == (0.5, 0.3, 0.1)


def test_weight_shifts_the_mean() -> None:
    plant = with_tariff({"price_per_kwh": 0.2, "from": "06:00:00", "to": "22:00:00"}, electricity_price_per_kwh=0.1)
    night = np.zeros(WEEK_BINS)
    night[:24] = 1.0
    assert price_per_kwh(plant, night) == pytest.approx(0.1)


def test_week_in_local_time() -> None:
    # 2026-01-05 08:00 UTC is a Monday, 08:00 in Lisbon
    plant = made.plant(made.HEATLESS)
    log = made.screened(plant, hours=24, interval_s=900.0)
    assert week_index(log)[0] == 32
    assert hours_of_week_seen(log) == pytest.approx(1 / 7)


def test_hours_the_log_does_not_hold_take_the_same_time_of_day() -> None:
    plant = made.plant(made.HEATLESS)
    log = made.screened(plant, hours=24, interval_s=900.0)
    week = over_week(log, np.arange(96.0))
    assert week[32] == 0.0
    assert week[96 * 3 + 32] == 0.0
    assert np.isfinite(week).all()


def test_an_hourly_log_covers_the_hours_it_spans() -> None:
    plant = made.plant(made.HEATLESS)
    assert hours_of_week_seen(made.screened(plant, hours=48, interval_s=3600.0)) == pytest.approx(2 / 7)
    assert hours_of_week_seen(made.screened(plant, hours=24 * 21, interval_s=3600.0)) == 1.0
