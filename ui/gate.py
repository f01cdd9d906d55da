"""What every screen needs first: the visitor's diagnosis, or a way to one."""

from __future__ import annotations

import datetime as dt
import json
import re
import tomllib
from typing import Any

import pandas as pd
import streamlit as st

from diagnostics.diagnosis import Diagnosis
from diagnostics.errors import UserError
from diagnostics.plant import Plant, plant_from
from ui import cached, state


def diagnosis_or_stop() -> Diagnosis:
    """Diagnosis of the visit; where there is none, the screen says how to get one and ends."""
    if not state.files():
        st.info("No log yet. Upload one under **The log**, or look at an invented plant.")
        offer_invented()
        st.stop()
    try:
        return cached.diagnosis_of(state.files(), state.plant_text(), state.columns_text())
    except UserError as error:
        show_sentence(str(error))
        st.stop()
    raise AssertionError("st.stop ends the run")


def take_files(new: tuple[tuple[str, bytes], ...]) -> None:
    """Take uploaded logs if they can be read; otherwise say why and keep what was there."""
    try:
        cached.log_of(new, state.plant_text(), "{}")
    except UserError as error:
        state.keep_trouble(str(error))
        return
    state.keep_trouble("")
    state.keep_files(new)


def take_plant(text: bytes | str, name: str) -> None:
    """Take a plant file if it is sound; otherwise say why and keep what was there."""
    try:
        words = text.decode("utf-8-sig") if isinstance(text, bytes) else text
        tables = tomllib.loads(words)
        plant_from(json.loads(json.dumps(tables, default=str)), source=name)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        state.keep_trouble(f"{name}: not valid TOML, {error}; text values need quotation marks.")
        return
    except UserError as error:
        state.keep_trouble(str(error))
        return
    state.keep_trouble("")
    state.keep_plant(tables)


def offer_invented() -> None:
    """Button that loads an invented plant."""
    if st.button("Look at an invented plant", type="primary", key="invented"):
        text, log = cached.invented()
        take_plant(text, "the invented plant")
        take_files((("invented plant.csv", log),))
        st.rerun()


def plain(text: str) -> str:
    """Text with every sign that markdown would act on made harmless."""
    return re.sub(r"([\\`*_{}\[\]()#+!|<>$~:])", r"\\\1", text)


def show_table(columns: dict[str, list[str]]) -> None:
    """Small table as text that can be read, copied and reached by keyboard; the first column names the row."""
    frame = pd.DataFrame({title: [plain(cell) for cell in cells] for title, cells in columns.items()})
    st.table(frame.set_index(frame.columns[0]))


def toml_ready(tables: dict[str, Any]) -> dict[str, Any]:
    """Plant tables with dates as dates again, as a plant file writes them."""
    ready = {name: dict(values) if isinstance(values, dict) else values for name, values in tables.items()}
    calibrated = ready.get("measurement", {}).get("calibrated_on")
    if isinstance(calibrated, str):
        ready["measurement"]["calibrated_on"] = dt.date.fromisoformat(calibrated)
    return ready


def differs(plant: Plant, key: str, value: float) -> bool:
    """Whether a setting tried differs from the plant's own."""
    table, name = key.split(".")
    own = getattr(getattr(plant, table), name)
    return own is None or abs(value - own) > 1e-9 * max(1.0, abs(own))


def show_sentence(sentence: str) -> None:
    """Show a refusal as plain text: nothing from a file is ever run as markup."""
    with st.container(border=True):
        st.markdown(":material/error: **This cannot be used:**")
        st.text(sentence)
