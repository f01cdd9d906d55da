"""What was read from the log, every guess with its correction, and the stretches set aside."""

from __future__ import annotations

import datetime as dt
from functools import cache
from typing import Any
from zoneinfo import available_timezones

import pandas as pd
import streamlit as st

from diagnostics.diagnosis import Diagnosis
from diagnostics.log.corrections import REASONS
from diagnostics.log.record import QUANTITIES, Log
from diagnostics.moment import say_time, zone_of
from ui import gate, state
from ui.plant_form import spoken
from ui.words import show_table

NONE = "none"
UNSAID = "as found"
UNITS = {
    "dew_point": ("degC", "degF", "K", "ppmv", "ppmw", "g/m3", "g/kg", "%RH"),
    "temperature": ("degC", "degF", "K"),
    "pressure": ("bar g", "bar a", "psi g", "psi a", "kPa", "MPa", "mbar"),
    "flow": ("m3/min", "m3/h", "l/s", "l/min", "cfm"),
    "power": ("kW", "W"),
}
BASES = {UNSAID: None, "line pressure": "pressure", "atmospheric pressure": "atmospheric"}
PHASES = {"ice (frost point)": "ice", "water": "water"}
DAYS = {UNSAID: None, "day first, 31/12": True, "month first, 12/31": False}
DECIMALS = {UNSAID: None, "comma": ",", "point": "."}
SEPARATORS = {UNSAID: None, "semicolon": ";", "comma": ",", "tab": "\t", "upright bar": "|"}


def words_of(quantity: str) -> str:
    """Name of a quantity for people."""
    return quantity.replace("_", " ")


def unit_words(unit: str) -> str:
    """Unit of the reader as people write it."""
    if unit == "percent_rh":
        return "% RH"
    plain, _, reference = unit.replace("deg", "°").replace("m3", "m³").partition("_")
    return f"{plain} {({'g': 'gauge', 'a': 'absolute'}).get(reference, reference)}".rstrip()


DEW_POINT_UNITS = {UNSAID: None} | {unit_words(unit): unit for unit in UNITS["dew_point"]}


def name_columns() -> None:
    """For a log that could not be read: name its columns, dates and decimals, and try again."""
    with st.form("name_columns"):
        st.caption("If its columns were not recognised, write their titles as they stand in the file.")
        left, right = st.columns(2)
        titles = {
            "dew_point": left.text_input("Title of the dew point's column", key="name_dew_point"),
            "time": right.text_input("Title of the time's column, if that is in doubt", key="name_time"),
            "temperature": left.text_input("Title of the air temperature's column", key="name_temperature"),
        }
        tables = state.plant_tables()
        reader = dict(tables.get("log", {}))
        with right:
            _choose(reader, "day_first", "Order of day and month", DAYS, "name")
            _choose(reader, "decimal", "Decimal mark", DECIMALS, "name")
            _choose(reader, "delimiter", "What separates the columns", SEPARATORS, "name")
        with left:
            units = dict(reader.get("units", {}))
            _choose(units, "dew_point", "Unit of the dew point's column", DEW_POINT_UNITS, "name_unit")
            form = st.text_input(
                "Form of the time, if it is unusual",
                value=reader.get("time_format", ""),
                placeholder="%d.%m.%Y %H:%M:%S",
                key="name_time_format",
                help="%Y year, %y its last two digits, %m month, %d day, %H hour, %M minute, %S second.",
            )
        if st.form_submit_button("Try again", icon=":material/refresh:"):
            reader.pop("time_format", None)
            reader.pop("units", None)
            reader |= {"units": units} if units else {}
            tables["log"] = reader | ({"time_format": form.strip()} if form.strip() else {})
            named = {quantity: title.strip() for quantity, title in titles.items() if title.strip()}
            gate.take_files(state.refused(), named, {name: held for name, held in tables.items() if held})
            st.rerun()


def show_read(log: Log) -> None:
    """Columns, units, zone and every decision of the reader."""
    st.subheader("What was read")
    columns = log.columns
    show_table(
        {
            "quantity": [words_of(quantity) for quantity in columns],
            "column": [column.header for column in columns.values()],
            "unit": [unit_words(column.unit) for column in columns.values()],
        }
    )
    count = state.display().number
    zone = log.timezone or "not known: the stamps stand as they are"
    st.text(
        f"Time zone: {zone}. Rows without a readable time: {count(log.rows_dropped, decimals=0)}. Empty or unreadable"
        f" cells: {count(log.cells_missing, decimals=0)}."
    )
    with st.expander(f"What the reader decided ({len(log.notes)})"):
        for note in log.notes:
            st.text(f"• {spoken(note, state.display())}")


def ask(log: Log) -> None:
    """Form in which every guess can be corrected."""
    tables = state.plant_tables()
    with st.expander("Correct what was guessed"), st.form(f"answers_{state.digest()[:8]}_{state.plant_turn()}"):
        st.caption("Choose another column, unit, zone or basis where the reader guessed wrong; the log is read again.")
        columns = _columns(log)
        units = _units(log, tables.get("log", {}).get("units", {}))
        new, time_title = _plant_answers(tables)
        if st.form_submit_button("Read the log again", icon=":material/refresh:"):
            held = dict(new.get("log", {}))
            held.pop("units", None)
            new["log"] = held | ({"units": units} if units else {})
            if time_title:
                columns["time"] = time_title
            gate.take_answers(columns, {name: values for name, values in new.items() if values})
            st.rerun()


def _columns(log: Log) -> dict[str, str]:
    titles = list(dict.fromkeys([*(column.header for column in log.columns.values()), *log.other]))
    answers = {}
    places = st.columns(3)
    for place, quantity in enumerate(QUANTITIES):
        present = log.columns[quantity].header if quantity in log.columns else NONE
        chosen = places[place % 3].selectbox(
            f"Column of the {words_of(quantity)}",
            [NONE, *titles],
            index=[NONE, *titles].index(present),
            key=f"answer_column_{quantity}",
        )
        said = state.columns().get(quantity)
        if chosen not in (NONE, present) or said == chosen:
            answers[quantity] = str(chosen)
    return answers


def _units(log: Log, said: dict[str, str]) -> dict[str, str]:
    answers = dict(said)
    places = st.columns(3)
    for place, quantity in enumerate(q for q in log.columns if q != "tower"):
        kind = "temperature" if quantity.endswith("temperature") else "flow" if quantity.endswith("flow") else quantity
        options = [UNSAID, *dict.fromkeys([*([said[quantity]] if quantity in said else []), *UNITS[kind]])]
        chosen = places[place % 3].selectbox(
            f"Unit of the {words_of(quantity)}",
            options,
            index=options.index(said[quantity]) if quantity in said else 0,
            key=f"answer_unit_{quantity}",
            help=f"Read as {log.columns[quantity].unit}.",
        )
        if chosen == UNSAID:
            answers.pop(quantity, None)
        else:
            answers[quantity] = str(chosen)
    return answers


def _plant_answers(tables: dict[str, Any]) -> tuple[dict[str, Any], str]:
    new = {name: dict(values) if isinstance(values, dict) else values for name, values in tables.items()}
    site, reader, instrument = (new.setdefault(name, {}) for name in ("site", "log", "measurement"))
    left, middle, right = st.columns(3)
    with left:
        _choose(site, "timezone", "Time zone of the stamps", {UNSAID: None} | {name: name for name in _zones()})
        _choose(reader, "day_first", "Order of day and month", DAYS)
    with middle:
        _choose(instrument, "basis", "The dew point refers to", BASES)
        _choose(reader, "decimal", "Decimal mark", DECIMALS)
    with right:
        _choose(instrument, "over", "Below 0 °C it is over", PHASES)
        title = st.text_input(
            "Column of the time, if another",
            value=state.columns().get("time", ""),
            key="answer_time",
            help="Its title as it stands in the file.",
        )
    return new, title.strip()


def _choose(table: dict[str, Any], name: str, label: str, options: dict[str, Any], form: str = "answer") -> None:
    values = list(options.values())
    held = table.get(name)
    index = values.index(held) if held in values else 0
    chosen = options[st.selectbox(label, list(options), index=index, key=f"{form}_{name}")]
    if chosen is None or (name not in table and index == 0 and chosen == values[0]):
        table.pop(name, None)
    else:
        table[name] = chosen


@cache
def _zones() -> list[str]:
    return sorted(available_timezones())


def show_aside(diagnosis: Diagnosis) -> None:
    """Stretches set aside, each to be taken back, and a form to set more aside."""
    log, exclusions = diagnosis.screened.log, diagnosis.screened.exclusions
    st.subheader("Set aside as not the dryer's air")
    if not exclusions:
        st.text("Nothing was set aside.")
    else:
        st.caption("Hatched in the curve; untick a stretch to use its readings after all. A gap holds no readings.")
        table = pd.DataFrame(
            {
                "set aside": True,
                "from": [say_time(e.start_s, log.timezone) for e in exclusions],
                "to": [say_time(e.end_s, log.timezone) for e in exclusions],
                "reason": [words_of(e.reason) for e in exclusions],
            }
        )
        edited = st.data_editor(
            table, hide_index=True, disabled=["from", "to", "reason"], key=f"aside_{state.corrections_text()}"
        )
        back = [e for e, kept in zip(exclusions, edited["set aside"], strict=True) if not kept and e.reason != "gap"]
        if back:
            state.keep_corrections([*state.corrections(), *((e.start_s, e.end_s, None) for e in back)])
            st.rerun()
    _set_aside_more(log)
    if state.corrections() and st.button("Undo all changes by hand", key="undo_corrections"):
        state.keep_corrections([])
        st.rerun()


def _set_aside_more(log: Log) -> None:
    zone = zone_of(log.timezone) or dt.UTC
    first, last = (dt.datetime.fromtimestamp(t, zone).replace(tzinfo=None) for t in (log.time_s[0], log.time_s[-1]))
    with st.expander("Set another stretch aside"), st.form("aside_more"):
        left, middle, right = st.columns(3)
        start = left.datetime_input("From", first, min_value=first, max_value=last, step=60, key="aside_from")
        end = middle.datetime_input("To", first, min_value=first, max_value=last, step=60, key="aside_to")
        reason = right.selectbox("Because", REASONS, format_func=words_of, key="aside_reason")
        if st.form_submit_button("Set aside") and start is not None and end is not None:
            begin, finish = (moment.replace(tzinfo=zone).timestamp() for moment in (start, end))
            if finish <= begin:
                state.keep_trouble("The stretch ends before it starts; exchange its two times.")
            else:
                state.keep_trouble("")
                state.keep_corrections([*state.corrections(), (begin, finish, str(reason))])
            st.rerun()
