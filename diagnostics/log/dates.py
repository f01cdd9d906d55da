"""Dates as people and loggers write them, and which of two readings of ``03/04`` is meant.

Question: which day is each date text? Input: the distinct date texts of a column and the order in which they occur.
Output: `Days`. Method: a year of four digits or a month's name settles a date by itself; otherwise every order that
is in use is tried on the whole column. An order under which dates do not exist is out; of two that both exist, the one
under which the log runs from day to day wins; if both do, the user has to say.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.errors import InputError
from diagnostics.log.months import month_of, said_of_month
from diagnostics.log.record import Floats

_YEAR_FIRST = re.compile(r"(\d{4})\s?[-/._ 年]\s?(\d{1,2})\s?[-/._ 月]\s?(\d{1,2})[日.]?")
_YEAR_FIRST_KOREAN = re.compile(r"(\d{4})년\s?(\d{1,2})월\s?(\d{1,2})일")
_YEAR_LAST = re.compile(r"(\d{1,2})\s?([-/._ ])\s?(\d{1,2})\s?[-/._ ]\s?(\d{4}|\d{2})\.?")
_COMPACT = re.compile(r"(\d{4})(\d{2})(\d{2})")
_ORDINAL = re.compile(r"(\d{4})-?(\d{3})")
_WEEK = re.compile(r"(\d{4})-?W(\d{2})-?([1-7])T?", re.I)
_WORD_OF_YEAR = re.compile(r"(?<=\d{4})\.?\s?(?:г\.?|р\.?|m\.|gada)(?=[\s,]|$)")
_WORD_OF_DAY = re.compile(r"(?<=\d)\s?d\.?$")
_NAMED = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-/. ]*(?:de )?([^\W\d_]{3,12})[-/., ]*(?:de )?(\d{4}|\d{2})")
_NAMED_MONTH_FIRST = re.compile(r"([^\W\d_]{3,12})[-/. ]*(\d{1,2})(?:st|nd|rd|th)?[-/, ]+(\d{4}|\d{2})")
_NAMED_YEAR_FIRST = re.compile(r"(\d{4})[-/. ]*([^\W\d_]{3,12})[-/. ]*(\d{1,2})\.?")
_NAMED_LAST = re.compile(r"(\d{4})[-/. ]+(\d{1,2})[-/. ]+([^\W\d_]{3,12})\.?")
_WEEKDAY = re.compile(r"^[^\W\d_]{2,12}[.,]*\s+(?=\d)|^[^\W\d_]{2,12},\s+|^[^\W\d_]{2,4}\.?\s+(?=[^\W\d_]{3})")

_EPOCH_ORDINAL = dt.date(1970, 1, 1).toordinal()
Triple = tuple[int, int, int]


@dataclass(frozen=True)
class Days:
    """Days since 1970-01-01 of each distinct date text, NaN where it is none.

    Attributes
    ----------
    days : ndarray, shape (m,)
    impossible : ndarray of bool, shape (m,)
        Where a text has the form of a date that no calendar holds, such as 31.02.
    note : str
        Which order was taken and why; "" where nothing had to be decided.
    """

    days: Floats
    impossible: NDArray[np.bool_]
    note: str = ""


def to_days(words: list[str], codes: NDArray[np.int64], *, day_first: bool | None, name: str, title: str) -> Days:
    """Days of the distinct date texts of a column.

    Parameters
    ----------
    words : list of str, length m
        Distinct texts.
    codes : ndarray of int, shape (n,)
        Which text each row has; m where it is empty.
    day_first : bool or None
        The user's answer.
    name, title : str
        File and column, for messages.

    Raises
    ------
    InputError
        If day and month cannot be told apart.
    """
    settled, open_ = _parse(words)
    days = np.full(len(words) + 1, np.nan)
    impossible = np.zeros(len(words), dtype=bool)
    for k, triple in settled.items():
        days[k] = _day(*triple)
        impossible[k] = np.isnan(days[k])
    if not open_:
        return Days(days[:-1], impossible, _say_months(words))
    orders = _orders(open_, day_first)
    counts = np.bincount(codes, minlength=len(words) + 1)
    tried = {}
    for order in orders:
        trial = days.copy()
        for k, (triple, _) in open_.items():
            trial[k] = _day(*_arranged(triple, order))
        tried[order] = trial
    order, why = _decide(tried, open_, counts, codes, name, title, words)
    chosen = tried[order]
    for k in open_:
        impossible[k] = np.isnan(chosen[k])
    return Days(chosen[:-1], impossible, f"Dates were read {_SPOKEN[order]}: {why}.")


def _say_months(words: list[str]) -> str:
    named = {
        name: said for word in words for name in re.findall(r"[^\W\d_]{3,}", word) if (said := said_of_month(name))
    }
    return " ".join(f"The month {name!r} was read as {said}." for name, said in list(named.items())[:3])


_SPOKEN = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}


def _parse(words: list[str]) -> tuple[dict[int, Triple], dict[int, tuple[Triple, str]]]:
    settled: dict[int, Triple] = {}
    open_: dict[int, tuple[Triple, str]] = {}
    for k, word in enumerate(words):
        text = word.strip(" ,;'\"")
        text = _WORD_OF_DAY.sub("", _WORD_OF_YEAR.sub("", text))
        if text[:1].isalpha() and _named(text) is None:
            text = _WEEKDAY.sub("", text)
        if found := (_YEAR_FIRST.fullmatch(text) or _YEAR_FIRST_KOREAN.fullmatch(text) or _COMPACT.fullmatch(text)):
            settled[k] = (int(found[1]), int(found[2]), int(found[3]))
        elif found := _YEAR_LAST.fullmatch(text):
            open_[k] = (int(found[1]), int(found[3]), _year(found[4])), found[2] + str(len(found[4]))
        elif found := _ORDINAL.fullmatch(text):
            settled[k] = _from_ordinal(int(found[1]), int(found[2]))
        elif found := _WEEK.fullmatch(text):
            settled[k] = _from_week(int(found[1]), int(found[2]), int(found[3]))
        else:
            triple = _named(text)
            if triple is not None:
                settled[k] = triple
    return settled, open_


def _named(text: str) -> Triple | None:
    for pattern, day, month, year in (
        (_NAMED, 1, 2, 3),
        (_NAMED_MONTH_FIRST, 2, 1, 3),
        (_NAMED_YEAR_FIRST, 3, 2, 1),
        (_NAMED_LAST, 2, 3, 1),
    ):
        found = pattern.fullmatch(text)
        if found:
            number = month_of(found[month])
            if number is not None:
                return _year(found[year]), number, int(found[day])
    return None


def _year(digits: str) -> int:
    year = int(digits)
    if len(digits) == 4:
        return year
    return year + (1900 if year >= 70 else 2000)


def _from_ordinal(year: int, day: int) -> Triple:
    if not 1 <= day <= 366 or not 1 <= year <= 9998:
        return year, 0, 0
    date = dt.date(year, 1, 1) + dt.timedelta(days=day - 1)
    return (date.year, date.month, date.day) if date.year == year else (year, 0, 0)


def _from_week(year: int, week: int, weekday: int) -> Triple:
    try:
        date = dt.date.fromisocalendar(year, week, weekday)
    except ValueError:
        return year, 0, 0
    return date.year, date.month, date.day


def _day(year: int, month: int, day: int) -> float:
    try:
        return float(dt.date(year, month, day).toordinal() - _EPOCH_ORDINAL)
    except (ValueError, OverflowError):
        return np.nan


def _arranged(triple: Triple, order: str) -> Triple:
    first, second, third = triple
    if order == "dmy":
        return third, second, first
    if order == "mdy":
        return third, first, second
    return first + (1900 if first >= 70 else 2000), second, third % 100


def _orders(open_: dict[int, tuple[Triple, str]], day_first: bool | None) -> list[str]:
    if day_first is not None:
        return ["dmy" if day_first else "mdy"]
    # Points between the numbers are the day-first writing of every country that uses them.
    if all(style[0] == "." for _, style in open_.values()):
        return ["dmy"] if all(style[1:] == "4" for _, style in open_.values()) else ["dmy", "ymd"]
    if all(style[1:] == "2" for _, style in open_.values()):
        return ["dmy", "mdy", "ymd"]
    return ["dmy", "mdy"]


def _decide(
    tried: dict[str, Floats],
    open_: dict[int, tuple[Triple, str]],
    counts: NDArray[np.int64],
    codes: NDArray[np.int64],
    name: str,
    title: str,
    words: list[str],
) -> tuple[str, str]:
    if len(tried) == 1:
        order = next(iter(tried))
        style = next(iter(open_.values()))[1]
        return order, "points part its numbers" if style[0] == "." else "[log] day_first says so"
    keys = list(open_)
    bad = {order: int(counts[[k for k in keys if np.isnan(days[k])]].sum()) for order, days in tried.items()}
    fewest = min(bad.values())
    alive = [order for order in tried if bad[order] <= 10 * fewest]
    if len(alive) == 1:
        return alive[0], "otherwise some dates would not exist"
    rows = codes[codes < len(words)]
    steps = {order: _unevenness(tried[order][rows]) for order in alive}
    smoothest = min(steps.values())
    close = [order for order in alive if steps[order] <= 2.0 * smoothest + 1e-9]
    distinct = {tuple(tried[order][keys]) for order in close}
    if len(distinct) == 1 or close == ["dmy"] or len(close) == 1:
        return close[0], "the log then runs from day to day without leaps"
    return _settle_or_ask([order for order in tried if order in close], tried, keys, name, title, words)


def _settle_or_ask(
    close: list[str], tried: dict[str, Floats], keys: list[int], name: str, title: str, words: list[str]
) -> tuple[str, str]:
    """The order that stands alone once a year of two digits is placed; what the column leaves open is asked for."""
    latest = {order: float(np.nanmax(tried[order][keys])) for order in close}
    last = [order for order in close if order != "ymd"]
    tomorrow = dt.date.today().toordinal() - _EPOCH_ORDINAL + 1.0
    # Convention puts the year last, and logs are young: only where both say the same is year first out.
    if "ymd" in close and last and all(latest["ymd"] < latest[order] <= tomorrow for order in last):
        close = last
        if len(last) == 1:
            return last[0], "a year of two digits stands last as a rule, and year first the log would be older"
    shown = next(k for k in keys if all(np.isfinite(tried[order][k]) for order in close))
    readings = " or ".join(f"{_SPOKEN[order]} ({_iso(tried[order][shown])})" for order in close)
    formats = " or ".join(f'"{_format_of(words[shown], order)} %H:%M:%S"' for order in close)
    answer = "[log] day_first = true or false, or with " if len(last) == 2 else ""
    raise InputError(
        f"{name}: column {title!r} can be read {readings}, as in {words[shown]!r}; answer it with {answer}[log]"
        f" time_format such as {formats}."
    )


def _iso(day: float) -> str:
    return dt.date.fromordinal(int(day) + _EPOCH_ORDINAL).isoformat()


def _format_of(word: str, order: str) -> str:
    """strptime format of a date of three numbers read in an order."""
    parts = re.split(r"(\d+)", word.strip())
    numbers = [k for k, part in enumerate(parts) if part.isdigit()]
    for k, letter in zip(numbers, order, strict=False):
        parts[k] = "%" + (letter if letter != "y" or len(parts[k]) == 2 else "Y")
    return "".join(parts)


def _unevenness(days: Floats) -> float:
    known = days[np.isfinite(days)]
    return float(np.abs(np.diff(known)).sum()) if known.size > 1 else 0.0


def looks_like_date(word: str) -> bool:
    """Whether a text has the form of a date in one of the writings read here."""
    settled, open_ = _parse([word]) if word else ({}, {})
    if settled:
        return bool(np.isfinite(_day(*settled[0])) or settled[0][1] > 0)
    if not open_:
        return False
    triple, style = open_[0]
    exists = any(np.isfinite(_day(*_arranged(triple, order))) for order in ("dmy", "mdy", "ymd"))
    # 31.02.2026 has the form of a date though no calendar holds it.
    return exists or (style.endswith("4") and min(triple[:2]) >= 1)
