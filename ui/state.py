"""What a visit remembers: plain values only, each read and written through here.

Results are never kept; they come from the cache and are made again from what is kept. A widget's own value is dropped
once its page is left, so each is copied to a kept key.
"""

from __future__ import annotations

import json
from typing import Any, cast

import streamlit as st

from diagnostics.report.figures import METRIC, US, Display

Files = tuple[tuple[str, bytes], ...]

_FILES, _PLANT, _COLUMNS, _TROUBLE = "kept_files", "kept_plant", "kept_columns", "kept_trouble"
_UNITS, _NUMBERS, _WHAT_IF = "kept_units", "kept_numbers", "kept_what_if"
UNITS = {"°C, bar, m³/min": METRIC, "°F, psi, cfm": US}
NUMBERS = {"1,234.5": (",", "."), "1.234,5": (".", ","), "1 234,5": ("\u202f", ","), "1234.5": ("", ".")}


def opening() -> None:
    """Lay out an empty visit once."""
    start = {_FILES: (), _PLANT: "{}", _COLUMNS: "{}", _TROUBLE: "", _WHAT_IF: "{}"}
    for key, value in (start | {_UNITS: next(iter(UNITS)), _NUMBERS: next(iter(NUMBERS))}).items():
        st.session_state.setdefault(key, value)


def files() -> Files:
    """Uploaded logs as (name, content)."""
    return cast(Files, st.session_state[_FILES])


def keep_files(new: Files) -> None:
    """Replace the logs; answers about the columns of the former ones no longer hold."""
    st.session_state[_FILES] = new
    st.session_state[_COLUMNS] = "{}"


def plant_tables() -> dict[str, Any]:
    """Plant settings as the tables of a plant file."""
    return cast("dict[str, Any]", json.loads(st.session_state[_PLANT]))


def plant_text() -> str:
    """Plant settings as canonical JSON, fit as a cache key."""
    return cast(str, st.session_state[_PLANT])


def keep_plant(tables: dict[str, Any]) -> None:
    """Replace the plant settings; the tables must have been checked before."""
    st.session_state[_PLANT] = json.dumps(tables, sort_keys=True, default=str)
    st.session_state[_WHAT_IF] = "{}"


def columns() -> dict[str, str]:
    """Which column holds which quantity, as the visitor answered."""
    return cast("dict[str, str]", json.loads(st.session_state[_COLUMNS]))


def columns_text() -> str:
    """The visitor's answers about columns as canonical JSON, fit as a cache key."""
    return cast(str, st.session_state[_COLUMNS])


def keep_columns(answers: dict[str, str]) -> None:
    """Replace the visitor's answers about columns."""
    st.session_state[_COLUMNS] = json.dumps(answers, sort_keys=True)


def what_if() -> dict[str, Any]:
    """Settings tried under What if."""
    return cast("dict[str, Any]", json.loads(st.session_state[_WHAT_IF]))


def keep_what_if(settings: dict[str, Any]) -> None:
    """Remember the settings tried."""
    st.session_state[_WHAT_IF] = json.dumps(settings, sort_keys=True)


def trouble() -> str:
    """Sentence about the last input that was refused, empty if none."""
    return cast(str, st.session_state[_TROUBLE])


def keep_trouble(sentence: str) -> None:
    """Remember a refusal until the next input."""
    st.session_state[_TROUBLE] = sentence


def display() -> Display:
    """Units and number format chosen in the sidebar."""
    from dataclasses import replace

    group, decimal = NUMBERS[st.session_state[_NUMBERS]]
    return replace(UNITS[st.session_state[_UNITS]], group=group, decimal=decimal)


def choose_display() -> None:
    """Draw the two choices; what is chosen holds on every page."""
    for kept, label, options in ((_UNITS, "Units", UNITS), (_NUMBERS, "Numbers", NUMBERS)):
        names = list(options)
        widget = f"choice_{kept}"
        st.selectbox(
            label,
            names,
            index=names.index(st.session_state[kept]),
            key=widget,
            on_change=_keep,
            args=(kept, widget),
        )


def _keep(kept: str, widget: str) -> None:
    st.session_state[kept] = st.session_state[widget]
