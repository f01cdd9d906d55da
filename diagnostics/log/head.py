"""Where the readings begin and what stands above them.

Question: which rows are titles, units, preamble? Input: the first rows of a table, already split into cells. Output:
`Head`. Method: the columns' usual cell classes over the later rows say what a row of readings looks like; the first
row that fits begins the table, rows of the same width right above it are titles or units.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from diagnostics.log.cells import cell_class, is_type_row
from diagnostics.log.time_words import is_date_title, is_time_title
from diagnostics.log.titles import is_statistic, quantity_of
from diagnostics.log.units import parse_unit, split_title

_MOST_TITLE_ROWS = 5
_MOST_LINES_BETWEEN = 3
_ROWS_JUDGED = 200


@dataclass(frozen=True)
class Head:
    """Titles of a table.

    Attributes
    ----------
    first : int
        Index of the first row of readings.
    titles, units : tuple of str
        One per column; "" where a title or unit is missing.
    aliases : tuple of tuple of str
        What further title rows call each column.
    titled : bool
        Whether there is a title row.
    preamble : tuple of str
        Rows above, cells joined by a blank.
    short_by : int
        Columns of readings behind the last title: the titles do not fit the rows.
    """

    first: int
    titles: tuple[str, ...]
    units: tuple[str, ...]
    aliases: tuple[tuple[str, ...], ...]
    titled: bool
    preamble: tuple[str, ...]
    short_by: int = 0


def usual_width(rows: Sequence[Sequence[str]]) -> int:
    """Number of cells most of the later rows have."""
    later = [len(row) for row in rows[len(rows) // 3 :] if any(cell.strip() for cell in row)]
    return Counter(later).most_common(1)[0][0] if later else 0


def find_head(rows: Sequence[Sequence[str]], width: int, *, by_blanks: bool = False) -> Head | None:
    """Find titles and the first row of readings.

    Parameters
    ----------
    rows : sequence of sequence of str
        The first rows of the file.
    width : int
        Usual number of cells.
    by_blanks : bool
        Whether blanks part the cells, so that a title row may have fewer of them than a row of readings.

    Returns
    -------
    Head or None
        None where no row looks like readings.
    """
    later = [row for row in rows[len(rows) // 3 :] if len(row) == width][:_ROWS_JUDGED]
    usual = [_majority([row[k] for row in later]) for k in range(width)]
    if "n" not in usual:
        return None
    first = next((i for i, row in enumerate(rows) if _fits(row, usual, 0.0)), None)
    if first is None:
        first = next((i for i, row in enumerate(rows) if _fits(row, usual, 0.2)), None)
    if first is None:
        return None
    short_by = 0
    names: list[list[str]] = []
    units = [""] * width
    top = first
    for i in range(first - 1, max(-1, first - 1 - _MOST_TITLE_ROWS), -1):
        cells = [cell.strip() for cell in rows[i]]
        if not _belongs(cells, width, names):
            # A line of hyphens or a logger's message may part the titles from the readings.
            if names or len([cell for cell in cells if cell]) > 1 or i < first - _MOST_LINES_BETWEEN:
                break
            continue
        words = sum(cell_class(c) == "t" for c in cells)
        if not names and i < first - 1 and words <= 0.5 * len(cells) and not _is_units([c for c in cells if c]):
            break
        top = i
        row, short = _to_width(cells, width, rows[first], later, usual, by_blanks)
        short_by = short if not names else short_by
        if is_type_row(cells):
            continue
        if _is_units(row) and i > 0:
            units = row
        else:
            names.append(row)
    titled = bool(names)
    titles, aliases = _titles(names, width)
    preamble = tuple(" ".join(c.strip() for c in row if c.strip()) for row in rows[:top])
    units_of = tuple(_bare(u) for u in units)
    return Head(first, titles, units_of, aliases, titled, tuple(p for p in preamble if p), short_by)


def _majority(cells: list[str]) -> str:
    counts = Counter(cell_class(cell) for cell in cells)
    counts.pop("e", None)
    return counts.most_common(1)[0][0] if counts else "e"


def _fits(row: Sequence[str], usual: list[str], tolerated: float) -> bool:
    if len(row) < 2 or is_type_row(list(row)):
        return False
    # A stroke or a word for "no reading" makes no row of readings by itself; one number or stamp does.
    classes = [cell_class(cell) for cell in row[: len(usual)]]
    numbers = sum(c == "n" and u == "n" for c, u in zip(classes, usual, strict=False))
    strangers = sum(c == "t" and u == "n" for c, u in zip(classes, usual, strict=False))
    wanted = min(2, usual.count("n"))
    return numbers >= wanted and strangers <= tolerated * usual.count("n") and len(row) >= 0.5 * len(usual)


def _belongs(cells: list[str], width: int, names: list[list[str]]) -> bool:
    filled = [cell for cell in cells if cell]
    if len(cells) > width + 1 or len(filled) < max(2, 0.25 * width) or (width == 2 and len(filled) < 1):
        return False
    if not names and len(filled) < 0.4 * width:
        return False
    if not names:
        return True
    below = [cell for cell in names[-1] if cell]
    texts = sum(cell_class(cell) == "t" or parse_unit(_bare(cell)) is not None for cell in filled)
    # One title may stand over the several columns of a channel, whose own titles then come again for each.
    grouped = len(set(below)) < len(below) and len(cells) >= width - 1
    return len(filled) >= (0.3 if grouped else 0.8) * len(below) and texts >= 0.7 * len(filled)


def _to_width(
    cells: list[str],
    width: int,
    data: Sequence[str],
    later: Sequence[Sequence[str]],
    usual: list[str],
    by_blanks: bool,
) -> tuple[list[str], int]:
    """Titles laid over the columns, and how many columns of readings they leave untitled behind the last one."""
    row = [cell.lstrip("#%\ufeff ").strip() for cell in cells]
    if row and not row[0] and len(row) == width + 1:
        row = row[1:]
    if len(row) > width and row[-1]:
        return _narrowed(row, data, by_blanks)
    lacking = width - len(row)
    if lacking > 0 and by_blanks:
        stamps = sum(":" in cell or cell.count("-") + cell.count("/") + cell.count(".") == 2 for cell in data[:2])
        if lacking == 1 and stamps == 2 and not _is_units(row):
            # One title stands over a date and a time that a blank parts.
            row = ["Date", *row]
        elif lacking == stamps or lacking == 1:
            row = [""] * lacking + row
        lacking = width - len(row)
    elif lacking == 1 and _counts_rows(later):
        row, lacking = ["", *row], 0
    short = sum(kind == "n" for kind in usual[len(row) :]) if lacking > 0 else 0
    return (row + [""] * width)[:width], short


def _narrowed(row: list[str], data: Sequence[str], by_blanks: bool) -> tuple[list[str], int]:
    """Titles of which one is too many laid over the columns; the last one is over where nothing tells another."""
    stamps = [k for k, cell in enumerate(data) if _looks_like_stamp(cell)]
    if data and ":" in data[0] and stamps == [0] and is_date_title(row[0]) and is_time_title(row[1]):
        return [f"{row[0]} {row[1]}", *row[2:]], 0
    if by_blanks:
        joined = [[*row[:k], f"{row[k]} {row[k + 1]}", *row[k + 2 :]] for k in range(len(row) - 1)]
        named = [sum(map(_says_something, titles)) for titles in joined]
        best = [titles for titles, count in zip(joined, named, strict=True) if count == max(named)]
        return (best[0], 0) if len(best) == 1 else (row[:-1], -1)
    timed = [k for k, title in enumerate(row) if is_time_title(title) or is_date_title(title)]
    return row[:-1], 0 if not timed or not stamps or set(timed) & set(stamps) else -1


def _says_something(title: str) -> bool:
    return is_time_title(title) or is_date_title(title) or quantity_of(*split_title(title)) is not None


def _looks_like_stamp(cell: str) -> bool:
    return cell_class(cell) == "n" and (":" in cell or sum(cell[1:].count(mark) for mark in "-/.") == 2)


def _counts_rows(rows: Sequence[Sequence[str]]) -> bool:
    """Whether the first column only numbers the rows, as statistics programs write it without a title."""
    numbers = [row[0].strip() for row in rows[:50]]
    return len(numbers) > 2 and all(a.isdigit() and b.isdigit() and int(b) == int(a) + 1 for a, b in pairwise(numbers))


def _bare(cell: str) -> str:
    text = cell.strip()
    while len(text) >= 2 and text[0] in "[({<" and text[-1] in "])}>":
        text = text[1:-1].strip()
    return text


def _is_units(row: list[str]) -> bool:
    filled = [cell for cell in row if cell]
    if sum(map(is_statistic, filled)) >= 2:
        return False
    known = sum(parse_unit(_bare(cell)) is not None or _bare(cell) == "" for cell in filled)
    bracketed = sum(cell[0] in "[(" and cell[-1] in "])" for cell in filled)
    return known + bracketed > 0 and max(known, bracketed) >= 0.3 * len(filled) and not _names_quantities(filled)


def _names_quantities(filled: list[str]) -> bool:
    # "Dew point [degC]" holds a unit and a name; a units row holds bare units.
    return sum(bool(split_title(cell)[0]) and split_title(cell)[1] is not None for cell in filled) > 0.3 * len(filled)


def _spread(groups: list[str], below: list[str]) -> list[str]:
    """A group's title over each of its columns; those without a title of their own keep what stands above them."""
    spread, group = [], ""
    for above, own in zip(groups, below, strict=True):
        group = above or (group if own else "")
        spread.append(group)
    return spread


def _titles(names: list[list[str]], width: int) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    if not names:
        return tuple(f"column {k + 1}" for k in range(width)), tuple(() for _ in range(width))
    nearest = list(names[0])
    if len(names) > 1 and len(set(filter(None, nearest))) < sum(map(bool, nearest)):
        nearest = [f"{above} {own}".strip() for above, own in zip(_spread(names[1], nearest), nearest, strict=True)]
    seen: Counter[str] = Counter()
    titles = []
    for k, title in enumerate(nearest):
        plain = " ".join(title.split()) or f"column {k + 1}"
        seen[plain] += 1
        titles.append(plain if seen[plain] == 1 else f"{plain} ({seen[plain]})")
    aliases = tuple(tuple(row[k] for row in names[1:] if row[k]) for k in range(width))
    return tuple(titles), aliases
