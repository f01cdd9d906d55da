"""Stamps that all have one width, read as a block of bytes.

Question: which date and which second does each stamp of a long column name? Input: a text column. Output: distinct
dates with their codes, and seconds of the day. Method: digits stand at the same places in every row, so whole columns
of digits are added up at once; dates change rarely, so only the rows where they change are looked at.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.record import Floats

_FORM = re.compile(rb"(\S*\d)[ T](\d\d):(\d\d)(?::(\d\d))?")
_FEWEST_ROWS = 20_000


def read_fixed_width(text: Any) -> tuple[list[str], NDArray[np.int64], Floats] | None:
    """Distinct dates, their codes, and seconds of the day; None where rows differ in form.

    Parameters
    ----------
    text : pyarrow.StringArray, length n
    """
    block = _block(text)
    if block is None:
        return None
    form = _FORM.fullmatch(block[0].tobytes())
    if form is None:
        return None
    separators = [form.start(2) - 1, form.start(3) - 1]
    if form[4] is not None:
        separators.append(form.start(4) - 1)
    if any((block[:, at] != block[0, at]).any() for at in separators):
        return None
    seconds = np.zeros(len(block))
    for group, unit, most in ((2, 3600, 23), (3, 60, 59), (4, 1, 59)):
        if form[group] is None:
            continue
        at = form.start(group)
        tens, ones = block[:, at].astype(np.int16) - 48, block[:, at + 1].astype(np.int16) - 48
        number = tens * 10 + ones
        if tens.min() < 0 or tens.max() > 9 or ones.min() < 0 or ones.max() > 9 or number.max() > most:
            return None
        seconds += number.astype(np.float64) * unit
    words, codes = _runs(block[:, : form.end(1)])
    return words, codes, seconds


def _block(text: Any) -> NDArray[np.uint8] | None:
    import pyarrow as pa

    if len(text) < _FEWEST_ROWS or text.null_count or not pa.types.is_string(text.type):
        return None
    _, offset_buffer, data_buffer = text.buffers()
    offsets = np.frombuffer(offset_buffer, np.int32)[text.offset : text.offset + len(text) + 1]
    widths = np.diff(offsets)
    width = int(widths[0])
    if not 12 <= width <= 40 or (widths != width).any():
        return None
    data = np.frombuffer(data_buffer, np.uint8)[offsets[0] : offsets[-1]]
    return data.reshape(len(text), width)


def _runs(dates: NDArray[np.uint8]) -> tuple[list[str], NDArray[np.int64]]:
    changed = np.concatenate(([True], (dates[1:] != dates[:-1]).any(axis=1)))
    starts = np.flatnonzero(changed)
    index: dict[str, int] = {}
    own = [index.setdefault(bytes(dates[i]).decode("utf-8", errors="replace"), len(index)) for i in starts]
    return list(index), np.array(own, dtype=np.int64)[np.cumsum(changed) - 1]
