"""The log: upload, see what was read and what was set aside."""

import streamlit as st

from diagnostics.report import charts
from diagnostics.report.summary import log_line
from ui import gate, state

st.title("The log")


def _taken() -> None:
    chosen = st.session_state["log_files"]
    if chosen:
        gate.take_files(tuple((file.name, file.getvalue()) for file in chosen))


def _plant_taken() -> None:
    chosen = st.session_state["plant_file"]
    if chosen is not None:
        gate.take_plant(chosen.getvalue(), chosen.name)


left, right = st.columns(2)
left.file_uploader(
    "Dew point log: one file or several of one dryer",
    accept_multiple_files=True,
    key="log_files",
    on_change=_taken,
    help="CSV, text, spreadsheet, Parquet; any delimiter, decimal mark and date style.",
)
right.file_uploader(
    "Plant file, if you have one (TOML)", key="plant_file", on_change=_plant_taken, help="Nameplate, operation, prices."
)
if state.trouble():
    gate.show_sentence(state.trouble())
if not state.files():
    st.write(
        "Upload the file of a dew point logger at the outlet of a twin-tower desiccant dryer. The curve is drawn at"
        " once; with a few nameplate figures the diagnosis tells cost and savings as well."
    )
    gate.offer_invented()
    st.stop()

diagnosis = gate.diagnosis_or_stop()
st.caption(log_line(diagnosis))
st.altair_chart(charts.curve_chart(diagnosis, width="container", height=340).interactive(bind_y=False), width="stretch")

columns = diagnosis.screened.log.columns
st.subheader("What was read")
st.dataframe(
    {
        "quantity": [quantity.replace("_", " ") for quantity in columns],
        "column": [column.header for column in columns.values()],
        "unit": [column.unit for column in columns.values()],
    },
    hide_index=True,
)
if diagnosis.screened.exclusions:
    st.subheader("Set aside as not the dryer's air")
    spans = charts.span_table(diagnosis)
    st.dataframe(spans[spans["what"].str.startswith("set aside")], hide_index=True)
