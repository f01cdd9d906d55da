"""What a kilowatt-hour costs, by local time where the tariff says so."""

from __future__ import annotations

import datetime as dt

import numpy as np

from diagnostics.log.record import Floats
from diagnostics.plant import Plant
from diagnostics.plant_file import Tariff

_STEP_MIN = 15
WEEK_BINS = 7 * 24 * 60 // _STEP_MIN
"""Quarter-hours of the week, Monday 0:00 first."""


def price_per_kwh(plant: Plant, weight: Floats | None = None) -> float | None:
    """Mean price over the week.

    Parameters
    ----------
    plant : Plant
    weight : ndarray, shape (WEEK_BINS,), optional
        Relative power in each quarter-hour of the week; flat if not given.

    Returns
    -------
    float or None
        [currency/kWh]; None where the plant file gives no price.
    """
    economics = plant.economics
    if not economics.tariff:
        return economics.electricity_price_per_kwh
    week = week_prices(plant)
    if weight is None or weight.sum() <= 0:
        return float(week.mean())
    return float(week @ weight / weight.sum())


def week_prices(plant: Plant) -> Floats:
    """Price in each quarter-hour of the week [currency/kWh], shape (WEEK_BINS,).

    The first tariff that matches counts; where none does, the plain price, else the mean of the tariffs.
    """
    economics = plant.economics
    plain = economics.electricity_price_per_kwh
    if plain is None:
        plain = float(np.mean([t.price_per_kwh for t in economics.tariff]))
    minutes: Floats = (np.arange(WEEK_BINS, dtype=np.float64) + 0.5) * _STEP_MIN
    prices = np.full(WEEK_BINS, plain)
    for tariff in reversed(economics.tariff):
        prices[_covers(tariff, minutes)] = tariff.price_per_kwh
    return prices


def _covers(tariff: Tariff, minutes: Floats) -> np.ndarray:
    start, end = _minutes(tariff.start), _minutes(tariff.end)
    of_day = minutes % 1440.0
    weekday = (minutes // 1440.0).astype(int) + 1
    days = np.array(tariff.weekdays or range(1, 8))
    if start < end:
        return (of_day >= start) & (of_day < end) & np.isin(weekday, days)
    # Over midnight: the small hours belong to the day on which the tariff began.
    evening = (of_day >= start) & np.isin(weekday, days)
    morning = (of_day < end) & np.isin((weekday - 2) % 7 + 1, days)
    return evening | morning


def _minutes(time: dt.time) -> float:
    return time.hour * 60.0 + time.minute + time.second / 60.0
