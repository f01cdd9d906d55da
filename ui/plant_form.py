"""Fields of the plant settings, made from the same model that checks the plant file."""

from __future__ import annotations

import datetime as dt
import re
from functools import partial
from typing import Any, get_args, get_origin

import streamlit as st
from pydantic.fields import FieldInfo
from streamlit.delta_generator import DeltaGenerator

from diagnostics.report.figures import Display
from diagnostics.report.setting_names import MODELS, label_of, named, spaced, title_of, turns
from diagnostics.report.spoken_units import speak
from ui import state
from ui.number_field import read_number, written
from ui.words import plain

TABLES = {name: (title_of(name), model) for name, model in MODELS.items()}
UNSET = "not given"


def field_of(table: str, name: str, info: FieldInfo, present: Any, display: Display, assumed: str) -> Any:
    """Draw one field and return its value in the plant file's units, None where nothing is given.

    Parameters
    ----------
    table, name : str
    info : FieldInfo
        From the plant file's model: type, range, description.
    present : object
        Value in force, None if not given.
    display : Display
        Units to show.
    assumed : str
        What is taken while nothing is given, for the placeholder.

    Raises
    ------
    ValueError
        If what stands in a field for a number is none.
    """
    key = f"{state.HOLD}plant_{state.plant_turn()}_{table}_{name}_{_format_of(display)}"
    label = label_of(name, display)
    hint = f"{info.description}.{_range_of(info, name, display)} Key in the plant file: {table}.{name}"
    choices = _choices(info)
    if choices:
        options = [UNSET, *choices]
        st.session_state.setdefault(key, present if present in options else UNSET)
        chosen = st.selectbox(
            label,
            options,
            format_func=partial(_choice, assumed=assumed),
            help=hint,
            key=key,
        )
        return None if chosen == UNSET else chosen
    if _holds(info, dt.date):
        st.session_state.setdefault(key, _date(present))
        return st.date_input(label, value=None, help=hint, key=key)
    if _holds(info, float) or _holds(info, int):
        if isinstance(present, list):
            st.caption(f"{label}: a table in the plant file; change it there.")
            return present
        to_shown, to_kept = turns(name, display)
        st.session_state.setdefault(key, written(None if present is None else to_shown(float(present)), display))
        shown = read_number(st.text_input(label, placeholder=assumed, help=hint, key=key), display)
        if shown is None:
            return None
        kept = to_kept(shown)
        return int(kept) if _holds(info, int) and not _holds(info, float) else kept
    st.session_state.setdefault(key, present or "")
    text = st.text_input(label, placeholder=assumed, help=hint, key=key)
    return text.strip() or None


def _format_of(display: Display) -> str:
    """What a field's text depends on; the underscore keeps one format's end from being another's."""
    return f"{display.temperature}{display.decimal}"


def _choice(option: object, assumed: str) -> str:
    told = option == UNSET and assumed != UNSET
    return f"{UNSET}: {assumed} is taken" if told else spaced(option)


def _range_of(info: FieldInfo, name: str, display: Display) -> str:
    """The range that the plant file's model allows, in words."""
    constraints = [
        *info.metadata,
        *(c for p in _parts(info.annotation) if isinstance(p, FieldInfo) for c in p.metadata),
    ]
    bounds = {
        kind: float(getattr(constraint, kind))
        for constraint in constraints
        for kind in ("ge", "gt", "le", "lt")
        if getattr(constraint, kind, None) is not None
    }
    to_shown, _ = turns(name, display)
    say = {"ge": "from", "gt": "above", "le": "to", "lt": "below"}
    words = [f"{say[kind]} {to_shown(bound):g}" for kind, bound in bounds.items()]
    return f" Allowed: {' '.join(words)}." if words else ""


def spoken(text: str, display: Display) -> str:
    """Sentence of the engine in the reader's units, with the plant file's keys called by the names of their fields."""
    return speak(named(text, display), display)


def _parts(annotation: Any) -> list[Any]:
    found = [annotation]
    for part in get_args(annotation):
        found += _parts(part)
    return found


def _choices(info: FieldInfo) -> list[Any]:
    from typing import Literal

    for part in _parts(info.annotation):
        if get_origin(part) is Literal:
            return list(get_args(part))
    return []


def _holds(info: FieldInfo, kind: type) -> bool:
    return kind in _parts(info.annotation)


def _date(present: Any) -> dt.date | None:
    if isinstance(present, str):
        return dt.date.fromisoformat(present)
    return present if isinstance(present, dt.date) else None


def wanted_tables(
    tables: dict[str, Any], assumed: dict[str, str], display: Display
) -> tuple[dict[str, Any], dict[str, DeltaGenerator], str]:
    """Draw every field, one tab a table.

    Returns the tables as they would be with what stands in the fields, the place for a message under each field, and
    a sentence on the first field whose number cannot be read, empty if there is none.
    """
    _drop_fields_in_other_units(display)
    places: dict[str, DeltaGenerator] = {}
    unreadable = ""
    new = {name: values for name, values in tables.items() if name not in TABLES}
    for tab, (table, (_, model)) in zip(st.tabs([title for title, _ in TABLES.values()]), TABLES.items(), strict=True):
        with tab:
            if table == "compressor" and "compressors" in tables:
                st.caption("A pool of compressors is given in the plant file; change it there.")
                continue
            held = tables.get(table, {})
            kept = {name: value for name, value in held.items() if name == "tariff"}
            columns = st.columns(3)
            fields = [(name, info) for name, info in model.model_fields.items() if name != "tariff"]
            for at, (name, info) in enumerate(fields):
                with columns[at % 3]:
                    stands_in = assumed.get(f"{table}.{name}", UNSET)
                    try:
                        value = field_of(table, name, info, held.get(name), display, stands_in)
                    except ValueError as error:
                        value = held.get(name)
                        unreadable = unreadable or f"the fields: {table}.{name}, {error}"
                    places[f"{table}.{name}"] = st.empty()
                if value is not None:
                    kept[name] = value.isoformat() if isinstance(value, dt.date) else value
            if kept:
                new[table] = kept
    return new, places, unreadable


def _drop_fields_in_other_units(display: Display) -> None:
    """Forget fields drawn in other units: what stood in them comes back from the draft, turned."""
    for key in [str(name) for name in st.session_state]:
        if key.startswith(f"{state.HOLD}plant_") and not key.endswith(f"_{_format_of(display)}"):
            del st.session_state[key]


def show_trouble(sentence: str, places: dict[str, DeltaGenerator], display: Display) -> None:
    """Show a refusal under every field that it names, and in full where the settings are taken."""
    told = f":red[:material/error: {plain(spoken(sentence.split(': ', 1)[-1], display))}]"
    for key, place in places.items():
        if re.search(rf"\b{re.escape(key)}\b", sentence):
            place.markdown(told)
    if sentence:
        st.markdown(told)


def only_given(tables: dict[str, Any]) -> dict[str, Any]:
    """Tables without empty ones, to be compared with what stands in the fields."""
    return {name: values for name, values in tables.items() if values or name not in TABLES}


def differ(wanted: dict[str, Any], held: dict[str, Any]) -> bool:
    """Whether two sets of tables differ by more than a change of units and back rounds off."""
    if wanted.keys() != held.keys():
        return True
    return any(_differ(wanted[name], held[name]) for name in wanted)


def _differ(one: Any, other: Any) -> bool:
    if isinstance(one, dict) and isinstance(other, dict):
        return differ(one, other)
    numbers = all(isinstance(x, int | float) and not isinstance(x, bool) for x in (one, other))
    return abs(one - other) > 1e-5 * max(1.0, abs(other)) if numbers else one != other


def toml_ready(tables: dict[str, Any]) -> dict[str, Any]:
    """Plant tables with dates as dates again, as a plant file writes them."""
    ready = {name: dict(values) if isinstance(values, dict) else values for name, values in tables.items()}
    calibrated = ready.get("measurement", {}).get("calibrated_on")
    if isinstance(calibrated, str):
        ready["measurement"]["calibrated_on"] = dt.date.fromisoformat(calibrated)
    return ready
