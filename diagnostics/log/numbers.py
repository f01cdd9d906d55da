"""Text cells to numbers.

Question: which number does each cell hold, and which cells hold none? Input: a text column. Output: `Numbers`.
Method: the distinct cells are few, so each is looked at once with all its oddities (either decimal mark, thousands
separators, Unicode minus, trailing minus, a unit behind the number, ``<-80``) and the column is put together again.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from diagnostics.log.cells import MINUS
from diagnostics.log.record import Floats
from diagnostics.log.units import parse_unit

_MANY = 100_000
_BLANKS = re.compile("[\u00a0\u202f\u2009\u2007]")
_SHAPE = re.compile(r"([<>≤≥~]?)\s*([+-]?)\s*(\d[\d.,'’ ]*|[.,]\d+)((?:[eE][+-]?\d{1,3})?)\s*(-?)\s*(\D.{0,15})?")
_MARKED = re.compile(r"(?<=\d)\s?[*!#]{1,2}$")
"""An alarm's or a limit's mark behind a reading that was taken all the same."""
_BRACKETED = re.compile(r"\(\d[\d.,'’ ]*\)")
"""A negative number as bookkeeping formats of spreadsheets show it."""
_GROUPED_COMMA = re.compile(r"\d{1,3}(,\d{3})+(\.\d*)?")
_GROUPED_POINT = re.compile(r"\d{1,3}(\.\d{3})+(,\d*)?")
_GROUPED_BLANK = re.compile(r"\d{1,3}([ '’]\d{3})+([.,]\d*)?")


@dataclass(frozen=True)
class Numbers:
    """A text column as numbers.

    Attributes
    ----------
    values : ndarray, shape (n,)
        NaN where a cell holds no number.
    unit : str
        Unit that most cells carry, "" without.
    faults : mapping of str to int
        Texts that are no number, with their counts.
    bounded : int
        Cells such as ``<-80``, read as the bound they give.
    filled : int
        Cells that are not empty.
    """

    values: Floats
    unit: str = ""
    faults: Mapping[str, int] = field(default_factory=dict)
    bounded: int = 0
    filled: int = 0


def to_numbers(text: Any, decimal: str) -> Numbers:
    """Numbers of a text column.

    Parameters
    ----------
    text : pyarrow.StringArray, length n
    decimal : str
        Usual decimal mark of the file, for cells that fit either.

    Returns
    -------
    Numbers
    """
    from pyarrow import compute as pc

    coded = pc.dictionary_encode(text)
    words: list[str] = coded.dictionary.to_pylist()
    codes = np.asarray(pc.fill_null(coded.indices, len(words)).to_numpy(zero_copy_only=False), dtype=np.int64)
    counts = np.bincount(codes, minlength=len(words) + 1)
    plain = [_BLANKS.sub(" ", word.strip().translate(MINUS)) for word in words]
    mark = _decimal_mark(plain[:_MANY], decimal)
    levels = np.full(len(words) + 1, np.nan)
    units: Counter[str] = Counter()
    faults: Counter[str] = Counter()
    bounded = 0
    for k, word in enumerate(plain):
        if not word:
            continue
        number, unit, bound = _number(word, mark)
        if number is None:
            faults[words[k].strip()[:40]] += int(counts[k])
            continue
        levels[k] = number
        bounded += int(counts[k]) if bound else 0
        if unit:
            units[unit] += int(counts[k])
    values = levels[codes]
    usual = units.most_common(1)[0] if units else ("", 0)
    blank = sum(int(counts[k]) for k, word in enumerate(plain) if not word) + int(counts[-1])
    filled = int(codes.size) - blank
    return Numbers(
        values, usual[0] if usual[1] > 0.5 * np.isfinite(values).sum() else "", dict(faults), bounded, filled
    )


def _decimal_mark(cells: list[str], usual: str) -> str:
    """Decimal mark of one column; a mark that ever has other than three digits behind it parts no thousands."""
    points = commas = 0
    for cell in cells:
        if re.search(r"\.\d{1,2}(\D|$)|\.\d{4,}|(^|\D)0\.\d", cell) and "," not in cell:
            points += 1
        elif re.search(r",\d{1,2}(\D|$)|,\d{4,}|(^|\D)0,\d", cell) and "." not in cell:
            commas += 1
        elif re.search(r",\d{3}\.\d", cell):
            points += 1
        elif re.search(r"\.\d{3},\d", cell):
            commas += 1
    if points == commas:
        return usual
    return "." if points > commas else ","


def _number(cell: str, decimal: str) -> tuple[float | None, str, bool]:
    cell = _MARKED.sub("", cell)
    if _BRACKETED.fullmatch(cell):
        cell = "-" + cell[1:-1]
    if decimal == "." or not _GROUPED_POINT.fullmatch(cell.lstrip("+-")):
        try:
            plain = float(cell)
            return (plain, "", False) if np.isfinite(plain) and "_" not in cell else (None, "", False)
        except ValueError:
            pass
    found = _SHAPE.fullmatch(cell)
    if not found:
        return None, "", False
    bound, sign, digits, exponent, behind, tail = found.groups()
    unit = (tail or "").strip()
    if unit and parse_unit(unit) is None:
        return None, "", False
    mantissa = _mantissa(digits.strip(), decimal)
    if mantissa is None:
        return None, "", False
    value = float(mantissa + exponent)
    if not np.isfinite(value):
        return None, "", False
    return (-value if sign == "-" or behind == "-" else value), unit, bool(bound) and bound != "~"


def _mantissa(digits: str, decimal: str) -> str | None:
    if _GROUPED_BLANK.fullmatch(digits):
        digits = re.sub(r"[ '’]", "", digits)
    grouped, mark = (_GROUPED_POINT, ",") if decimal == "," else (_GROUPED_COMMA, ".")
    other = "." if mark == "," else ","
    if grouped.fullmatch(digits) and digits.count(other):
        return digits.replace(other, "").replace(",", ".")
    plain = digits.replace(",", ".")
    return plain if re.fullmatch(r"\d*\.?\d+|\d+\.", plain) else None
