"""How a text is laid out: its separator, its decimal mark, where the readings begin.

Question: how are lines to be split into cells? Input: UTF-8 bytes. Output: `Layout`. Method: every candidate splits
the first 64 kB; the one under which most lines have the same number of cells, and most cells look like readings, wins.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass
from itertools import chain, islice

from diagnostics.errors import InputError
from diagnostics.log.cells import MINUS, cell_class
from diagnostics.log.head import Head, find_head, usual_width
from diagnostics.log.time_words import is_date_title, is_time_title
from diagnostics.log.titles import quantity_of
from diagnostics.log.units import split_title

SAMPLE_BYTES = 65_536
LONGEST_LINE_BYTES = 1_000_000
_CANDIDATES = (";", "\t", "|", ",")
WIDE_BLANKS, BLANKS = r"\s{2,}", r"\s+"
_BLANKS_AT_LEAST, _BLANKS_AT_BEST = 0.8, 0.9
_FEWEST_LINES = 2
_LINES_TRIED = 120
_MARKS_TRIED = 2000
_UNPARTED = re.compile(r".*\d\s{2,}[-+]?\d.*|[-+]?\d+ [-+]?\d{1,2}|.*:\d\d -\d{1,3}")
"""Two readings, or a stamp and a reading, that another separator has left in one cell."""
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_POINT = re.compile(r"[+-]?\d*\.\d+")
_COMMA = re.compile(r"[+-]?\d*,\d+")


@dataclass(frozen=True)
class Layout:
    """How to split a text.

    Attributes
    ----------
    delimiter : str
        One character, or a pattern of blanks.
    decimal : str
    head : Head
    offset : int
        Byte at which the first row of readings begins.
    line : int
        Its number, counted from 1.
    width : int
        Cells in a row.
    """

    delimiter: str
    decimal: str
    head: Head
    offset: int
    line: int
    width: int

    @property
    def by_blanks(self) -> bool:
        """Whether blanks part the cells."""
        return self.delimiter in (BLANKS, WIDE_BLANKS)


def find_layout(data: bytes, name: str, *, delimiter: str | None = None, decimal: str | None = None) -> Layout:
    """Find separator, decimal mark and title rows.

    Parameters
    ----------
    data : bytes
        UTF-8, lines end with line feeds.
    name : str
        File name for messages.
    delimiter, decimal : str, optional
        Where the user answered already.

    Raises
    ------
    InputError
        If no separator makes a table of it.
    """
    refuse_long_line(data, name)
    sample = data[:SAMPLE_BYTES]
    if len(data) > SAMPLE_BYTES:
        cut = sample.rfind(b"\n")
        if cut < 0:
            raise InputError(f"{name} has no line end in its first 64 kB, it is no table; export the log as CSV.")
        sample = sample[: cut + 1]
    text = sample.decode("utf-8", errors="replace")
    lines = text.split("\n")
    filled = len(list(islice((line for line in lines if line.strip("\ufeff \t\r,;|")), _FEWEST_LINES)))
    if filled < _FEWEST_LINES:
        raise InputError(
            f"{name} holds {filled} line{'s' if filled != 1 else ''} of text; a log needs titles and at least two"
            " readings; export it again."
        )
    declared = re.match(r"sep=(.)$", lines[0].strip("\ufeff\r "), re.I)
    if declared and delimiter is None:
        delimiter = declared[1]
    chosen: str | None
    if delimiter is not None:
        chosen = _answered(delimiter)
        if chosen not in (BLANKS, WIDE_BLANKS) and (len(chosen) != 1 or chosen in '"\n\r' or ord(chosen) > 126):
            raise InputError(f"[log] delimiter = {delimiter!r} must be one character such as ; or , or tab.")
    else:
        chosen = _choose(lines[len(lines) // 4 :] if len(lines) > 12 else lines[1:] or lines, lines[:20])
    if chosen is None:
        raise InputError(
            f"{name} is no table: no separator (; , tab | or blanks) splits its lines evenly; export the log as CSV or"
            " name the separator in [log] delimiter."
        )
    rows, ends = _split_sample(text, chosen)
    if declared:
        rows[0] = [""]
    width = usual_width(rows)
    head = find_head(rows, width, by_blanks=chosen in (BLANKS, WIDE_BLANKS)) if width >= 2 else None
    if head is None:
        raise InputError(
            f"{name}: no row of readings was found (a time and a number side by side); export the log as CSV with a"
            " title row, or name the separator in [log] delimiter."
        )
    if head.short_by:
        titles = width - head.short_by
        raise InputError(
            f"{name}, line {ends[head.first - 1]}: {titles} titles stand over rows of {width} cells, so nobody can say"
            " which number belongs to which title; if decimal commas and separating commas meet, export with ;."
        )
    line = ends[head.first - 1] if head.first else 0
    offset = _offset_of_line(data, line)
    mark = decimal or _decimal(list(islice(chain.from_iterable(rows[head.first :]), _MARKS_TRIED)))
    return Layout(chosen, mark, head, offset, line + 1, width)


def _answered(delimiter: str) -> str:
    spelled = {"tab": "\t", "\\t": "\t", "space": BLANKS, "spaces": BLANKS, " ": BLANKS, "comma": ",", "semicolon": ";"}
    return spelled.get(delimiter.lower(), delimiter)


def _titled_columns(lines: list[str], delimiter: str, width: int) -> int:
    """How many cells of the best title row name a time or a quantity, split this way."""
    return max(
        (
            sum(
                is_time_title(cell) or is_date_title(cell) or quantity_of(*split_title(cell)) is not None
                for cell in row
            )
            for line in lines
            if len(row := split_line(line, delimiter)) <= width
        ),
        default=0,
    )


def _choose(lines: list[str], titles: list[str]) -> str | None:
    lines = [line for line in lines if line.strip()][:_LINES_TRIED]
    best, best_score = None, 0.35
    for candidate in (*_CANDIDATES, WIDE_BLANKS, BLANKS):
        # no score passes one
        if best_score >= (_BLANKS_AT_BEST if candidate in (WIDE_BLANKS, BLANKS) else 1.0):
            continue
        score, width = _score(lines, candidate)
        # Blanks also stand within stamps and titles, so they have to win clearly; titles read that way can help.
        if candidate in (WIDE_BLANKS, BLANKS):
            if _BLANKS_AT_BEST * score <= best_score:
                continue
            score *= _BLANKS_AT_LEAST + 0.01 * min(10, _titled_columns(titles, candidate, width))
        if score > best_score + 1e-9:
            best, best_score = candidate, score
    return best


def _score(lines: list[str], delimiter: str) -> tuple[float, int]:
    """How well a separator fits, from 0 to 1, and the number of cells most lines then have."""
    rows = [split_line(line, delimiter) for line in lines]
    counts = Counter(len(row) for row in rows)
    width, share = max(counts.items(), key=lambda item: (item[1], item[0])) if counts else (0, 0)
    if width < 2:
        return 0.0, width
    cells = [cell for row in rows if len(row) == width for cell in row if cell.strip()]
    if not cells:
        return 0.0, width
    readings = sum(cell_class(cell) in "nf" and not _UNPARTED.fullmatch(cell) for cell in cells) / len(cells)
    return share / len(rows) * readings, width


def split_line(line: str, delimiter: str) -> list[str]:
    """Cells of one line."""
    if delimiter in (WIDE_BLANKS, BLANKS):
        return re.split(delimiter, line.strip())
    if '"' not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return line.split(delimiter)


def _split_sample(text: str, delimiter: str) -> tuple[list[list[str]], list[int]]:
    """Rows of the sample and the number of lines up to the end of each; quoted titles may hold line ends."""
    lines = text.split("\n")
    if lines and not lines[-1]:
        lines.pop()
    if len(delimiter) == 1 and '"' in text:
        reader = csv.reader((line + "\n" for line in lines), delimiter=delimiter)
        rows, ends = [], []
        try:
            for row in reader:
                rows.append(row)
                ends.append(reader.line_num)
        except csv.Error:
            rows = []
        # A stray quotation mark swallows line after line; such a text is split line by line.
        if rows and len(rows) > 0.5 * len(lines):
            return rows, ends
    return [split_line(line, delimiter) for line in lines], list(range(1, len(lines) + 1))


def _offset_of_line(data: bytes, line: int) -> int:
    offset = 0
    for _ in range(line):
        offset = data.find(b"\n", offset) + 1
        if offset == 0:
            return len(data)
    return offset


def _decimal(cells: list[str]) -> str:
    clear, all_ = Counter[str](), Counter[str]()
    for cell in cells:
        mark = "." if "." in cell else "," if "," in cell else ""
        number = cell.strip()
        if not number.isascii():
            number = number.translate(MINUS)
        if not mark or not (_POINT if mark == "." else _COMMA).fullmatch(number):
            continue
        all_[mark] += 1
        if not _THOUSANDS.fullmatch(number):
            clear[mark] += 1
    # Three digits behind a mark may be thousands; they count only where nothing else tells.
    counted = clear if clear["."] != clear[","] else all_
    return "," if counted[","] > counted["."] else "."


def refuse_long_line(data: bytes, name: str) -> None:
    """Refuse a text one of whose lines no logger writes.

    Raises
    ------
    InputError
        Naming the first line longer than `LONGEST_LINE_BYTES`.
    """
    step = LONGEST_LINE_BYTES // 2
    if all(data.find(b"\n", at, at + step) >= 0 for at in range(0, len(data) - step, step)):
        return
    start, number = 0, 1
    while start < len(data):
        end = data.find(b"\n", start)
        end = len(data) if end < 0 else end
        if end - start > LONGEST_LINE_BYTES:
            raise InputError(
                f"{name}, line {number}: the line is {(end - start) / 1e6:.1f} MB long, which no logger writes; delete"
                " it or export the log again."
            )
        start, number = end + 1, number + 1
