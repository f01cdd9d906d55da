"""Cells that no spreadsheet runs."""

from __future__ import annotations

import re
from typing import Any

_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_LONGEST = 32_767
"""Characters that a cell of an .xlsx workbook holds."""
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def neutral(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula gets an apostrophe in front; numbers stay numbers."""
    if isinstance(cell, str) and cell.startswith(_FORMULA_STARTS):
        return f"'{cell}"
    return cell


def fit_for_workbook(cell: Any) -> Any:
    """`neutral`, without the signs that a workbook's format forbids, and no longer than a cell may be."""
    if not isinstance(cell, str):
        return cell
    return str(neutral(_UNPRINTABLE.sub("", cell)))[:_LONGEST]
