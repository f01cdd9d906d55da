"""Check values of `energy_rows.json`, by name."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

ROWS: list[dict[str, Any]] = json.loads((Path(__file__).parent / "energy_rows.json").read_text("utf-8"))["rows"]


_EIGHT_DIGITS = 5e-8


def rows(*names: str) -> list[Any]:
    """Rows of these names as parameters whose ids say name and inputs."""
    found = [row for row in ROWS if row["name"] in names]
    assert {row["name"] for row in found} == set(names)
    return [pytest.param(row, id=f"{row['name']}-{index}") for index, row in enumerate(found)]


def row(name: str) -> dict[str, Any]:
    """The only row of this name."""
    (found,) = [row for row in ROWS if row["name"] == name]
    return found


def agrees(value: Any, row: dict[str, Any]) -> bool:
    """Whether a value lies within a row's relative tolerance; rows are printed to eight digits."""
    return bool(value == pytest.approx(row["expected"], rel=max(row["tolerance"], _EIGHT_DIGITS)))
