"""The plant: nameplate, operation, instrument, compressor, prices; load and save."""

import streamlit as st
import tomli_w

from diagnostics.errors import UserError
from diagnostics.plant import plant_from
from ui import gate, plant_form, state

st.title("The plant")
st.caption(
    "What is left open is assumed from the dryer's type; the report lists every assumption. Rated flow, half-cycle,"
    " purge share and prices tell the most."
)
display = state.display()
tables = state.plant_tables()
assumed = {item.key: f"{item.value}" for item in plant_from(tables).assumptions}


def _loaded() -> None:
    chosen = st.session_state["plant_upload"]
    if chosen is not None:
        gate.take_plant(chosen.getvalue(), chosen.name)


trouble = state.trouble()
if trouble:
    gate.show_sentence(trouble)

new = {name: dict(values) if isinstance(values, dict) else values for name, values in tables.items()}
with st.form("plant_form", border=False):
    for tab, (table, (_, model)) in zip(
        st.tabs([title for title, _ in plant_form.TABLES.values()]), plant_form.TABLES.items(), strict=True
    ):
        with tab:
            if table == "compressor" and "compressors" in tables:
                st.caption("A pool of compressors is given in the plant file; change it there.")
                continue
            held = tables.get(table, {})
            columns = st.columns(3)
            kept = {}
            for place, (name, info) in enumerate(model.model_fields.items()):
                if name == "tariff":
                    if "tariff" in held:
                        kept["tariff"] = held["tariff"]
                    continue
                with columns[place % 3]:
                    value = plant_form.field_of(
                        table, name, info, held.get(name), display, assumed.get(f"{table}.{name}", "not given")
                    )
                    plant_form.trouble_at(trouble, f"{table}.{name}")
                if value is not None:
                    kept[name] = value
            new[table] = kept
    sent = st.form_submit_button("Use these settings", type="primary")
if sent:
    wanted = {name: values for name, values in new.items() if values}
    try:
        plant_from(wanted)
    except UserError as error:
        state.keep_trouble(str(error))
    else:
        state.keep_trouble("")
        state.keep_plant(wanted)
    st.rerun()

left, right = st.columns(2)
left.file_uploader("Load a plant file (TOML)", key="plant_upload", on_change=_loaded)
right.download_button(
    "Save as plant file", tomli_w.dumps(gate.toml_ready(tables)), "plant.toml", "application/toml", key="plant_save"
)
