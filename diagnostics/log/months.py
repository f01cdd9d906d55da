"""Names of the months and their usual short forms in the languages of Europe."""

from __future__ import annotations

import unicodedata

_MONTHS = {
    1: "jan ian jän jaa janv ene gen led sty tam oca янв яну jaн јан січ студз styc sij sau ιαν",
    2: "feb fev fevr vee unor uno lut hel sub şub фев феб лют velj vas shk φεβ",
    3: "mar mrz maerz mrt marts maa bre брe мар бер marc ozu kov μαρ",
    4: "apr avr abr dub kwi huh nis апр кві tra bal pri απρ",
    5: "may mai mag mei maj kve tou май мая мај тра svi geg μαι",
    6: "jun juin juun giu iun cze kes haz cerven июн юни јун чер lipnj lipanj bir qer ιουν",
    7: "jul juil juul lug iul lip hei tem cervenec cervence cvc июл юли јул лип srpnj srpanj liep kor ιουλ",
    8: "aug aou aout ago srp sie elo agu avg авг сер kol rugp gus αυγ",
    9: "sep set szept zar wrz syy eyl сен сеп вер ruj rugs shta σεπ",
    10: "oct okt ott out rij paz lok eki окт жов spa tet οκτ",
    11: "nov noi lis marras kas ноя ное нов лис stu lap nen νοε",
    12: "dec dez dic des det dets dis pro gru jou ara дек дец гру dhj δεκ",
}
_MONTH_OF = {name: month for month, names in _MONTHS.items() for name in names.split()}
_PREFIXES = sorted(_MONTH_OF, key=len, reverse=True)
_TWO_MEANINGS = {
    "lip": "July (Polish, not Croatian)",
    "srp": "August (Czech, not Croatian)",
    "lis": "November (Polish and Czech, not Croatian)",
}


def month_of(name: str) -> int | None:
    """Month [1 to 12] of a name or its usual short form in the languages of Europe; None where it is none."""
    low = name.lower().strip(".")
    for text in (low, _bare(low)):
        for prefix in _PREFIXES:
            if text.startswith(prefix):
                return _MONTH_OF[prefix]
    return None


def said_of_month(name: str) -> str:
    """How a name was read that means another month in another language; "" for all others."""
    text = _bare(name.lower())
    unlike = month_of(name) not in (7, 8, 11)
    return "" if unlike else next((said for word, said in _TWO_MEANINGS.items() if text.startswith(word)), "")


def _bare(text: str) -> str:
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
