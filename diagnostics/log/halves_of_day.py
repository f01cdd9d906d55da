"""Marks for the two halves of the day on a 12-hour clock, in the languages of Europe and a few more."""

from __future__ import annotations

import re

_MORNING = (
    "a am πμ пробд проб претпл дп ص قظ 上午 午前 早上 凌晨 清晨 오전 de öö fm vorm dop pd sa el ap vm priešpiet priekšp"
    " yb fh לפנהצ"
).split()
_LATER = (
    "p pm μμ слоб попл пп م بظ 下午 午後 晚上 中午 오후 du ös em nachm odp md ch pl ip nm popiet pēcp yh eh אחהצ"
).split()
"""As the operating systems' locales write them (from memory), small letters without points and blanks."""
_PLAIN = re.compile("[.\\s\u00a0\u202f״\"']")


def _pattern(words: list[str]) -> str:
    spelled = (r"\.?\s?".join(map(re.escape, word)) + r"\.?" for word in sorted(words, key=len, reverse=True))
    return "|".join(spelled)


HALF = _pattern(_MORNING + _LATER)
"""Pattern of any mark; wants ``re.IGNORECASE``."""
HALF_BEFORE = re.compile(
    rf"(?<![^\W\d_])({_pattern([w for w in _MORNING + _LATER if len(w) > 1 and w not in ('de', 'du')])}|d[eu]\.)\s*$",
    re.IGNORECASE,
)
"""A mark at the end of what stands before the clock; Hungarian's needs its point, other languages have the word."""


def is_later(mark: str) -> bool:
    """Whether a mark names the half after noon."""
    return _PLAIN.sub("", mark).lower() in _LATER
