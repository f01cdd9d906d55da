"""Check values of the bed, by name; each row in `tests/reference/bed_rows.json` names its source and provenance."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any


@lru_cache(maxsize=1)
def _all() -> list[dict[str, Any]]:
    file = Path(__file__).resolve().parents[1] / "reference" / "bed_rows.json"
    rows: list[dict[str, Any]] = json.loads(file.read_text(encoding="utf-8"))["rows"]
    return rows


def rows(name: str) -> list[dict[str, Any]]:
    """Rows of a name; fails where there is none, so that a test cannot pass on nothing."""
    found = [row for row in _all() if row["name"] == name]
    assert found, f"no check value is named {name}"
    return found
