"""What a visit remembers: plain values only, each read and written through here.

Results are never kept; they come from the cache and are made again from what is kept. A widget's own value is dropped
once its page is left; those whose key begins with ``hold_`` are written back at each run and so outlive the page.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from typing import Any, cast

import streamlit as st

from diagnostics.report.figures import METRIC, US, Display

Files = tuple[tuple[str, bytes], ...]
Correction = tuple[float, float, str | None]
Wanted = tuple[Files, str, str, str]
"""Files to be read, their digest, answers about columns and plant settings, both as canonical JSON."""

HOLD = "hold_"
_FILES, _DIGEST, _PLANT, _COLUMNS, _TROUBLE = "kept_files", "kept_digest", "kept_plant", "kept_columns", "kept_trouble"
_WHAT_IF, _CORRECTIONS, _ATTEMPT, _HALTED = "kept_what_if", "kept_corrections", "kept_attempt", "kept_halted"
_PLANT_TURN, _REFUSED, _DRAFT = "kept_plant_turn", "kept_refused", "kept_draft"
_WANTED = "kept_wanted"
_UNITS, _NUMBERS = f"{HOLD}units", f"{HOLD}numbers"
UNITS = {"°C, bar, m³/min": METRIC, "°F, psi, cfm": US}
NUMBERS = {"1,234.5": (",", "."), "1.234,5": (".", ","), "1 234,5": ("\u202f", ","), "1234.5": ("", ".")}


def opening() -> None:
    """Lay out an empty visit once and keep the held widgets alive on every page."""
    start: dict[str, Any] = {_FILES: (), _DIGEST: "", _PLANT: "{}", _COLUMNS: "{}", _TROUBLE: ""}
    start |= {_WHAT_IF: "{}", _CORRECTIONS: "[]", _ATTEMPT: 0, _HALTED: False, _PLANT_TURN: 0, _REFUSED: (), _DRAFT: ""}
    start |= {_WANTED: None}
    start |= {_UNITS: next(iter(UNITS)), _NUMBERS: next(iter(NUMBERS))}
    for key, value in start.items():
        st.session_state.setdefault(key, value)
    for key in list(st.session_state):
        if str(key).startswith(HOLD):
            st.session_state[key] = st.session_state[key]


def files() -> Files:
    """Uploaded logs as (name, content)."""
    return cast(Files, st.session_state[_FILES])


def digest() -> str:
    """Digest of the uploaded logs, names included."""
    return cast(str, st.session_state[_DIGEST])


def digest_of(new: Files) -> str:
    """Digest that tells one set of logs from another."""
    whole = hashlib.sha256()
    for name, content in new:
        whole.update(f"{name}\0{len(content)}\0".encode())
        whole.update(content)
    return whole.hexdigest()


def keep_files(new: Files) -> None:
    """Replace the logs; answers about the columns and stretches of the former ones no longer hold."""
    st.session_state[_COLUMNS] = "{}"
    st.session_state[_CORRECTIONS] = "[]"
    st.session_state[_REFUSED] = ()
    _anew()
    st.session_state[_FILES] = new
    st.session_state[_DIGEST] = digest_of(new)


def wanted() -> Wanted | None:
    """What the visitor wants read and has not got yet."""
    return cast("Wanted | None", st.session_state[_WANTED])


def want(new: Files, columns: dict[str, str], plant: str) -> None:
    """Remember what is to be read next; what is kept now stays until that is done."""
    st.session_state[_WANTED] = (new, digest_of(new), json.dumps(columns, sort_keys=True), plant)


def want_no_more() -> None:
    """Nothing is to be read."""
    st.session_state[_WANTED] = None


def refused() -> Files:
    """Logs that could not be read as they are, until others are taken."""
    return cast(Files, st.session_state[_REFUSED])


def keep_refused(new: Files) -> None:
    """Remember logs that could not be read, so that their columns can be named."""
    st.session_state[_REFUSED] = new


def plant_tables() -> dict[str, Any]:
    """Plant settings as the tables of a plant file."""
    return cast("dict[str, Any]", json.loads(st.session_state[_PLANT]))


def plant_text() -> str:
    """Plant settings as canonical JSON, fit as a cache key."""
    return cast(str, st.session_state[_PLANT])


def plant_turn() -> int:
    """How often the plant settings were replaced, so that a form can be drawn afresh."""
    return cast(int, st.session_state[_PLANT_TURN])


def keep_plant(tables: dict[str, Any]) -> None:
    """Replace the plant settings; the tables must have been checked before."""
    st.session_state[_PLANT_TURN] += 1
    st.session_state[_DRAFT] = ""
    keep_what_if({})
    _anew()
    st.session_state[_PLANT] = json.dumps(tables, sort_keys=True, default=str)


def draft() -> dict[str, Any]:
    """Plant settings as they stand in the fields, used or not, in the plant file's units."""
    return cast("dict[str, Any]", json.loads(st.session_state[_DRAFT] or st.session_state[_PLANT]))


def keep_draft(tables: dict[str, Any]) -> None:
    """Remember what stands in the fields, so that a change of units turns it instead of dropping it."""
    st.session_state[_DRAFT] = json.dumps(tables, sort_keys=True, default=str)


def columns() -> dict[str, str]:
    """Which column holds which quantity, as the visitor answered."""
    return cast("dict[str, str]", json.loads(st.session_state[_COLUMNS]))


def columns_text() -> str:
    """The visitor's answers about columns as canonical JSON, fit as a cache key."""
    return cast(str, st.session_state[_COLUMNS])


def keep_columns(answers: dict[str, str]) -> None:
    """Replace the visitor's answers about columns."""
    st.session_state[_COLUMNS] = json.dumps(answers, sort_keys=True)
    _anew()


def corrections() -> list[Correction]:
    """Stretches that the visitor set aside or took back: start, end [epoch s], reason or None."""
    return [cast(Correction, tuple(row)) for row in json.loads(st.session_state[_CORRECTIONS])]


def corrections_text() -> str:
    """The visitor's corrections as canonical JSON, fit as a cache key."""
    return cast(str, st.session_state[_CORRECTIONS])


def keep_corrections(rows: list[Correction]) -> None:
    """Replace the visitor's corrections."""
    st.session_state[_CORRECTIONS] = json.dumps(rows)
    _anew()


def what_if() -> dict[str, float]:
    """Settings tried under What if, in the plant file's units."""
    return cast("dict[str, float]", json.loads(st.session_state[_WHAT_IF]))


def keep_what_if(settings: dict[str, float]) -> None:
    """Remember the settings tried."""
    st.session_state[_WHAT_IF] = json.dumps(settings, sort_keys=True)
    for key in [name for name in st.session_state if str(name).startswith("try_")]:
        del st.session_state[key]


def try_setting(key: str, value: float) -> None:
    """Remember one setting tried, without disturbing the widgets of the others."""
    st.session_state[_WHAT_IF] = json.dumps(what_if() | {key: value}, sort_keys=True)


def trouble() -> str:
    """Sentence about the last input that was refused, empty if none."""
    return cast(str, st.session_state[_TROUBLE])


def keep_trouble(sentence: str) -> None:
    """Remember a refusal until the next input."""
    st.session_state[_TROUBLE] = sentence


def halted() -> bool:
    """Whether the visitor stopped the diagnosis of what is kept now."""
    return cast(bool, st.session_state[_HALTED])


def halt() -> None:
    """Stop the diagnosis until the visitor wants it again."""
    st.session_state[_HALTED] = True


def attempt() -> int:
    """Which try at the diagnosis this is; a stopped one is not taken up again."""
    return cast(int, st.session_state[_ATTEMPT])


def try_again() -> None:
    """Diagnose anew after a stop."""
    st.session_state[_HALTED] = False
    st.session_state[_ATTEMPT] += 1


def display() -> Display:
    """Units and number format chosen in the sidebar."""
    group, decimal = NUMBERS[st.session_state[_NUMBERS]]
    return replace(UNITS[st.session_state[_UNITS]], group=group, decimal=decimal)


def choose_display() -> None:
    """Draw the two choices; what is chosen holds on every page."""
    st.selectbox("Units", list(UNITS), key=_UNITS)
    st.selectbox("Numbers", list(NUMBERS), key=_NUMBERS)


def key() -> tuple[str, ...]:
    """What the diagnosis depends on, fit as a cache key."""
    return (digest(), plant_text(), columns_text(), corrections_text())


def _anew() -> None:
    st.session_state[_HALTED] = False
