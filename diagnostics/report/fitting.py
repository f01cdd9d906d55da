"""The report on four sheets at most: what is cut, in which order, and that it is said.

Question: what may stay so that the report fits four pages of A4? Input: its content. Output: the same, with the least
telling rows of its long lists taken out and a sentence for each list that lost some. Method: the height
of each block is reckoned from its words, constants measured on sheets printed by a browser; blocks are laid out sheet
by sheet, as one that may not be broken moves to the next.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

from diagnostics.report.texts import words

MOST_PAGES = 4
SHEET_PX = 1036.0
"""Height of a printed sheet between its margins [CSS px]."""
_SPARE_PX = 60.0
_HEADING_PX = 47.0
_TELLING = (
    "instrument.uncertainty_c",
    "cycle.half_cycle_s",
    "purity.p95_dew_point_c",
    "purity.class",
    "breakthrough.sustained_margin_s",
    "breakthrough.recommended_half_cycle_s",
    "trend.days_to_limit",
    "purge.average_m3_min",
    "purge.energy_kwh_per_year",
    "purge.cost_per_year",
    "switching.regenerations_saved_share",
    "switching.energy_saved_kwh_per_year",
    "switching.cost_saved_per_year",
    "payback.simple_payback_years",
)

Content = dict[str, Any]


def fitted(content: Content, sheets: float = MOST_PAGES) -> Content:
    """Content that fits; lists are shortened only as far as need be.

    Parameters
    ----------
    content : dict
        As `content.report_content` makes it.
    sheets : float
        Sheets to fill at most.
    """
    kept = dict(content)
    for name, least in _STEPS:
        while len(kept[name]) > least and sheets_of(kept) > sheets:
            kept[name] = _without_one(name, kept[name])
    page = words("page")
    for name in _PX:
        lost = len(content[name]) - len(kept[name])
        kept[f"cut_{name}"] = page["cut"].format(count=lost) if lost else ""
    return kept


def sheets_of(content: Content) -> float:
    """Sheets that the report takes in print, the last one in part."""
    sheet, used = 0, 0.0
    for height, breakable in _blocks(content):
        if used + height > SHEET_PX and not breakable:
            sheet, used = sheet + 1, 0.0
        used += height
        full = int(used // SHEET_PX)
        sheet, used = sheet + full, used - full * SHEET_PX
    return sheet + (used + _SPARE_PX) / SHEET_PX


def _blocks(content: Content) -> Iterator[tuple[float, bool]]:
    """Heights from top to bottom [CSS px], and whether each may be broken over sheets."""
    yield 230.0 + _HEADING_PX, False
    for item in content["first"]:
        yield 30.0 + 17.0 * _lines(item["statement"], 105) + 17.0 * _lines(item["action"] + item["sure"], 105), False
    for caution in content["first_cautions"]:
        yield 13.0 + 12.5 * _lines(caution, 140), False
    for name in ("seen", "worth"):
        yield _HEADING_PX + 16.0 + 17.0 * sum(_lines(text, 105) for _, text in content[name]), True
    yield _HEADING_PX + 233.0, False
    if content["towers"]:
        yield 250.0, False
        yield 80.0, False
    yield 34.0 + _height("excluded", content), True
    yield _HEADING_PX + 232.0, False
    if content["next_log"]:
        yield _HEADING_PX + 10.0 + 16.0 * sum(_lines(line, 125) for line in content["next_log"]), True
    if content["money"]:
        yield _HEADING_PX + 178.0, False
    yield 36.0 + 19.0 * len(content["switching"]), True
    yield _HEADING_PX + 30.0 + 19.0 * sum(_lines(lever, 48) for lever, *_ in content["levers"]), True
    yield 10.0 + 16.0 * sum(_lines(note, 125) for note in content["lever_notes"]), True
    yield _HEADING_PX, False
    for item in content["findings"]:
        yield _PX["findings"](item), False
    yield _HEADING_PX + 13.0 + 12.5 * _lines(content["method"], 150), True
    for name in ("derivation", "assumptions", "notes"):
        yield _HEADING_PX + 17.0 + _height(name, content), True
    yield _HEADING_PX + 140.0, True


def _height(name: str, content: Content) -> float:
    return sum(map(_PX[name], content[name]))


def _lines(text: str, letters: int) -> int:
    return math.ceil(len(text) / letters)


def _letters(item: Any) -> int:
    if isinstance(item, dict):
        return sum(len(str(value)) for key, value in item.items() if key not in ("severity", "caution"))
    return sum(len(str(part)) for part in item)


_PX: dict[str, Callable[[Any], float]] = {
    "findings": lambda item: 36.0 + 0.1 * _letters(item),
    "excluded": lambda item: 19.0,
    "derivation": lambda step: 0.1 * _letters(step),
    "assumptions": lambda row: 17.0 * _lines("".join(map(str, row)), 150),
    "notes": lambda note: 0.123 * len(note),
}
_STEPS = (
    ("derivation", 10),
    ("notes", 8),
    ("excluded", 4),
    ("findings", 5),
    ("assumptions", 8),
    ("derivation", 0),
    ("notes", 2),
    ("findings", 3),
    ("assumptions", 2),
)


def _without_one(name: str, rows: list[Any]) -> list[Any]:
    """The list without its last row; of the derivation, without the last that no headline rests on."""
    if name == "derivation":
        spare = [place for place, step in enumerate(rows) if step[0] not in _TELLING]
        last = spare[-1] if spare else len(rows) - 1
        return rows[:last] + rows[last + 1 :]
    return rows[:-1]
