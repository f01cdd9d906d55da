"""Titles that name the time, in the languages of Europe and a few more."""

from __future__ import annotations

import re
import unicodedata

_TIME = re.compile(
    r"\b(time|timestamp|datetime|date ?time|stamp|zeit|uhrzeit|zeitstempel|zeitpunkt|heure|horodatage|temps|hora|ora|"
    r"orario|tijd|tijdstip|tijdstempel|tid|tidspunkt|tidpunkt|klokkeslett|klockslag|aika|kello|aikaleima|czas|godzina|cas|hodina|ido|idopont|saat|zaman|"
    r"время|час|ωρα|χρονος|laikas|laiks|aeg|vrijeme|timp|tiempo|tempo|recorded|logged|时间|時間|日時|시간)\b"
)
_DATE = re.compile(
    r"\b(date|datum|fecha|data|dato|pvm|paivamaara|paivays|tarih|dag|giorno|jour|дата|ημερομηνια|kuupaev|dátum|"
    r"data i czas|nap|日期|日付|날짜)\b"
)
_ELAPSED = re.compile(
    r"\b(elapsed|laufzeit|betriebszeit|ecoule|transcurrido|trascorso|decorrido|verstreken|forfluten|relative time|"
    r"relativzeit|seconds|sekunden|secondes|minutes|minuten|runtime|t|time|zeit|temps|tiempo|tempo|tijd)\b"
)


def plain(title: str) -> str:
    """Title in small letters without accents, words parted by single blanks."""
    whole = re.sub(r"(?<=[^\W\d_])-\s+(?=[^\W\d_])", "", title)
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", whole)
    folded = unicodedata.normalize(
        "NFKD", spaced.lower().replace("ß", "ss").replace("ø", "o").replace("ł", "l").replace("ı", "i")
    )
    bare = "".join(c for c in folded if not unicodedata.combining(c))
    # What is taken apart has to go together again, or Korean syllables would be letters.
    return " ".join(re.sub(r"[^\w%°]+|_", " ", unicodedata.normalize("NFC", bare)).split())


def is_time_title(title: str, aliases: tuple[str, ...] = ()) -> bool:
    """Whether a title names a time of day or a stamp."""
    return any(_TIME.search(plain(text)) for text in (title, *aliases))


def is_date_title(title: str, aliases: tuple[str, ...] = ()) -> bool:
    """Whether a title names a date."""
    return any(_DATE.search(plain(text)) for text in (title, *aliases))


def is_elapsed_title(title: str, aliases: tuple[str, ...] = ()) -> bool:
    """Whether a title may name a time counted from a start."""
    return any(_ELAPSED.search(plain(text)) for text in (title, *aliases))
