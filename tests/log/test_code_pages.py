"""Titles in the languages of Europe come back letter by letter from the code pages that loggers write them in.

Which page belongs to which language: the tables of the Unicode consortium's mapping files, as Python carries them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.log.reencoded import clean_log, plant_of, read_bytes

CLEAN = clean_log(60)
TITLES = {
    "fr": ("Horodatage", "Point de rosée sous pression [°C]", "Débit d'air [m³/min]", "Température d'entrée [°C]"),
    "de": ("Zeit", "Drucktaupunkt [°C]", "Volumenstrom [m³/min]", "Eintrittstemperatur für Trockner [°C]"),
    "es": ("Fecha y hora", "Punto de rocío a presión [°C]", "Caudal [m³/min]", "Presión de línea [bar]"),
    "pt": ("Data e hora", "Ponto de orvalho sob pressão [°C]", "Vazão [m³/min]", "Pressão da linha [bar]"),
    "it": ("Data e ora", "Punto di rugiada in pressione [°C]", "Portata d'aria [m³/min]", "Velocità [m/s]"),
    "sv": ("Tidpunkt", "Tryckdaggpunkt [°C]", "Flöde [m³/min]", "Omgivningstemperatur [°C]"),
    "da": ("Tidspunkt", "Trykdugpunkt [°C]", "Luftflow [m³/min]", "Omgivelser målt [°C]"),
    "fi": ("Aikaleima", "Painekastepiste [°C]", "Ilmavirtaus [m³/min]", "Ympäristön lämpötila [°C]"),
    "pl": ("Czas", "Ciśnieniowy punkt rosy [°C]", "Przepływ [m³/min]", "Ciśnienie [bar]"),
    "cs": ("Čas", "Tlakový rosný bod [°C]", "Průtok [m³/min]", "Tlak [bar]"),
    "sk": ("Čas", "Tlakový rosný bod [°C]", "Prietok [m³/min]", "Teplota okolia [°C]"),
    "hu": ("Időpont", "Nyomás alatti harmatpont [°C]", "Térfogatáram [m³/min]", "Hőmérséklet [°C]"),
    "ro": ("Ora înregistrării", "Punct de rouă [°C]", "Debit [m³/min]", "Presiune [bar]"),
    "hr": ("Vrijeme", "Tlačno rosište [°C]", "Protok zraka [m³/min]", "Tlak [bar]"),
    "sl": ("Čas", "Tlačno rosišče [°C]", "Pretok [m³/min]", "Temperatura okolice [°C]"),
    "lt": ("Laikas", "Rasos taškas [°C]", "Oro srautas [m³/min]", "Slėgis [bar]"),
    "lv": ("Laiks", "Rasas punkts [°C]", "Gaisa plūsma [m³/min]", "Spiediens līnijā [bar]"),
    "et": ("Aeg", "Kastepunkt [°C]", "Õhuvool [m³/min]", "Rõhk [bar]"),
    "ru": ("Время", "Точка росы [°C]", "Расход воздуха [м3/мин]", "Давление [бар]"),
    "uk": ("Час", "Точка роси [°C]", "Витрата повітря [м3/хв]", "Тиск [бар]"),
    "bg": ("Време", "Точка на оросяване [°C]", "Дебит [м3/мин]", "Налягане [бар]"),
    "el": ("Χρόνος", "Σημείο δρόσου [°C]", "Παροχή [m3/min]", "Πίεση [bar]"),
    "tr": ("Zaman", "Basınç çiğ noktası [°C]", "Debi [m³/dk]", "Basınç [bar]"),
}
PAGES = {
    "cp1252": "fr de es pt it sv da fi", "cp850": "fr de es pt it sv da fi", "mac-roman": "fr de es pt it sv da fi",
    "cp1250": "pl cs sk hu ro hr sl de", "cp852": "pl cs sk hu ro hr sl de", "iso8859-2": "pl cs sk hu hr sl",
    "cp1251": "ru uk bg", "cp866": "ru", "koi8-r": "ru", "koi8-u": "uk", "cp1253": "el", "cp737": "el",
    "cp1254": "tr", "cp857": "tr", "cp1257": "lt lv et", "cp775": "lt lv et", "mac-latin2": "pl cs hu",
    "mac-cyrillic": "ru", "mac-greek": "el", "mac-turkish": "tr",
}  # fmt: skip


@pytest.mark.parametrize(
    ("page", "language"), [(page, language) for page, some in PAGES.items() for language in some.split()]
)
@pytest.mark.parametrize("raised", ["³", "3"])
def test_titles_come_back_from_their_code_page(page: str, language: str, raised: str, tmp_path: Path) -> None:
    titles = tuple(title.replace("³", raised) for title in TITLES[language])
    try:
        head = ";".join(titles).encode(page)
    except UnicodeEncodeError:
        titles = tuple(title.replace("³", "3") for title in titles)
        head = ";".join(titles).encode(page)
    rows = [f"{t:%d.%m.%Y %H:%M:%S};" + f"{d:.2f};{f:.2f};5.0".replace(".", ",") for t, d, f in CLEAN.rows]
    log = read_bytes(tmp_path, "log.csv", head + b"\n" + "\n".join(rows).encode(), plant_of(CLEAN))
    np.testing.assert_allclose(log.channels["dew_point"], CLEAN.dew_point_c, atol=0.006)
    np.testing.assert_allclose(log.channels["flow"], [row[2] for row in CLEAN.rows], atol=0.006)
    assert {column.header for column in log.columns.values()} | set(log.other) <= set(titles)
