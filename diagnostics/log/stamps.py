"""Stamp texts to seconds of the wall clock.

Question: which second does each text name? Input: a text column (or two, date and time apart). Output: `StampText`.
Method: each text is parted into a date and a time of day; of both there are few distinct ones even in a log of a
million rows, so each distinct one is read with care and the column is put together from the parts.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diagnostics.errors import InputError
from diagnostics.log.dates import to_days
from diagnostics.log.fixed_width import read_fixed_width
from diagnostics.log.halves_of_day import HALF, HALF_BEFORE, is_later
from diagnostics.log.record import Floats

DAY_S = 86_400.0
_FEW = 50_000

_CLOCK = re.compile(r"(?<!\d)\d{1,2}\s?:\s?\d{2}(?:\s?:\s?\d{2}(?:[.,:]\d{1,9})?)?")
_TIME = re.compile(
    rf"(?P<pre>{HALF})?\s*(?P<h>\d{{1,2}})(?:\s?[:h.]\s?(?P<m>\d{{1,2}})(?:\s?[:.m']\s?(?P<s>\d{{1,2}})"
    rf"(?:[.,:](?P<f>\d{{1,9}}))?)?|h)?\s*(?:s|Uhr|hrs?|hod|godz|ч\.?)?\s*(?P<post>{HALF})?\s*"
    r"(?P<zone>Z|[A-Z]{2,5})?\s?(?P<off>[+-]\d{1,2}(?::?\d{2})?)?\s*(?:\[[\w/]+\])?",
    re.I,
)
_COMPACT_TIME = re.compile(r"(\d{2})(\d{2})(\d{2})?(?:[.,](\d{1,6}))?\s?(Z)?([+-]\d{2}:?\d{2})?", re.I)
_COMPACT_STAMP = re.compile(r"(\d{8})[T ]?(\d{4}|\d{6})(Z|[+-]\d{2}:?\d{2})?")
_COMPACT_WEEK_OR_DAY = re.compile(r"(\d{4}W\d{3}|\d{7})T(\d{4}|\d{6})(Z|[+-]\d{2}:?\d{2})?")
_ISO_DATE_FIRST = re.compile(r"([^\sT]*\d[-/.]\d{1,2}[-/.]\d+)\.?[T ,;]+(.*)")
_NAMED_DATE_FIRST = re.compile(r"(\d{1,2}[-/. ][^\W\d_]{3,9}\.?[-/. ]\d{2,4})[T ,;]+(\d{1,2}\..*)")
_ONE_MARK = re.compile(
    r"(\d{4}[-/._]\d{1,2}[-/._]\d{1,2}|\d{1,2}[-/._]\d{1,2}[-/._]\d{4})[-/._T ](\d{1,2})([-_.])(\d{2})\3(\d{2})(\D.*)?"
)
_YEAR_LAST = re.compile(r"\s*([A-Z]{2,5}\s)?\s*(\d{4})\s*")
_BETWEEN = re.compile(
    r"(?<=[\d.])\s+(?:um|à|às|as|a las|alle(?: ore)?|ore|kl\.?|klo\.?|at|om|o|v|в|plkst\.?|[-–@])\s+(?=\d)", re.I
)
"""What people write between date and time of day."""

ZONE_S = {
    name: hours * 3600.0
    for hours, names in {
        0.0: "Z UTC GMT WET",
        1.0: "CET MEZ WEST",
        2.0: "CEST MESZ EET",
        3.0: "EEST MSK",
        9.0: "JST KST",
        10.0: "AEST",
        11.0: "AEDT",
        -4.0: "EDT",
        -5.0: "EST CDT",
        -6.0: "MDT",
        -7.0: "MST PDT",
        -8.0: "PST",
    }.items()
    for name in names.split()
}
"""Abbreviations that name one offset only; CST, BST and IST each name several and are left out."""
_VAGUE_ZONES = frozenset(
    "CST BST IST AST ADT NST NDT HST AKST AKDT SAST EAT CAT WAT PKT SGT HKT WIB WITA WIT NZST NZDT ACST ACDT AWST BRT"
    " ART CLT CLST COT PET VET UYT GST TRT MSD AMT AZT GET LT LST LOC LOCAL".split()
)
"""Taken as the site's own; any other word behind a time may be a half of the day, and then the stamp is not read."""


@dataclass(frozen=True)
class StampText:
    """A column of stamps.

    Attributes
    ----------
    local_s : ndarray, shape (n,)
        Seconds of the wall clock since 1970-01-01 00:00; NaN where unreadable.
    offset_s : ndarray, shape (n,), or None
        Offset that a stamp carries, NaN where it carries none.
    filled : int
        Cells that are not empty.
    impossible : int
        Stamps with a date that no calendar holds.
    has_date, has_time : bool
        Whether most stamps show a date, a time of day.
    notes : tuple of str
    """

    local_s: Floats
    offset_s: Floats | None
    filled: int
    impossible: int
    has_date: bool
    has_time: bool
    notes: tuple[str, ...] = ()


def split_stamp(text: str) -> tuple[str, str]:
    """Date and time of day within one stamp, "" where it lacks one."""
    plain = _BETWEEN.sub(" ", " ".join(text.split()), count=1)
    clock = _CLOCK.search(plain)
    if clock:
        return _around_clock(plain[: clock.start()], clock[0], plain[clock.end() :])
    found = _ONE_MARK.fullmatch(plain)
    if found:
        return found[1].replace("_", "-"), f"{found[2]}:{found[4]}:{found[5]}{found[6] or ''}"
    found = _COMPACT_STAMP.fullmatch(plain) or _COMPACT_WEEK_OR_DAY.fullmatch(plain)
    found = found or _ISO_DATE_FIRST.fullmatch(plain) or _NAMED_DATE_FIRST.fullmatch(plain)
    if found:
        return found[1], "".join(part or "" for part in found.groups()[1:])
    if re.fullmatch(r"\d{1,2}\s?[h.]\s?\d{2}([.m]\s?\d{2})?s?", plain):
        # "18.30.00" is a time of day, "06.04.20" a date: the middle number tells, the column's majority decides.
        dotted = plain.split(".")
        is_date = len(dotted) == 3 and all(d.isdigit() for d in dotted) and 1 <= int(dotted[1]) <= 12
        return ("", plain) if not (is_date and 1 <= int(dotted[0]) <= 31) else (plain, "")
    return plain, ""


def _around_clock(left: str, clock: str, right: str) -> tuple[str, str]:
    """Date and time of day of a stamp that shows hours and minutes parted by a colon."""
    if not any(c.isdigit() for c in left):
        found = re.match(r"\s*(" + HALF + r")(?![^\W\d_])", right, re.I)
        cut = found.end() if found else 0
        rest = right[cut:].strip(" ,;")
        if re.search(r"\d[-/. ]\w+[-/. ]\d|\d{8}", rest):
            return rest, f"{clock} {right[:cut]}".strip()
    year = _YEAR_LAST.fullmatch(right)
    if year and any(c.isalpha() for c in left):
        return f"{left.strip()} {year[2]}", f"{clock} {year[1] or ''}".strip()
    before = HALF_BEFORE.search(left)
    prefix = before[0] if before else ""
    if before:
        left = left[: before.start()]
    date = re.sub(r"(?<=\d)T$", "", left.strip()).strip(" ,;:_@").rstrip(" -–")
    return date, f"{prefix}{clock}{right}".strip()


def time_of_day_s(text: str) -> tuple[float, float]:
    """Seconds since midnight and offset [s] of a time of day; NaN where it is none or carries none."""
    plain = text.strip()
    found = _TIME.fullmatch(plain)
    if not found or (found["m"] is None and not (found["pre"] or found["post"] or "h" in plain)):
        compact = _COMPACT_TIME.fullmatch(plain)
        if not compact:
            return np.nan, np.nan
        hour, minute, second = int(compact[1]), int(compact[2]), int(compact[3] or 0)
        fraction = float(f"0.{compact[4]}") if compact[4] else 0.0
        meridiem, offset = "", _offset_s(compact[5], compact[6])
    else:
        hour, minute, second = int(found["h"]), int(found["m"] or 0), int(found["s"] or 0)
        fraction = float(f"0.{found['f']}") if found["f"] else 0.0
        meridiem = found["pre"] or found["post"] or ""
        offset = _offset_s(found["zone"], found["off"])
        zone = (found["zone"] or "").upper()
        if zone and zone not in ZONE_S and zone not in _VAGUE_ZONES:
            return np.nan, np.nan
    if meridiem:
        later = is_later(meridiem)
        if hour > 12 and not later:
            return np.nan, np.nan
        hour = hour if hour > 12 else hour % 12 + (12 if later else 0)
    if minute > 59 or second > 60 or hour > 24 or (hour == 24 and (minute or second)):
        return np.nan, np.nan
    return hour * 3600.0 + minute * 60.0 + second + fraction, offset


def _offset_s(zone: str | None, offset: str | None) -> float:
    if offset:
        digits = offset[1:].replace(":", "")
        hours, minutes = (int(digits[:-2]), int(digits[-2:])) if len(digits) > 2 else (int(digits), 0)
        seconds = hours * 3600.0 + minutes * 60.0
        if seconds > 15 * 3600.0 or minutes > 59:
            return np.nan
        return -seconds if offset[0] == "-" else seconds
    return ZONE_S.get(zone.upper(), np.nan) if zone else np.nan


def read_stamps(
    text: Any, *, name: str, title: str, day_first: bool | None = None, time_format: str | None = None
) -> StampText:
    """Read a column that holds date and time, or one of them.

    Parameters
    ----------
    text : pyarrow.StringArray, length n
    name, title : str
        File and column, for messages.
    day_first : bool or None
        The user's answer.
    time_format : str or None
        strptime format, the user's answer.

    Raises
    ------
    InputError
        If day and month cannot be told apart, or the format fits no stamp.
    """
    if time_format is not None:
        return _by_format(text, time_format, name, title)
    block = read_fixed_width(text)
    if block is not None:
        words, codes, seconds = block
        days = to_days(words, codes, day_first=day_first, name=name, title=title)
        local = days.days[codes] * DAY_S + seconds
        notes = (days.note,) if days.note else ()
        return StampText(local, None, len(text), int(days.impossible[codes].sum()), True, True, notes)
    (dates, date_codes), (times, time_codes) = _parted(text)
    filled = len(text) - int(text.null_count)
    return _put_together(dates, date_codes, times, time_codes, filled, day_first, name, title)


def read_date_and_time(
    date_text: Any, time_text: Any, *, name: str, title: str, day_first: bool | None = None
) -> StampText:
    """Read a date and a time of day that stand in two columns; parameters and errors as for `read_stamps`."""
    dates, date_codes = _coded(date_text)
    times, time_codes = _coded(time_text)
    dates = [_date_part(word) for word in dates]
    # A spreadsheet shows a time of day as an instant on its first day or at midnight of the date; the clock counts.
    times = [split_stamp(word)[1] or word for word in times]
    filled = int(((date_codes < len(dates)) | (time_codes < len(times))).sum())
    return _put_together(dates, date_codes, times, time_codes, filled, day_first, name, title)


def _date_part(word: str) -> str:
    date, _ = split_stamp(word)
    return date or word


def _put_together(
    dates: list[str],
    date_codes: NDArray[np.int64],
    times: list[str],
    time_codes: NDArray[np.int64],
    filled: int,
    day_first: bool | None,
    name: str,
    title: str,
) -> StampText:
    read = [time_of_day_s(word) if word else (0.0, np.nan) for word in times]
    seconds = np.array([r[0] for r in read] + [0.0])
    offsets = np.array([r[1] for r in read] + [np.nan])
    has_time = _mostly_filled(times, time_codes)
    has_date = _mostly_filled(dates, date_codes)
    days = to_days(dates, date_codes, day_first=day_first, name=name, title=title)
    day = np.append(days.days, np.nan)[date_codes]
    if not has_date:
        day = np.where(time_codes < len(times), 0.0, np.nan)
    local = day * DAY_S + seconds[time_codes]
    if has_time:
        bare = np.array([not word for word in times] + [True])[time_codes]
        # Spreadsheets leave the time away at midnight; elsewhere a stamp without its time is torn.
        local[bare & ~_may_be_midnight(local)] = np.nan
    offset = offsets[time_codes]
    impossible = int(np.append(days.impossible, False)[date_codes].sum())
    notes = (days.note,) if days.note else ()
    carries = np.isfinite(offset)
    return StampText(local, offset if carries.any() else None, filled, impossible, has_date, has_time, notes)


def _mostly_filled(words: list[str], codes: NDArray[np.int64]) -> bool:
    filled = np.array([bool(word) for word in words] + [False])
    known = codes[codes < len(words)]
    return bool(known.size and filled[known].mean() > 0.5)


def _may_be_midnight(local_s: Floats) -> NDArray[np.bool_]:
    before = np.concatenate(([np.nan], local_s[:-1]))
    after = np.concatenate((local_s[1:], [np.nan]))
    near = np.fmin(np.abs(local_s - before), np.abs(after - local_s))
    return np.isfinite(near) & (near <= 6 * 3600.0)


def _coded(text: Any) -> tuple[list[str], NDArray[np.int64]]:
    from pyarrow import compute as pc

    coded = pc.dictionary_encode(text)
    words: list[str] = coded.dictionary.to_pylist()
    codes = np.asarray(pc.fill_null(coded.indices, len(words)).to_numpy(zero_copy_only=False), dtype=np.int64)
    return [word.strip() for word in words], codes


def _parted(text: Any) -> tuple[tuple[list[str], NDArray[np.int64]], tuple[list[str], NDArray[np.int64]]]:
    """Distinct dates and times of day with the code of each row."""
    from pyarrow import compute as pc

    coded = pc.dictionary_encode(text)
    if len(coded.dictionary) > _FEW:
        reverse = _cut_from_behind(coded.dictionary)
        if reverse is not None:
            padded = pc.binary_join_element_wise(pc.utf8_trim_whitespace(text), "", reverse[1])
            if reverse[0]:
                padded = pc.utf8_trim_whitespace(text)
            pieces = pc.split_pattern(padded, reverse[1], max_splits=1, reverse=reverse[0])
            if pc.all(pc.equal(pc.list_value_length(pieces), 2)).as_py():
                return _coded(pc.list_element(pieces, 0)), _trimmed(_coded(pc.list_element(pieces, 1)), reverse[1])
    words, codes = _coded(text)
    parts = [split_stamp(word) for word in words]
    return _recoded([p[0] for p in parts], codes), _recoded([p[1] for p in parts], codes)


def _trimmed(coded: tuple[list[str], NDArray[np.int64]], mark: str) -> tuple[list[str], NDArray[np.int64]]:
    words, codes = coded
    return [word.rstrip(mark + " ") if mark != "T" else word.removesuffix("T") for word in words], codes


def _cut_from_behind(words: Any) -> tuple[bool, str] | None:
    """Whether one separator always parts date from time, counted from behind, and which; None where none does."""
    sample = [w.as_py().strip() for w in (words[0], words[len(words) // 2], words[len(words) - 1])]
    for reverse in (False, True):
        for mark in (" ", "T"):
            if all(_cut(word, mark, reverse) == split_stamp(word) for word in sample):
                return reverse, mark
    return None


def _cut(word: str, mark: str, reverse: bool) -> tuple[str, str]:
    date, _, time = word.rpartition(mark) if reverse else word.partition(mark)
    return date, time


def _recoded(parts: list[str], codes: NDArray[np.int64]) -> tuple[list[str], NDArray[np.int64]]:
    index: dict[str, int] = {}
    own = [index.setdefault(part, len(index)) for part in parts]
    return list(index), np.array([*own, len(index)], dtype=np.int64)[codes]


def _by_format(text: Any, time_format: str, name: str, title: str) -> StampText:
    import pandas as pd

    words, codes = _coded(text)
    aware = "%z" in time_format
    try:
        instants = pd.to_datetime(pd.Series(words, dtype="str"), format=time_format, errors="coerce", utc=aware)
    except (ValueError, re.error) as error:
        raise InputError(
            f"[log] time_format = {time_format!r} is no format ({error}); write it like %d.%m.%Y."
        ) from None
    stamps = instants.dt.tz_localize(None) if aware else instants
    seconds = stamps.astype("datetime64[us]").astype("int64").to_numpy() / 1e6
    seconds = np.where(stamps.isna().to_numpy(), np.nan, seconds)
    if not np.isfinite(seconds).any():
        shown = words[0] if words else ""
        raise InputError(
            f"{name}: [log] time_format = {time_format!r} fits no stamp of column {title!r}, which reads like"
            f" {shown!r}; correct the format."
        )
    local = np.append(seconds, np.nan)[codes]
    offset = np.zeros_like(local) if aware else None
    has_time = any(mark in time_format for mark in ("%H", "%I", "%T", "%X", "%c"))
    return StampText(local, offset, len(text) - int(text.null_count), 0, True, has_time)
