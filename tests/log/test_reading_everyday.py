"""One valid log as everyday exports spell it: whatever the spelling, the same instants and numbers, or one sentence.

The habits are those of spreadsheets, loggers and operating systems' locales (common practice, no published source).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.log.reencoded import Clean, clean_log, plant_of, read_bytes, refusal, text

CLEAN = clean_log()
WHOLE = clean_log(start="2026-01-13T07:40:00+00:00")
GERMAN = ("Zeit", "Taupunkt [°C]", "Volumenstrom [m³/min]")
Stamp = Callable[[dt.datetime], list[str]]
SERIAL_DAY_0 = dt.datetime(1899, 12, 30)


def german(t: dt.datetime) -> list[str]:
    return [f"{t:%d.%m.%Y %H:%M:%S}"]


def semicolons(stamp: Stamp = german, clean: Clean = CLEAN, **options: object) -> bytes:
    return text(clean, stamp=stamp, **{"delimiter": ";", "decimal": ",", "titles": GERMAN, **options})  # type: ignore[arg-type]


def shown(pattern: str) -> Stamp:
    return lambda t: [f"{t:{pattern}}"]


def halves(morning: str, later: str, pattern: str = "%d/%m/%Y %I:%M:%S {}") -> Stamp:
    return lambda t: [f"{t:{pattern.format(morning if t.hour < 12 else later)}}"]


def every_line(data: bytes, change: Callable[[str], str]) -> bytes:
    return "\n".join(change(line) for line in data.decode().splitlines() if line).encode()


def litres(mark: str, decimal: str) -> Callable[[float], str]:
    """Flows as l/min, thousands parted by a mark."""

    def spelled(value: float) -> str:
        plain = f"{value * 1000.0:,.2f}" if value > 0 else f"{value:.2f}"
        return plain.replace(",", "\0").replace(".", decimal).replace("\0", mark)

    return spelled


def by_thousands(mark: str, decimal: str = ",", delimiter: str = ";") -> bytes:
    titles = ("Zeit", "Taupunkt [°C]", "Durchfluss [l/min]")
    return text(CLEAN, delimiter=delimiter, stamp=german, titles=titles, number=litres(mark, decimal))


def quoted(data: bytes, delimiter: str, mark: str = '"') -> bytes:
    return every_line(data, lambda line: delimiter.join(f"{mark}{cell}{mark}" for cell in line.split(delimiter)))


def once_a_day(t: dt.datetime, seen: set[dt.date]) -> list[str]:
    first = t.date() not in seen
    seen.add(t.date())
    return [f"{t:%d.%m.%Y}" if first else "", f"{t:%H:%M:%S}"]


def rows_by_channel(unit_column: bool) -> bytes:
    lines = ["Time;Channel;Value;Unit" if unit_column else "Time,Channel,Value"]
    for when, dew_point, flow in CLEAN.rows:
        if unit_column:
            lines += [f"{when};Dew point;{dew_point:.2f};°C", f"{when};Flow;{flow * 60:.3f};m3/h"]
        else:
            lines += [f"{when},Dew point [°C],{dew_point:.2f}", f"{when},Flow [m3/min],{flow:.2f}"]
    return "\n".join(lines).encode()


def units_beside(fahrenheit: bool) -> bytes:
    lines = ["Time;Dew point;Unit;Flow;Unit"]
    for when, dew_point, flow in CLEAN.rows:
        shown_as = f"{dew_point * 1.8 + 32:.3f};°F" if fahrenheit else f"{dew_point:.2f};°C"
        lines.append(f"{when};{shown_as};{flow * 60:.3f};m3/h")
    return "\n".join(lines).encode()


def midnight_as_24(pattern: str) -> Stamp:
    return lambda t: [
        f"{t - dt.timedelta(days=1):{pattern}} 24:00:00" if t.hour == t.minute == 0 else f"{t:{pattern} %H:%M:%S}"
    ]


MONTHS = {
    "bg": "януари", "ca": "gener", "cs": "ledna", "da": "jan.", "de": "Jänner", "el": "Ιανουαρίου", "es": "ene",
    "et": "jaanuar", "fi": "tammikuuta", "hr": "siječnja", "it": "gen", "lt": "sausio", "lv": "janvāris", "nl": "jan",
    "pl": "stycznia", "pt": "jan.", "ro": "ian.", "ru": "янв.", "sk": "januára", "sl": "januar", "sr": "јануар",
    "sv": "januari", "tr": "Oca", "uk": "січня",
}  # fmt: skip
MARKS = {
    "a": ("A", "P"), "small": ("am", "pm"), "points": ("a.m.", "p.m."), "es": ("a.\u00a0m.", "p.\u00a0m."),
    "es_narrow": ("a.\u202fm.", "p.\u202fm."), "el": ("πμ", "μμ"), "sv": ("fm", "em"), "cs": ("dop.", "odp."),
    "de": ("vorm.", "nachm."), "fi": ("ap.", "ip."), "hu": ("de.", "du."), "sq": ("PD", "MD"),
    "bg": ("пр.об.", "сл.об."), "tr": ("ÖÖ", "ÖS"), "ko": ("오전", "오후"), "vi": ("SA", "CH"),
}  # fmt: skip
UNITS = ("(° C)", "[ºC]", "deg C", "[℃]", "°C Td", "(Grad C)", "in °C", "/ °C", "_degC", "[C]", "(degrees Celsius)")

STAMPS: dict[str, Stamp] = {
    **{f"month_{name}": (lambda t, m=month: [f"{t.day}. {m} {t:%Y %H:%M:%S}"]) for name, month in MONTHS.items()},
    **{f"half_{name}": halves(*marks) for name, marks in MARKS.items()},
    **{f"half_close_{name}": halves(*marks, "%d/%m/%Y %I:%M:%S{}") for name, marks in MARKS.items()},  # type: ignore[arg-type]
    "half_before": halves("πμ", "μμ", "%d/%m/%Y {} %I:%M:%S"),
    "iso_week": lambda t: [f"{t:%G-W%V-%uT%H:%M:%S}"],
    "iso_week_compact": lambda t: [f"{t:%GW%V%uT%H%M%S}"],
    "day_of_year": shown("%Y-%jT%H:%M:%S"),
    "day_of_year_compact": shown("%YT%j".replace("T", "") + "T%H%M%S"),
    "offset_without_colon": shown("%Y-%m-%dT%H:%M:%S+0100"),
    "offset_of_hours": shown("%Y-%m-%d %H:%M:%S +01"),
    "utc_plus": shown("%Y-%m-%d %H:%M:%S UTC+1"),
    "zone_in_brackets": shown("%Y-%m-%dT%H:%M:%S+01:00[Europe/Berlin]"),
    "year_behind_the_clock": lambda t: [t.ctime()],
    "mail": shown("%a, %d %b %Y %H:%M:%S +0100"),
    "capital_month": lambda t: [f"{t:%d-%b-%y %I.%M.%S.000000 %p}".upper()],
    "web_server": shown("%d/%b/%Y:%H:%M:%S +0100"),
    "weekday": shown("Dienstag, %d.%m.%Y %H:%M:%S"),
    "pt_of": shown("%d de janeiro de %Y %H:%M:%S"),
    "es_of": shown("martes, %d de enero de %Y %H:%M:%S"),
    "ru_year": shown("%d января %Y г. %H:%M:%S"),
    "bg_year": shown("%d.%m.%Y г. %H:%M:%S ч."),
    "hu": shown("%Y. január %d. %H:%M:%S"),
    "lt_year": shown("%Y m. sausio %d d. %H:%M:%S"),
    "lv_year": shown("%Y. gada %d. janvāris %H:%M:%S"),
    "de_um_uhr": shown("%d.%m.%Y um %H:%M:%S Uhr"),
    "fr_at": shown("%d/%m/%Y à %H:%M:%S"),
    "fr_h": shown("%d/%m/%Y %Hh%Mm%Ss"),
    "nb_kl": shown("%d.%m.%Y kl. %H:%M:%S"),
    "fi_klo": shown("%d.%m.%Y klo %H.%M.%S"),
    "it_points": shown("%d/%m/%Y %H.%M.%S"),
    "dash_between": shown("%d.%m.%Y - %H:%M:%S"),
    "comma_between": shown("%d.%m.%Y, %H:%M:%S"),
    "no_break_between": shown("%d.%m.%Y\u00a0%H:%M:%S"),
    "file_name": shown("%Y-%m-%d_%H-%M-%S"),
    "dashes": shown("%Y-%m-%d %H-%M-%S"),
    "slash_and_dash": shown("%Y/%m/%d-%H:%M:%S"),
    "points_all_through": shown("%Y.%m.%d.%H.%M.%S"),
    "hundredths_behind_a_colon": shown("%d.%m.%Y %H:%M:%S:00"),
    "fraction_comma": shown("%d.%m.%Y %H:%M:%S,000"),
}

TEXTS: dict[str, Callable[[], bytes]] = {
    "thousands_no_break": lambda: by_thousands("\u00a0"),
    "thousands_narrow": lambda: by_thousands("\u202f"),
    "thousands_thin": lambda: by_thousands("\u2009"),
    "thousands_blank": lambda: by_thousands(" "),
    "thousands_point": lambda: by_thousands("."),
    "thousands_point_tab": lambda: by_thousands(".", delimiter="\t"),
    "thousands_swiss": lambda: by_thousands("’", "."),
    "delimiters_behind_readings": lambda: re.sub(rb"(?m)^(\d.*)$", rb"\1;;;", semicolons()),
    "delimiters_behind_all": lambda: every_line(semicolons(), lambda line: line + ";"),
    "empty_columns_first": lambda: every_line(semicolons(), lambda line: ";;" + line),
    "numbered_rows": lambda: b"\n".join(
        (b"No.;" if k == 0 else b"%d;" % k) + line for k, line in enumerate(semicolons().splitlines())
    ),
    "all_quoted": lambda: quoted(semicolons(), ";"),
    "single_quotes": lambda: quoted(semicolons(), ";", "'"),
    "lines_quoted": lambda: every_line(text(CLEAN), lambda line: f'"{line}"'),
    "mark_and_quotes": lambda: b"\xef\xbb\xbf" + quoted(text(CLEAN), ","),
    "line_end_in_a_title": lambda: semicolons(titles=("Zeit\n(lokal)", "Tau-\npunkt [°C]", "Volumenstrom\n[m³/min]")),
    "group_of_titles": lambda: text(CLEAN, before=",Dryer 1,Dryer 1\n"),
    "one_title_twice": lambda: text(CLEAN, before="Time,Dew point,Flow\n", titles=("", "Value", "Value")),
    "one_title_two_units": lambda: text(CLEAN, titles=("Time", "Value [°C]", "Value [m³/min]")),
    "comments": lambda: (b"# a, b, c, d\n" + text(CLEAN)).replace(
        b"\n2026-01-14 00:0", b"\n# again\n2026-01-14 00:0", 1
    ),
    "lines_of_a_list_first": lambda: semicolons(before="Gerät:;Logger;\nIntervall:;5;min\n\n"),
    "statistics_first": lambda: semicolons(before="Kanal;Taupunkt;Strom\nMinimum;-62,5;7,0\nMittel;-60,5;8,0\n\n"),
    "statistics_last": lambda: semicolons(after="\nMinimum;-62,5;7,0\nMaximum;-58,9;9,0\n"),
    "sixty_lines_first": lambda: semicolons(before="".join(f"Zeile {k}: Wert = {k},5 (bar; °C)\n" for k in range(60))),
    "blank_line_after_each": lambda: text(CLEAN).replace(b"\n", b"\n\n"),
    "cr_twice": lambda: text(CLEAN).replace(b"\n", b"\r\r\n"),
    "supply_failed": lambda: text(CLEAN) + b"\0" * 4096,
    "end_mark": lambda: text(CLEAN) + b"\x1a",
    "aligned_decimal_commas": lambda: "\n".join(
        [f"{'Zeit':<22}{'Taupunkt':>9}{'Durchfluss':>11}"]
        + [f"{t:%d.%m.%Y %H:%M:%S}   " + f"{d:8.2f}   {f:8.2f}".replace(".", ",") for t, d, f in CLEAN.rows]
    ).encode(),
    "bars_around": lambda: (
        "| Time | Dew point [°C] | Flow [m3/min] |\n|---|---|---|\n"
        + "".join(f"| {t} | {d} | {f} |\n" for t, d, f in CLEAN.rows)
    ).encode(),
    "brackets_for_minus": lambda: text(CLEAN, number=lambda v: f"({-v:.2f})" if v < 0 else f"{v:.2f}"),
    "minus_apart": lambda: text(CLEAN, number=lambda v: f"- {-v:.2f}" if v < 0 else f"{v:.2f}"),
    "wide_minus": lambda: text(CLEAN, number=lambda v: f"－{-v:.2f}" if v < 0 else f"{v:.2f}"),
    "marks_behind_readings": lambda: re.sub(rb"(?m)^(.*00:36,-[\d.]+)", rb"\1 *", text(CLEAN)),
    "whole_thousands": lambda: text(
        CLEAN,
        delimiter=";",
        stamp=german,
        titles=("Zeit", "Taupunkt [°C]", "Durchfluss [l/min]"),
        number=lambda v: f"{round(v * 1000):,}".replace(",", ".") if v > 0 else f"{v:.2f}".replace(".", ","),
    ),
    "time_elapsed": lambda: semicolons(
        lambda t: [f"{int((t - CLEAN.rows[0][0]).total_seconds() // 3600):02d}:{(t.minute - 40) % 60:02d}:00"],
        before="Start: 13.01.2026 08:40:36\n",
        titles=("Laufzeit", *GERMAN[1:]),
    ),
    "exponents": lambda: semicolons(number=lambda v: f"{v:.4E}"),
    "units_in_cells": lambda: text(
        CLEAN, titles=("Time", "Dew point", "Flow"), number=lambda v: f"{v:.2f}\u00a0" + ("°C" if v < 0 else "m³/min")
    ),
    "units_beside": lambda: units_beside(False),
    "fahrenheit_beside": lambda: units_beside(True),
    "row_a_channel": lambda: rows_by_channel(False),
    "row_a_channel_with_unit": lambda: rows_by_channel(True),
    "day_named_once": lambda: semicolons(
        lambda t, seen=set(): once_a_day(t, seen),
        titles=("Datum", "Uhrzeit", *GERMAN[1:]),
    ),
    "zone_in_the_title": lambda: text(
        CLEAN, titles=("Date/Time, GMT+01:00", "Dew point, °C", "Flow, m3/min"), stamp=shown("%m/%d/%y %I:%M:%S %p")
    ),
    "zone_word_in_the_title": lambda: semicolons(titles=("Zeit (MEZ)", *GERMAN[1:])),
    **{
        f"unit_{k}": (lambda u=unit: text(CLEAN, titles=("Time", f"Dew point {u}", "Flow m3/min")))
        for k, unit in enumerate(UNITS)
    },
}


def _same(folder: Path, name: str, data: bytes, clean: Clean = CLEAN, tolerance_s: float = 2e-3) -> None:
    log = read_bytes(folder, name, data, plant_of(clean))
    assert log.time_s.size == clean.time_s.size
    assert np.abs(log.time_s - clean.time_s).max() <= tolerance_s
    np.testing.assert_allclose(log.channels["dew_point"], clean.dew_point_c, atol=0.011)
    np.testing.assert_allclose(log.channels["flow"], [row[2] for row in clean.rows], atol=0.006)


@pytest.mark.parametrize("style", STAMPS)
def test_stamps_as_people_and_programs_write_them(style: str, tmp_path: Path) -> None:
    _same(tmp_path, "log.csv", semicolons(STAMPS[style]))


@pytest.mark.parametrize("style", TEXTS)
def test_texts_as_programs_leave_them(style: str, tmp_path: Path) -> None:
    _same(tmp_path, "log.csv", TEXTS[style]())


@pytest.mark.parametrize("pattern", ["%Y-%m-%d", "%d.%m.%Y"])
def test_midnight_as_24_hours_is_the_end_of_its_day(pattern: str, tmp_path: Path) -> None:
    _same(tmp_path, "log.csv", semicolons(midnight_as_24(pattern), WHOLE), WHOLE)


def test_spreadsheet_days_with_a_decimal_comma(tmp_path: Path) -> None:
    serial = lambda t: [f"{(t - SERIAL_DAY_0) / dt.timedelta(days=1):.8f}".replace(".", ",")]  # noqa: E731
    _same(tmp_path, "log.csv", quoted(semicolons(serial), ";"), tolerance_s=0.01)


def test_a_name_of_two_months_is_told(tmp_path: Path) -> None:
    """November in Polish and Czech, October in Croatian: the reader says which it took."""
    clean = clean_log(start="2026-11-13T07:40:36+00:00")
    log = read_bytes(
        tmp_path, "log.csv", semicolons(lambda t: [f"{t.day} lis {t:%Y %H:%M:%S}"], clean), plant_of(clean)
    )
    np.testing.assert_allclose(log.time_s, clean.time_s)
    assert any("'lis'" in note and "Croatian" in note for note in log.notes)


LONE = ("26/01/13", "26.01.13", "26-01-13")


@pytest.mark.parametrize("word", LONE)
def test_a_lone_day_with_a_year_of_two_digits_is_asked_for(word: str, tmp_path: Path) -> None:
    """2013 day first, 2026 year first: convention says one, a young log the other."""
    data = semicolons(lambda t: [f"{word} {t:%H:%M:%S}"], clean_log(120))
    said = refusal(tmp_path, "log.csv", data)
    assert "2013-01-26" in said
    assert "2026-01-13" in said
    mark = word[2]
    answer = f"%y{mark}%m{mark}%d %H:%M:%S"
    assert answer in said
    clean = clean_log(120)
    log = read_bytes(tmp_path, "log.csv", data, plant_of(clean, time_format=answer))
    np.testing.assert_allclose(log.time_s, clean.time_s)


@pytest.mark.parametrize("pattern", ["%d/%m/%y", "%d.%m.%y", "%y/%m/%d", "%m/%d/%y"])
def test_two_days_with_a_year_of_two_digits_tell_their_order(pattern: str, tmp_path: Path) -> None:
    _same(tmp_path, "log.csv", semicolons(shown(pattern + " %H:%M:%S")))


REFUSED = {
    "unknown_half_of_the_day": (semicolons(halves("QX", "QY")), "which shows '13/01/2026 08:40:36 QX'"),
    "unknown_month": (semicolons(lambda t: [f"{t.day} Eanáir {t:%Y %H:%M:%S}"]), "'13 Eanáir 2026'"),
    "titles_in_another_order": (
        b"\n".join(
            [
                *text(CLEAN).splitlines()[:200],
                "Time,Flow [m3/min],Dew point [°C]".encode(),
                *(b",".join((a, c, b)) for a, b, c in (x.split(b",") for x in text(CLEAN).splitlines()[200:])),
            ]
        ),
        "line 201: the titles stand again, in another order",
    ),
    "hours_to_twelve": (semicolons(shown("%d.%m.%Y %I:%M:%S")), "without a mark for morning and afternoon"),
    "tenths": (
        text(CLEAN, titles=("Time", "Dew point [0.1 °C]", "Flow"), number=lambda v: f"{v * 10:.0f}"),
        "[log] units",
    ),
    "unscaled": (text(CLEAN, titles=("Time", "Dew point [mA]", "Flow"), number=lambda v: f"{12 + v / 8:.2f}"), "[mA]"),
    "titles_alone": (text(CLEAN).splitlines()[0], "at least two readings"),
    "words_alone": (
        text(CLEAN, number=lambda v: "---" if v < 0 else f"{v:.2f}"),
        "holds no numbers but texts such as '---'",
    ),
    "web_page_as_workbook": (b"<html><table><tr><td>1</td></tr></table></html>", "save it as .xlsx"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_read_for_sure_is_refused_in_a_sentence(case: str, tmp_path: Path) -> None:
    data, words = REFUSED[case]
    said = refusal(tmp_path, "log.xls" if case.startswith("web") else "log.csv", data)
    assert words in said
    assert said.endswith(".")
    assert "\n" not in said
