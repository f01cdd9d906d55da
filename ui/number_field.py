"""A field for a number that is written and read in the reader's number format.

The browser's own number fields write a point whatever is chosen; only the spot check keeps them, for a phone then shows
its keys for figures, with the mark of its own language.
"""

from __future__ import annotations

import math
import re

from diagnostics.report.figures import Display

_GROUPED = re.compile(r"\d{1,3}(?:[.,]\d{3})+")


def written(value: float | None, display: Display) -> str:
    """Number as it stands in a field: the reader's decimal mark, nothing between thousands, empty for None."""
    return "" if value is None else f"{value:.10g}".replace(".", display.decimal)


def read_number(text: str, display: Display) -> float | None:
    """Number that a reader typed; either decimal mark is understood where it cannot be taken for the other.

    Parameters
    ----------
    text : str
    display : Display
        Its marks decide between 1,234 as a thousand and as one and a bit.

    Returns
    -------
    float or None
        None for an empty field.

    Raises
    ------
    ValueError
        If it is no number; the sentence shows how to write one.
    """
    plain = re.sub(r"[\s\u00a0\u202f]", "", text).replace("−", "-")
    if not plain:
        return None
    marks = sorted({sign for sign in plain if sign in ".,"}, key=plain.rfind)
    decimal = marks[-1] if marks else "."
    if len(marks) == 1 and decimal != display.decimal and _GROUPED.fullmatch(plain.lstrip("+-")):
        decimal = display.decimal
    for mark in ".,":
        plain = plain.replace(mark, "." if mark == decimal else "")
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(f"“{text}” is not a number; write it like {written(1234.5, display)}.")
    return value
