"""One log in every usual format, locale and stamp style reads to the same numbers and the same instants."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.log.reencoded import (
    Clean,
    aligned,
    clean_log,
    gzipped,
    old_workbook,
    open_document,
    parquet,
    plant_of,
    read_bytes,
    text,
    workbook,
    zipped,
)

CLEAN = clean_log()
Writer = Callable[[Clean], bytes]

_MONTHS = {
    "de": "Jan Feb Mär Apr Mai Jun Jul Aug Sep Okt Nov Dez".split(),
    "fr": "janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.".split(),
    "pl": "sty lut mar kwi maj cze lip sie wrz paź lis gru".split(),
}


def _named(language: str) -> Callable[[dt.datetime], list[str]]:
    return lambda t: [f"{t.day} {_MONTHS[language][t.month - 1]} {t:%Y %H:%M:%S}"]


def _twelve(before_noon: str, after_noon: str, pattern: str = "%m/%d/%Y %I:%M:%S {}") -> Callable[..., list[str]]:
    return lambda t: [f"{t:{pattern.format(before_noon if t.hour < 12 else after_noon)}}"]


GERMAN = ("Zeit", "Taupunkt [°C]", "Volumenstrom [m³/min]")
FORMATS: dict[str, tuple[str, Writer]] = {
    "comma": ("log.csv", text),
    "semicolon_decimal_comma": (
        "log.csv",
        lambda c: text(c, delimiter=";", decimal=",", titles=GERMAN, stamp=lambda t: [f"{t:%d.%m.%Y %H:%M:%S}"]),
    ),
    "tab": ("log.tsv", lambda c: text(c, delimiter="\t")),
    "bar": ("log.txt", lambda c: text(c, delimiter="|")),
    "tab_decimal_comma": ("log.txt", lambda c: text(c, delimiter="\t", decimal=",")),
    "quoted_decimal_comma": ("log.csv", lambda c: text(c, decimal=",")),
    "aligned_blanks": ("log.dat", aligned),
    "crlf": ("log.csv", lambda c: text(c, end="\r\n")),
    "lone_cr": ("log.csv", lambda c: text(c, end="\r")),
    "byte_order_mark": ("log.csv", lambda c: text(c, encoding="utf-8-sig")),
    "utf16": ("log.csv", lambda c: text(c, encoding="utf-16")),
    "utf16_without_mark": ("log.csv", lambda c: text(c, encoding="utf-16-le", delimiter="\t")),
    "cp1252": ("log.csv", lambda c: text(c, encoding="cp1252", titles=("Uhrzeit", "Taupunkt °C", "Durchfluss m³/min"))),
    "unicode_minus": ("log.csv", lambda c: text(c, number=lambda v: f"{v:.2f}".replace("-", "\u2212"))),
    "units_in_cells": ("log.csv", lambda c: text(c, titles=("Time", "Dew point", "Flow"), stamp=lambda t: [str(t)])),
    "separator_line": ("log.csv", lambda c: text(c, before="sep=;\r\n", delimiter=";", end="\r\n")),
    "preamble": ("log.csv", lambda c: text(c, before="Logger 4711\nSerial number,12345\nInterval,300\n\n")),
    "padded_preamble": ("log.csv", lambda c: text(c, before="Serial number,12345,\nInterval,300,\n,,\n")),
    "footer": ("log.csv", lambda c: text(c, after="\nEnd of file\nMinimum,-63.1\n")),
    "units_row": (
        "log.csv",
        lambda c: text(c, before="Time,Dew point,Flow\n", titles=("", "°C", "m³/min")),
    ),
    "bracketed_units_row": (
        "log.csv",
        lambda c: text(c, before="Time,Dew point,Flow\n", titles=("[yyyy-mm-dd]", "[°C]", "[m3/min]")),
    ),
    "comment_titles": ("log.csv", lambda c: text(c, before="# made up\n", titles=("# Time", "Dew point", "Flow"))),
    "blank_tail_rows": ("log.csv", lambda c: text(c, after=",,\n" * 100)),
    "newest_first": ("log.csv", lambda c: text(c, newest_first=True)),
    "xlsx": ("log.xlsx", workbook),
    "xlsx_preamble": ("log.xlsx", lambda c: workbook(c, before=[["Serial", 4711], [], ["made", "up"]])),
    "xlsx_text_stamps": ("log.xlsx", lambda c: workbook(c, as_text=True)),
    "xls": ("log.xls", old_workbook),
    "ods": ("log.ods", open_document),
    "parquet": ("log.parquet", parquet),
    "parquet_aware": ("log.parquet", lambda c: parquet(c, aware=True)),
    "gzip": ("log.csv.gz", lambda c: gzipped(text(c))),
    "zip": ("log.zip", lambda c: zipped(("inner/log.csv", text(c)))),
    "zipped_workbook": ("log.zip", lambda c: zipped(("log.xlsx", workbook(c)))),
    "wrong_ending": ("log.csv", workbook),
    "iso_t": ("log.csv", lambda c: text(c, stamp=lambda t: [t.isoformat()])),
    "iso_offset": ("log.csv", lambda c: text(c, stamp=lambda t: [t.isoformat() + "+01:00"])),
    "iso_fraction_comma": ("log.csv", lambda c: text(c, delimiter=";", stamp=lambda t: [f"{t:%Y-%m-%d %H:%M:%S},000"])),
    "year_first_slash": ("log.csv", lambda c: text(c, stamp=lambda t: [f"{t:%Y/%m/%d %H:%M:%S}"])),
    "day_first_slash": ("log.csv", lambda c: text(c, stamp=lambda t: [f"{t:%d/%m/%Y %H:%M:%S}"])),
    "month_first": ("log.csv", lambda c: text(c, stamp=lambda t: [f"{t:%m/%d/%Y %H:%M:%S}"])),
    "month_first_bare": (
        "log.csv",
        lambda c: text(c, stamp=lambda t: [f"{t.month}/{t.day}/{t:%Y} {t.hour}:{t:%M:%S}"]),
    ),
    "two_digit_year": ("log.csv", lambda c: text(c, stamp=lambda t: [f"{t:%d.%m.%y %H:%M:%S}"])),
    "compact": ("log.csv", lambda c: text(c, stamp=lambda t: [f"{t:%Y%m%d%H%M%S}"])),
    "time_before_date": ("log.csv", lambda c: text(c, stamp=lambda t: [f"{t:%H:%M:%S %d.%m.%Y}"])),
    "named_month_de": ("log.csv", lambda c: text(c, stamp=_named("de"))),
    "named_month_fr": ("log.csv", lambda c: text(c, stamp=_named("fr"))),
    "named_month_pl": ("log.csv", lambda c: text(c, stamp=_named("pl"))),
    "named_month_en": ("log.csv", lambda c: text(c, stamp=lambda t: [f"{t:%b %d, %Y %H:%M:%S}"])),
    "twelve_hours_en": ("log.csv", lambda c: text(c, stamp=_twelve("AM", "PM"))),
    "twelve_hours_es": ("log.csv", lambda c: text(c, stamp=_twelve("a. m.", "p. m.", "%d/%m/%Y %I:%M:%S {}"))),
    "twelve_hours_el": ("log.csv", lambda c: text(c, stamp=_twelve("π.μ.", "μ.μ.", "%d/%m/%Y %I:%M:%S {}"))),
    "twelve_hours_zh": ("log.csv", lambda c: text(c, stamp=_twelve("上午", "下午", "%Y/%m/%d {}%I:%M:%S"))),
    "twelve_hours_hu": ("log.csv", lambda c: text(c, stamp=_twelve("de.", "du.", "%Y. %m. %d. {} %I:%M:%S"))),
    "date_and_time": (
        "log.csv",
        lambda c: text(c, titles=("Datum", "Uhrzeit", *GERMAN[1:]), stamp=lambda t: [f"{t:%d.%m.%Y}", f"{t:%H:%M:%S}"]),
    ),
    "date_and_dotted_time": (
        "log.csv",
        lambda c: text(
            c,
            titles=("Date", "Time", "Dew point [°C]", "Flow [m3/min]"),
            stamp=lambda t: [f"{t:%d/%m/%Y}", f"{t:%H.%M.%S}"],
        ),
    ),
    "iso_date_and_time": (
        "log.csv",
        lambda c: text(
            c, titles=("Date", "Time", "Dew point", "Flow"), stamp=lambda t: [f"{t:%Y-%m-%d}", f"{t:%H:%M:%S}"]
        ),
    ),
    "number_date_and_time": (
        "log.csv",
        lambda c: text(c, titles=("Date", "Time", "Dew point", "Flow"), stamp=lambda t: [f"{t:%Y%m%d}", f"{t:%H%M%S}"]),
    ),
    "calendar_columns": (
        "log.csv",
        lambda c: text(
            c,
            titles=("Year", "Month", "Day", "Hour", "Minute", "Second", "Dew point", "Flow"),
            stamp=lambda t: [str(n) for n in (t.year, t.month, t.day, t.hour, t.minute, t.second)],
        ),
    ),
    "delimiter_behind_every_row": (
        "log.csv",
        lambda c: text(
            c,
            delimiter=";",
            decimal=",",
            titles=("Datum", "Zeit", "Taupunkt °C", "Durchfluss m³/min"),
            stamp=lambda t: [f"{t:%d.%m.%Y}", f"{t:%H:%M:%S}"],
            end=";\n",
        ).replace(b"min;\n", b"min\n", 1),
    ),
    "channel_numbers_over_titles_over_units": (
        "log.csv",
        lambda c: text(
            c,
            delimiter=";",
            before="Logger;;;\nChannel;;1;2\nDatum;Zeit;Taupunkt;Durchfluss\n",
            titles=("", "", "°C Td", "m³/min"),
            stamp=lambda t: [f"{t:%d.%m.%Y}", f"{t:%H:%M:%S}"],
        ),
    ),
    "aligned_with_units_under_some_titles": (
        "log.txt",
        lambda c: "\n".join(
            [f"{'Date':<11}{'Time':<9}{'Dewpoint':>9}{'Flow':>9}", f"{'':<20}{'C':>9}{'m3/min':>9}"]
            + [f"{t!s} {d:9.2f}{f:9.2f}" for t, d, f in c.rows]
        ).encode(),
    ),
    "quoted_titles_over_two_lines": (
        "log.csv",
        lambda c: text(c, titles=("Time", "Dew point\n[°C]", "Flow\n[m3/min]")),
    ),
    "row_numbers_without_a_title": (
        "log.csv",
        lambda c: b"\n".join((b"" if i == 0 else b"%d," % i) + line for i, line in enumerate(text(c).splitlines())),
    ),
    "spreadsheet_days": (
        "log.csv",
        lambda c: text(
            c, stamp=lambda t: [f"{(t - dt.datetime(1899, 12, 30)) / dt.timedelta(days=1):.9f}"], delimiter=";"
        ),
    ),
    "elapsed_seconds": (
        "log.csv",
        lambda c: text(
            c,
            before=f"Start: {c.rows[0][0]}\n",
            titles=("Elapsed time [s]", "Dew point [°C]", "Flow [m3/min]"),
            stamp=lambda t: [f"{(t - c.rows[0][0]).total_seconds():.0f}"],
        ),
    ),
    "elapsed_hours": (
        "log.csv",
        lambda c: text(
            c,
            before=f"Startzeit;{c.rows[0][0]:%d.%m.%Y %H:%M:%S};\n",
            delimiter=";",
            titles=("Zeit [h]", "Taupunkt [°C]", "Volumenstrom [m3/min]"),
            stamp=lambda t: [f"{(t - c.rows[0][0]).total_seconds() / 3600:.8f}"],
        ),
    ),
    "times_of_day_under_a_date": (
        "log.csv",
        lambda c: text(c, before=f"Date,{c.rows[0][0]:%Y-%m-%d}\n", stamp=lambda t: [f"{t:%H:%M:%S}"]),
    ),
    "dew_point_degf": (
        "log.csv",
        lambda c: text(
            Clean(tuple((t, d * 1.8 + 32, f) for t, d, f in c.rows), c.time_s, c.timezone),
            titles=("Time", "Dew point [°F]", "Flow [m3/min]"),
            number=lambda v: f"{v:.3f}",
        ),
    ),
    "dew_point_kelvin": (
        "log.csv",
        lambda c: text(
            Clean(tuple((t, d + 273.15, f) for t, d, f in c.rows), c.time_s, c.timezone),
            titles=("Time", "Dew point [K]", "Flow [m3/min]"),
        ),
    ),
}


@pytest.mark.parametrize("style", FORMATS)
def test_a_log_reads_the_same_in_any_format(style: str, tmp_path: Path) -> None:
    name, write = FORMATS[style]
    log = read_bytes(tmp_path, name, write(CLEAN), plant_of(CLEAN))
    assert log.samples == len(CLEAN.rows)
    np.testing.assert_allclose(log.time_s, CLEAN.time_s, atol=0.05)
    np.testing.assert_allclose(log.channels["dew_point"], CLEAN.dew_point_c, atol=0.006)
    np.testing.assert_allclose(log.channels["flow"], [row[2] for row in CLEAN.rows], atol=0.006)
    assert log.interval_s == 300.0
    assert log.clock_jumps == ()
    assert log.timezone == "Europe/Berlin"
    assert log.rows_repeated == 0


@pytest.mark.parametrize("factor", [1, 1_000, 1_000_000, 1_000_000_000])
def test_counts_since_1970(factor: int, tmp_path: Path) -> None:
    utc = clean_log(timezone="UTC")
    stamps = iter((utc.time_s * factor).astype(np.int64).tolist())
    data = text(utc, titles=("epoch", "Dew point", "Flow"), stamp=lambda t: [str(next(stamps))])
    log = read_bytes(tmp_path, "log.csv", data, plant_of(CLEAN))
    np.testing.assert_allclose(log.time_s, utc.time_s, atol=1e-3)


def test_cells_that_carry_their_unit(tmp_path: Path) -> None:
    lines = ["Time;Dew point;Pressure;Flow"]
    lines += [f"{t};{d:.2f} °C;7,1 bar;{f:.2f} m³/min" for t, d, f in CLEAN.rows]
    log = read_bytes(tmp_path, "log.csv", "\n".join(lines).replace(".", ",").encode(), plant_of(CLEAN))
    np.testing.assert_allclose(log.channels["dew_point"], CLEAN.dew_point_c, atol=1e-6)
    np.testing.assert_allclose(log.channels["pressure"], 7.1)
    assert log.columns["dew_point"].unit == "degC"


@pytest.mark.parametrize(("mark", "thousands"), [(".", ","), (",", "."), (",", " "), (",", "\u202f"), (".", "'")])
def test_thousands_separators(mark: str, thousands: str, tmp_path: Path) -> None:
    lines = ["Time;Dew point [°C];Flow [l/min]"]
    for t, d, f in CLEAN.rows:
        flow = f"{1000 * f:,.1f}".replace(",", "\0").replace(".", mark).replace("\0", thousands)
        lines.append(f"{t};{d:.2f};{flow}".replace(f"{d:.2f}", f"{d:.2f}".replace(".", mark)))
    log = read_bytes(tmp_path, "log.csv", "\n".join(lines).encode(), plant_of(CLEAN))
    np.testing.assert_allclose(log.channels["flow"], [row[2] for row in CLEAN.rows], atol=1e-6)
    np.testing.assert_allclose(log.channels["dew_point"], CLEAN.dew_point_c, atol=1e-6)


def test_titles_again_after_a_restart(tmp_path: Path) -> None:
    half = len(CLEAN.rows) // 2
    first = Clean(CLEAN.rows[:half], CLEAN.time_s[:half], CLEAN.timezone)
    second = Clean(CLEAN.rows[half:], CLEAN.time_s[half:], CLEAN.timezone)
    data = text(first) + b"Logger restarted\n\n" + text(second)
    log = read_bytes(tmp_path, "log.csv", data, plant_of(CLEAN))
    assert log.samples == len(CLEAN.rows)
    np.testing.assert_allclose(log.channels["dew_point"], CLEAN.dew_point_c)


def test_a_row_cut_short_keeps_its_stamp(tmp_path: Path) -> None:
    data = text(CLEAN, after="2026-01-14 20:00:36,-61.00\n")
    log = read_bytes(tmp_path, "log.csv", data, plant_of(CLEAN))
    assert log.samples == len(CLEAN.rows) + 1
    assert log.channels["dew_point"][-1] == -61.0 or np.isclose(log.channels["dew_point"], -61.0).any()
    assert np.isnan(log.channels["flow"]).sum() == 1
