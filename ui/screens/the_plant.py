"""The plant: nameplate, operation, instrument, compressor, prices; load and save."""

import streamlit as st
import tomli_w

from diagnostics.errors import UserError
from diagnostics.plant import plant_from
from diagnostics.report.setting_names import turned_setting
from ui import gate, plant_form, state
from ui.number_field import written
from ui.words import show_sentence

st.title("The plant")
st.caption(
    "What is left open is assumed from the dryer's type; the grey words say what. Rated flow, half-cycle, purge share"
    " and prices tell the most."
)
display = state.display()
tables = state.plant_tables()


def _loaded() -> None:
    chosen = st.session_state["plant_upload"]
    if chosen is not None:
        gate.take_plant(chosen.getvalue(), chosen.name)


def _use(wanted: dict[str, object]) -> None:
    state.keep_trouble("")
    state.keep_plant(wanted)


def said(value: object) -> str:
    """What is assumed, as it would be typed."""
    return written(float(value), display) if isinstance(value, int | float) else str(value)


if state.trouble():
    show_sentence(state.trouble())
assumed = {item.key: said(turned_setting(item.key, item.value, display)) for item in plant_from(tables).assumptions}
wanted, places, trouble = plant_form.wanted_tables(state.draft(), assumed, display)
state.keep_draft(wanted)
if not trouble:
    try:
        plant_from(wanted)
    except UserError as error:
        trouble = str(error)
plant_form.show_trouble(trouble, places, display)
left, right = st.columns([1, 3], vertical_alignment="center")
changed = plant_form.differ(wanted, plant_form.only_given(tables))
left.button(
    "Use these settings",
    icon=":material/check:",
    on_click=_use,
    args=(wanted,),
    disabled=bool(trouble),
    key="plant_use",
)
right.caption("Changed, not used yet." if changed else "These settings are in use.")

left, right = st.columns(2)
left.file_uploader("Load a plant file (TOML)", key="plant_upload", on_change=_loaded)
right.download_button(
    "Save as plant file",
    tomli_w.dumps(plant_form.toml_ready(wanted)),
    "plant.toml",
    "application/toml",
    key="plant_save",
    on_click="ignore",
    icon=":material/download:",
)
