"""What a single cell looks like: a number, a stamp, a word for "no reading", or text.

Question: is this row a title row or readings? Input: text of one cell. Output: one letter. The class decides only
where the table begins; numbers and stamps are read column by column elsewhere.
"""

from __future__ import annotations

import re
from functools import lru_cache

MINUS = str.maketrans(dict.fromkeys("\u2212\u2013\u2012\ufe63\uff0d\u2010\u2011\u00ad", "-"))
"""Signs that print like a minus."""

_NUMBER = re.compile(
    r"[<>≤≥~]?\s*[+-]?\s*(?:\d[\d.,'’ \u00a0\u202f]*|\.\d+)(?:[eE][+-]?\d+)?\s*"
    r"(?:[°º]\s?[CFK]\w{0,2}|%\s?(?:RH|rF|r\.F\.)?|[kKMmh]?(?:Pa|bar|W)\b.{0,4}|psi\w?|cfm|scfm|K|C|F|V|A|mA|ppm\w?|"
    r"[NS]?m[³3]/\w+|[NS]?l/\w+|m?g/N?m[³3]|g/kg|[*!#]{1,2})?"
)
_STAMP = re.compile(
    r"(?:\w{2,4}[.,]?\s+)?\d{1,4}[-/.年]\s?(?:\d{1,2}|[A-Za-zÀ-ÿ.]{3,9})[-/.月]\s?\d{1,4}日?.*"
    r"|\d{1,2}[:h.]\d{2}(?:[:.m']\d{2})?(?:[.,]\d+)?\s*\D{0,6}\d{0,2}:?\d{0,2}|\d{8}[T ]?\d{4,6}.{0,6}"
    r"|\d{1,2}:\d{2}.{0,12}\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}"
    r"|\d{1,2}\.?[ -][A-Za-zÀ-ÿ]{3,9}\.?[ -,]+\d{2,4}.*|[A-Za-z]{3,9}\.? \d{1,2},? \d{4}.*"
    r"|(?:[^\W\d_]{2,12}[.,]?\s+){0,2}\d.{0,30}?\b\d{1,2}:\d{2}(?::\d{2})?(?:[.,]\d{1,9})?[^,]{0,12}"
)
FAULT_WORDS = frozenset(
    "- -- --- ---- ----- . .. ... * ** *** ? ?? ??? / n/a #n/a na nan none null nil nul #nv #wert! #value! #div/0!"
    " #ref! #num! #bezug! inf -inf +inf infinity ol o.l. -ol 0l or ofl ovfl over under overflow underflow overrange"
    " underrange over-range under-range err error erreur errore fehler fel fejl virhe blad chyba fault defaut guasto"
    " störung stoerung fail failed bad invalid invalide ungültig ungueltig missing fehlt fehlend open short offline"
    " disconnected no_data nodata kein keine - - übersteuert überlauf ueberlauf bereichsüberschreitung hors_gamme"
    " fuera_de_rango fuori_scala lll hhh lo hi low high max min overload brk break sensor_error"
    " comm_fail i/o void".split()
)
_BOOLEAN = frozenset("true false wahr falsch vrai faux on off ein aus yes no ja nein".split())
_LONGEST = 64
_TYPE_MARK = re.compile(r"\d{1,3}[snd]")


def cell_class(cell: str) -> str:
    """``n`` for a number or stamp, ``f`` for a word that stands for no reading, ``e`` for empty, ``t`` for text."""
    plain = cell.strip()
    if not plain:
        return "e"
    return _class_of(plain) if len(plain) <= _LONGEST else "t"


@lru_cache(maxsize=8192)
def _class_of(plain: str) -> str:
    """Separators, heads and columns are told by the same cells, looked at again and again."""
    if not plain.isascii():
        plain = plain.translate(MINUS)
    # What still holds another separator has not been split rightly.
    if "\t" in plain or ";" in plain or "|" in plain:
        return "t"
    if _NUMBER.fullmatch(plain.strip("()")) or _STAMP.fullmatch(plain):
        return "n"
    low = plain.lower()
    if low in FAULT_WORDS or low in _BOOLEAN or not any(c.isalnum() for c in low):
        return "f"
    return "t"


def is_type_row(cells: list[str]) -> bool:
    """Whether a row holds only column widths with a type letter, as tables of river gauges do (``5s 20d 14n``)."""
    filled = [c.strip() for c in cells if c.strip()]
    return len(filled) >= 2 and all(_TYPE_MARK.fullmatch(c) for c in filled)
