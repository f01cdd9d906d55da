"""Instants as people and programs read them: local time at the site where its zone is known."""

from __future__ import annotations

import datetime as dt
import re
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_SEASON_S = 20.0 * 86400.0


@lru_cache(maxsize=32)
def zone_of(timezone: str | None) -> dt.tzinfo | None:
    """Zone object of an IANA name or a fixed offset like ``+05:30``; None for None."""
    if timezone is None:
        return None
    offset = re.fullmatch(r"([+-])(\d\d):(\d\d)", timezone)
    if offset:
        sign = 1 if offset[1] == "+" else -1
        return dt.timezone(sign * dt.timedelta(hours=int(offset[2]), minutes=int(offset[3])))
    return ZoneInfo(timezone)


def local_time(time_s: float, timezone: str | None) -> dt.datetime:
    """Wall-clock time of an instant; naive where no zone is known (the log's own clock)."""
    instant = dt.datetime.fromtimestamp(round(time_s, 3), dt.UTC)
    zone = zone_of(timezone)
    return instant.replace(tzinfo=None) if zone is None else instant.astimezone(zone)


def iso_time(time_s: float, timezone: str | None) -> str:
    """ISO 8601 with the site's offset where its zone is known, to the second or tenth."""
    moment = local_time(time_s, timezone)
    fraction = moment.microsecond != 0
    return moment.isoformat(timespec="milliseconds" if fraction else "seconds")


def iso_times(times_s: Floats, timezone: str | None) -> list[str]:
    """As `iso_time`, for many instants at once; one conversion for all between two changes of the zone's offset.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
        Ascending.
    timezone : str or None
    """
    if not times_s.size:
        return []
    first, last = (local_time(float(time_s), timezone) for time_s in (times_s[0], times_s[-1]))
    # Within a season an offset that is the same at both ends is the same between them.
    if first.utcoffset() != last.utcoffset() or times_s[-1] - times_s[0] > _SEASON_S:
        return [iso_time(float(time_s), timezone) for time_s in times_s]
    offset = first.utcoffset()
    suffix = "" if offset is None else first.isoformat()[-6:]
    shift_ms = 0 if offset is None else round(offset.total_seconds() * 1000.0)
    stamps = (np.rint(times_s * 1000.0).astype(np.int64) + shift_ms).astype("datetime64[ms]")
    whole = np.datetime_as_string(stamps, unit="s").tolist()
    exact = np.datetime_as_string(stamps, unit="ms").tolist()
    return [f"{s if ms.endswith('.000') else ms}{suffix}" for s, ms in zip(whole, exact, strict=True)]


def say_time(time_s: float, timezone: str | None) -> str:
    """Time for a sentence, e.g. ``2026-02-13 07:38``."""
    return f"{local_time(time_s, timezone):%Y-%m-%d %H:%M}"


def say_duration(seconds: float) -> str:
    """Length of time for a sentence, e.g. ``4 min 10 s``, ``3 h 59 min``, ``2.5 days``."""
    sign = "-" if seconds < 0 else ""
    s = abs(seconds)
    if s < 120:
        return f"{sign}{s:.0f} s"
    if s < 3600:
        minutes, rest = divmod(round(s), 60)
        return f"{sign}{minutes} min" + (f" {rest} s" if rest else "")
    if s < 48 * 3600:
        hours, minutes = divmod(round(s / 60), 60)
        return f"{sign}{hours} h" + (f" {minutes} min" if minutes else "")
    return f"{sign}{s / 86400:.1f} days"
