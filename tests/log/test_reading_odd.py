"""Odd files that loggers, historians and people send: the same instants and numbers, or one sentence.

Invented examples of habits seen everywhere (common practice, no published source): lists of channels above the table,
an interval's start and end, minimum, mean and maximum of each, a supply that failed while a line was written, letters
that went through the wrong encoding.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

from tests.log.reencoded import clean_log, plant_of, read_bytes, refusal, text, zipped

CLEAN = clean_log(300, step_s=120)
HOUR, STEP = dt.timedelta(hours=1), dt.timedelta(seconds=120)
Cells = Callable[[int, dt.datetime, float, float], Sequence[str]]


def comma(value: float, form: str = ".2f") -> str:
    return format(value, form).replace(".", ",")


def german(t: dt.datetime) -> str:
    return f"{t:%d.%m.%Y %H:%M:%S}"


def table(*above: str, row: Cells, mark: str = ";", encoding: str = "utf-8") -> bytes:
    """Lines above, then a row for each reading."""
    lines = [mark.join(row(k, *reading)) for k, reading in enumerate(CLEAN.rows)]
    return "\n".join([*above, *lines]).encode(encoding)


def plain(t: dt.datetime, d: float, f: float) -> tuple[str, str, str]:
    return str(t), f"{d:.2f}", f"{f:.2f}"


def european(t: dt.datetime, d: float, f: float) -> tuple[str, str, str]:
    return german(t), comma(d), comma(f)


def with_line(at: int, *lines: str) -> bytes:
    rows = text(CLEAN).decode().split("\n")
    rows[at:at] = lines
    return "\n".join(rows).encode()


def halves(morning: str, later: str) -> Cells:
    return lambda _, t, d, f: (f"{t:%d/%m/%Y %I:%M:%S} {morning if t.hour < 12 else later}", f"{d:.2f}", f"{f:.2f}")


TITLES = "Time;Dew point [°C];Flow [m3/min]"
FILES: dict[str, Callable[[], bytes]] = {
    "voies": lambda: table(
        "Rapport d'enregistrement", "N° de série;00012345", "Début;13/01/2026 08:40:36", "Intervalle;00:02:00",
        "Voie 1;Point de rosée;°C", "Voie 2;Débit;m³/min", "", "Date et heure;Voie 1;Voie 2",
        row=lambda _, t, d, f: (f"{t:%d/%m/%Y %H:%M:%S}", comma(d), comma(f)), encoding="cp1252",
    ),
    "kanal_numbers_alone": lambda: table(
        "Messprotokoll", "Kanal 1: Taupunkt [°C]", "Kanal 2: Volumenstrom [m3/min]", "", "Datum;Zeit;1;2",
        row=lambda _, t, d, f: (f"{t:%d.%m.%Y}", f"{t:%H:%M:%S}", comma(d), comma(f)),
    ),
    "channels_after_a_count": lambda: table(
        "CH1,Dew point,degC", "CH2,Flow,m3/min", "", "No.,Time,CH1,CH2",
        row=lambda k, t, d, f: (str(k + 1), *plain(t, d, f)), mark=",",
    ),
    "start_and_end": lambda: table(
        "Start;Ende;Taupunkt [°C];Volumenstrom [m3/min]",
        row=lambda _, t, d, f: (german(t), german(t + STEP), comma(d), comma(f)),
    ),
    "local_and_utc": lambda: table(
        "Local time;UTC time;Dew point (C);Flow (m3/min)",
        row=lambda _, t, d, f: (str(t), str(t - HOUR), f"{d:.2f}", f"{f:.2f}"),
    ),
    "utc_and_local": lambda: table(
        "UTC;Local;Dew point (C);Flow (m3/min)",
        row=lambda _, t, d, f: (str(t - HOUR), str(t), f"{d:.2f}", f"{f:.2f}"),
    ),
    "offset_in_the_title": lambda: table(
        '"Date Time, GMT+00:00","Dew point, °C","Flow, m3/min"',
        row=lambda _, t, d, f: (f"{t - HOUR:%m/%d/%y %I:%M:%S %p}", f"{d:.2f}", f"{f:.2f}"), mark=",",
    ),
    "status_beside_each": lambda: table(
        "Time;Dew point [°C];Status;Flow [m3/min];Status",
        row=lambda k, t, d, f: (str(t), f"{d:.2f}", "OK" if k % 50 else "ALARM", f"{f:.2f}", str(k % 70 == 0)),
    ),
    "minimum_mean_maximum": lambda: table(
        "Time;Dew point Min [°C];Dew point Avg [°C];Dew point Max [°C];Flow Avg [m3/min]",
        row=lambda _, t, d, f: (str(t), f"{d - 1:.2f}", f"{d:.2f}", f"{d + 1:.2f}", f"{f:.2f}"),
    ),
    "minimum_maximum_mean_below": lambda: table(
        "Zeit;Taupunkt;;;Volumenstrom;;", ";°C;°C;°C;m³/min;m³/min;m³/min", ";Min;Max;Mittel;Min;Max;Mittel",
        row=lambda _, t, d, f: (
            german(t), comma(d - 1), comma(d + 1), comma(d), comma(f - 1), comma(f + 1), comma(f)
        ),
    ),
    "maks": lambda: table(
        "Data;Punkt rosy min [°C];Punkt rosy maks [°C];Punkt rosy śr. [°C];Przepływ śr. [m3/min]",
        row=lambda _, t, d, f: (german(t), comma(d - 1), comma(d + 1), comma(d), comma(f)), encoding="cp1250",
    ),
    "limits_before": lambda: table(
        "Time;Alarm dew point [°C];Dew point setpoint [°C];Dew point [°C];Flow [m3/min]",
        row=lambda _, t, d, f: (str(t), "-40.0", "-45", f"{d:.2f}", f"{f:.2f}"),
    ),
    "statistics_without_a_word": lambda: text(CLEAN) + b",-63.10,7.00\n,-58.20,9.00\n,-60.40,8.00\n",
    "hours_past_a_day": lambda: table(
        "Datum: 13.01.2026", "Zeit;Taupunkt °C;Durchfluss m³/min",
        row=lambda _, t, d, f: (
            f"{(t - dt.datetime(2026, 1, 13)) // HOUR}:{t:%M:%S}", comma(d), comma(f)
        ),
    ),
    "quoted_with_units": lambda: table(
        '"Zeit";"Taupunkt";"Durchfluss"',
        row=lambda _, t, d, f: (f'"{german(t)}"', f'"{comma(d)} °C"', f'"{comma(f)} m³/min"'), encoding="cp1252",
    ),
    "trailing_minus": lambda: table(
        "Zeit;Taupunkt °C;Durchfluss m³/min", row=lambda _, t, d, f: (german(t), f"{comma(-d)}-", comma(f))
    ),
    "soft_hyphen": lambda: table(TITLES, row=lambda _, t, d, f: (str(t), f"\u00ad{-d:.2f}", f"{f:.2f}")),
    "marks_of_direction": lambda: table(
        TITLES, row=lambda _, t, d, f: tuple(f"\u200e{cell}" for cell in plain(t, d, f))
    ),
    "decimals_dropped": lambda: table(
        TITLES, row=lambda _, t, d, f: (german(t), *(comma(v).rstrip("0").rstrip(",") for v in (d, f)))
    ),
    "three_decimals": lambda: table(
        "Zeit;Taupunkt °C;Druck bar;Durchfluss m³/min",
        row=lambda k, t, d, f: (german(t), comma(d, ".3f"), comma(7.1 + k % 9 / 1000, ".3f"), comma(f, ".3f")),
    ),
    "commas_between_blanks": lambda: table(
        "Datum Zeit Taupunkt Volumenstrom", row=lambda _, t, d, f: european(t, d, f), mark=" "
    ),
    "date_and_time_over_one_stamp": lambda: table(
        "Date       Time      Dew point °C   Flow m3/min",
        row=lambda _, t, d, f: (german(t), f"{d:12.2f}", f"{f:11.2f}"), mark="   ",
    ),
    "one_title_too_many": lambda: table(TITLES + ";Comment", row=lambda _, t, d, f: plain(t, d, f)),
    "numbered_rows": lambda: table(TITLES, row=lambda k, t, d, f: (str(k), *plain(t, d, f))),
    "bytes_taken_for_letters": lambda: table(
        "Time;Dew point [Â°C];Flow [mÂ³/min]", row=lambda _, t, d, f: plain(t, d, f)
    ),
    "letters_by_name": lambda: table(
        '"Time","Dew point &deg;C","Flow m&sup3;/min"', row=lambda _, t, d, f: plain(t, d, f), mark=","
    ),
    "formulas": lambda: table(
        "Time,Dew point C,Flow m3/min", row=lambda _, t, d, f: (f'="{t}"', f'="{d:.2f}"', f"{f:.2f}"), mark=","
    ),
    "formulas_quoted": lambda: table(
        '"Time","Dew point C","Flow m3/min"',
        row=lambda _, t, d, f: tuple(f'"=""{cell}"""' for cell in plain(t, d, f)), mark=",",
    ),
    "dutch_halves": lambda: table("Tijd;Dauwpunt °C;Debiet m³/min", row=halves("v.m.", "n.m.")),
    "arabic_halves": lambda: table("Time;Dew point C;Flow m3/min", row=halves("ص", "م")),
    "japanese": lambda: table(
        "日時,露点(℃),流量(m3/min)", mark=",", encoding="cp932",
        row=lambda _, t, d, f: (f"{t:%Y/%m/%d} {'午前' if t.hour < 12 else '午後'}{t:%I:%M:%S}", f"{d}", f"{f}"),
    ),
    "chinese": lambda: table(
        "日期时间,露点(℃),流量(m3/min)", row=lambda _, t, d, f: plain(t, d, f), mark=",", encoding="gbk"
    ),
    "korean": lambda: table("시간;이슬점(℃);유량(m3/min)", row=lambda _, t, d, f: plain(t, d, f), encoding="cp949"),
    "a_day_named_in_front": lambda: table(
        "Tag;Datum;Zeit;Taupunkt °C;Durchfluss m³/min",
        row=lambda _, t, d, f: ("Mo Di Mi".split()[t.weekday() % 3], f"{t:%d.%m.%Y}", f"{t:%H:%M:%S}", f"{d}", f"{f}"),
    ),
    "rows_of_a_historian": lambda: b"\n".join(
        b"\n".join([f"{t},DRYER2.DEWPOINT_C,{d},Good".encode(), f"{t},DRYER2.FLOW_M3MIN,{f},Good".encode()])
        if k >= 0 else b"Timestamp,Tag,Value,Quality"
        for k, (t, d, f) in enumerate([CLEAN.rows[0], *CLEAN.rows], start=-1)
    ),
    "titles_in_another_language": lambda: with_line(150, "Zeit,Taupunkt [°C],Volumenstrom [m3/min]"),
    "messages_at_a_reading": lambda: with_line(
        101, *(f"{CLEAN.rows[100][0]},{message}," for message in ("Logger started", "Host connected"))
    ),
    "line_ends_mixed": lambda: b"".join(
        line + (b"\n", b"\r\n", b"\r")[k % 3] for k, line in enumerate(text(CLEAN).split(b"\n"))
    ),
    "nuls_between": lambda: with_line(150, "\0" * 512),
    "utf_16_without_mark": lambda: text(CLEAN, delimiter="\t", encoding="utf-16-be", end="\r\n"),
    "mark_in_the_middle": lambda: text(CLEAN, encoding="utf-8-sig").replace(b"\n2026", b"\n\xef\xbb\xbf2026", 200),
}  # fmt: skip


@pytest.mark.parametrize("case", FILES)
def test_odd_files_read_to_the_same_readings(case: str, tmp_path: Path) -> None:
    log = read_bytes(tmp_path, "log.csv", FILES[case](), plant_of(CLEAN))
    np.testing.assert_allclose(log.time_s, CLEAN.time_s, atol=2e-3, rtol=0)
    np.testing.assert_allclose(log.channels["dew_point"], CLEAN.dew_point_c, atol=0.011)
    np.testing.assert_allclose(log.channels["flow"], [row[2] for row in CLEAN.rows], atol=0.011)


@pytest.mark.parametrize("left", [6, 11, 14, 17, 20, 23, 24])
@pytest.mark.parametrize("at", [150, 300])
def test_a_number_cut_by_a_failing_supply_is_no_reading(at: int, left: int, tmp_path: Path) -> None:
    """A line that breaks off, in the middle of the file or at its end, loses what it was cut in and nothing else."""
    lines = text(CLEAN).split(b"\n")[:301]
    lines[at] = lines[at][:left]
    log = read_bytes(tmp_path, "log.csv", b"\n".join(lines), plant_of(CLEAN))
    others = np.arange(300) != at - 1
    known = np.isin(log.time_s, CLEAN.time_s[others])
    np.testing.assert_allclose(log.channels["dew_point"][known], CLEAN.dew_point_c[others])
    assert np.isnan(log.channels["dew_point"][~known]).all()


def test_what_marks_an_overflow_is_missing_and_counted(tmp_path: Path) -> None:
    marks = "+OVER -OVER #### ****** >>>> <<<< OFL +++++ 1.#INF -1.#IND 9.9E+37 -3276.8 --.--".split()
    lost = {20 * k + 7: mark for k, mark in enumerate(marks)}
    data = table(TITLES, row=lambda k, t, d, f: (str(t), lost.get(k, f"{d:.2f}"), f"{f:.2f}"))
    log = read_bytes(tmp_path, "log.csv", data, plant_of(CLEAN))
    assert np.flatnonzero(np.isnan(log.channels["dew_point"])).tolist() == list(lost)
    assert log.cells_missing == len(lost)


REFUSED = {
    "two_logs": ("log.zip", lambda: zipped(("a.csv", text(CLEAN)), ("b.csv", text(CLEAN))), "unpack it"),
    "titles_shifted": (
        "log.csv",
        lambda: table("No.;Time;Dew point C;Flow m3/min", row=lambda _, t, d, f: plain(t, d, f)),
        "titles stand over rows",
    ),
    "decimal_commas_between_commas": (
        "log.csv",
        lambda: table("Zeit,Taupunkt,Strom", row=lambda _, t, d, f: european(t, d, f), mark=","),
        "export with ;",
    ),
    "dates_without_a_year": (
        "log.csv",
        lambda: table(TITLES, row=lambda _, t, d, f: (f"{t:%d.%m. %H:%M:%S}", f"{d:.2f}", f"{f:.2f}")),
        "write them in numbers",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_odd_files_that_nobody_can_read_for_sure(case: str, tmp_path: Path) -> None:
    name, data, words = REFUSED[case]
    said = refusal(tmp_path, name, data())
    assert words in said
    assert "\n" not in said
