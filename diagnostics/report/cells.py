"""Cells that no spreadsheet runs."""

from __future__ import annotations

from typing import Any

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def neutral(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula gets an apostrophe in front; numbers stay numbers."""
    if isinstance(cell, str) and cell.startswith(_FORMULA_STARTS):
        return f"'{cell}"
    return cell
