"""Which code page a text was written in.

Question: under which page do titles and units make sense? Input: the first lines. Output: the page. Method: every page
decodes the cells; first counts how many then name a time, a quantity or a unit, then how many words of the trade are
spelt with their own letters, then how many letters stand where letters may. Windows-1252 comes first among equals.
"""

from __future__ import annotations

import re

_PAGES = {
    "cp1252": "Windows-1252", "cp1250": "Windows-1250", "cp1251": "Windows-1251", "cp1253": "Windows-1253",
    "cp1254": "Windows-1254", "cp1257": "Windows-1257", "iso8859-2": "ISO 8859-2", "iso8859-5": "ISO 8859-5",
    "iso8859-13": "ISO 8859-13", "cp850": "DOS 850", "cp852": "DOS 852", "cp866": "DOS 866", "cp737": "DOS 737",
    "cp775": "DOS 775", "cp857": "DOS 857", "koi8-r": "KOI8-R", "koi8-u": "KOI8-U", "mac-roman": "Mac Roman",
    "mac-latin2": "Mac Central European", "mac-cyrillic": "Mac Cyrillic", "mac-greek": "Mac Greek",
    "mac-turkish": "Mac Turkish", "cp932": "Shift JIS", "gb18030": "GB 18030", "cp949": "Korean 949", "big5": "Big5",
}  # fmt: skip
_TITLE_LINES, _LONGEST_TITLE = 60, 80
_SPELT = frozenset(
    "température rosée débit pression entrée humidité für behälter über rocío presión línea vazão pressão entrada"
    " umidità velocità flöde tryck målt måling ympäristön lämpötila hőmérséklet időpont nyomás térfogatáram ciśnienie"
    " ciśnieniowy przepływ wilgotność čas průtok rosný tlakový prietok teplota rouă înregistrării tlačno rosište"
    " rosišče taškas slėgis drėgmė plūsma līnijā mitrums õhuvool rõhk время точка росы расход воздуха давление"
    " влажность тиск витрата повітря роси налягане дебит време χρόνος σημείο δρόσου παροχή πίεση θερμοκρασία basınç çiğ"
    " noktası sıcaklık вологість температура".split()
)
"""Words of titles with the letters that tell one page from another."""


def code_page(head: bytes) -> tuple[str, str]:
    """Code page of a text that is not UTF-8.

    Parameters
    ----------
    head : bytes
        The first lines.

    Returns
    -------
    str
        As Python calls it.
    str
        As people do.
    """
    lines = head.splitlines()[:_TITLE_LINES]
    cells = {cell for line in lines for cell in re.split(rb"[;,\t|]", line) if not cell.isascii()}
    short = sorted(cell for cell in cells if len(cell) <= _LONGEST_TITLE)
    page = max(_PAGES, key=lambda page: _sense([cell.decode(page, errors="replace") for cell in short]))
    return page, _PAGES[page]


def _sense(cells: list[str]) -> tuple[int, int, int]:
    words = {word for cell in cells for word in re.findall(r"[^\W\d_]+", cell.lower())}
    return sum(map(_named, cells)), len(words & _SPELT), sum(map(_in_place, cells))


def _in_place(cell: str) -> int:
    """Letters and marks beyond ASCII that stand where they may, less those that do not."""
    score = 0
    for before, here, after in zip(" " + cell, cell, cell[1:] + " ", strict=False):
        if here.isascii():
            continue
        if here in "°º":
            fits = after in "CFcfKk] " and not before.isalpha()
        elif here in "³²":
            fits = before in "mM"
        else:
            fits = here.isalpha() and not (before.islower() and here.isupper())
        score += 1 if fits else -1
    return score


def _named(cell: str) -> int:
    from diagnostics.log.time_words import is_date_title, is_time_title
    from diagnostics.log.titles import quantity_of
    from diagnostics.log.units import parse_unit, split_title

    cell = cell.strip().strip("\"'")
    title, unit = split_title(cell)
    named = quantity_of(title, None) is not None or is_time_title(title) or is_date_title(title)
    return 2 * named + (unit is not None or parse_unit(cell.strip("[]() ")) is not None)
