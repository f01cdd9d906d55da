"""What a kilowatt-hour costs, by local time where the tariff says so.

Question: mean price of power that is drawn or saved at known hours. Output: price per kWh. Method: quarter-hours of the
week in the site's local time.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.moment import zone_of
from diagnostics.plant import Plant
from diagnostics.plant_file import Tariff

_STEP_MIN = 15
WEEK_BINS = 7 * 24 * 60 // _STEP_MIN
"""Quarter-hours of the week, Monday 0:00 first."""
_DAY_BINS = WEEK_BINS // 7


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


def over_week(screened: ScreenedLog, values: Floats) -> Floats:
    """Mean of a series in each quarter-hour of the local week.

    Parameters
    ----------
    screened : ScreenedLog
    values : ndarray, shape (n,)
        One value a reading, finite.

    Returns
    -------
    ndarray, shape (WEEK_BINS,)
        Quarter-hours that the log does not hold take the mean of the same time on other days, else of the whole.
    """
    index = week_index(screened)
    count = np.bincount(index, minlength=WEEK_BINS)
    total = np.bincount(index, values, WEEK_BINS)
    by_day, count_by_day = total.reshape(7, -1).sum(axis=0), count.reshape(7, -1).sum(axis=0)
    day = np.where(count_by_day > 0, by_day / np.maximum(count_by_day, 1), float(np.mean(values)))
    return np.where(count > 0, total / np.maximum(count, 1), np.tile(day, 7))


def week_index(screened: ScreenedLog) -> np.ndarray:
    """Quarter-hour of the local week of each reading, shape (n,)."""
    of_quarters, place = _quarters_of_week(screened)
    return of_quarters[place]


def _quarters_of_week(screened: ScreenedLog) -> tuple[np.ndarray, np.ndarray]:
    """Quarter-hour of the local week of each quarter-hour that the log holds, and whose each reading is."""
    quarter = screened.log.time_s // (60 * _STEP_MIN)
    begins = np.concatenate([[True], quarter[1:] != quarter[:-1]])
    seconds = (quarter[begins] * (60 * _STEP_MIN)).astype(np.int64)
    stamps = pd.DatetimeIndex(seconds.astype("datetime64[s]")).tz_localize("UTC")
    zone = zone_of(screened.log.timezone)
    if zone is not None:
        stamps = stamps.tz_convert(zone)
    of_week = stamps.day_of_week * _DAY_BINS + (stamps.hour * 60 + stamps.minute) // _STEP_MIN
    return np.asarray(of_week, dtype=np.intp), np.cumsum(begins) - 1


def hours_of_week_seen(screened: ScreenedLog) -> float:
    """Share of the week that the log holds [-], by quarter-hours; a slower log's reading stands for its interval."""
    each = max(1.0, screened.log.interval_s / (60.0 * _STEP_MIN))
    return min(1.0, float(np.unique(_quarters_of_week(screened)[0]).size * each / WEEK_BINS))


def _covers(tariff: Tariff, minutes: Floats) -> np.ndarray:
    start, end = _minutes(tariff.start), _minutes(tariff.end)
    of_day = minutes % 1440.0
    weekday = (minutes // 1440.0).astype(np.intp) + 1
    days = np.array(tariff.weekdays or range(1, 8))
    if start < end:
        return (of_day >= start) & (of_day < end) & np.isin(weekday, days)
    # Over midnight: the small hours belong to the day on which the tariff began.
    evening = (of_day >= start) & np.isin(weekday, days)
    morning = (of_day < end) & np.isin((weekday - 2) % 7 + 1, days)
    return evening | morning


def _minutes(time: dt.time) -> float:
    return time.hour * 60.0 + time.minute + time.second / 60.0
