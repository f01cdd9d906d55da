"""The log: upload, see the curve, see what was read and mend what was guessed."""

import streamlit as st

from diagnostics.report import charts
from diagnostics.report.summary import log_line
from ui import gate, log_answers, log_window, state
from ui.words import plain, show_sentence

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
    help="CSV or other text, workbook (.xlsx, .xls, .ods) or Parquet, plain or in a gzip or zip; any delimiter,"
    " decimal mark and date style. The limit for one file stands in the box.",
)
right.file_uploader(
    "Plant file, if you have one (TOML)",
    key="plant_file",
    on_change=_plant_taken,
    help="Nameplate, operation, prices. Without one, fill in what you know under The plant.",
)
gate.settle()
if state.trouble():
    show_sentence(state.trouble())
    if state.refused():
        log_answers.name_columns()
if not state.files():
    st.write(
        "Upload the file of a dew point logger at the outlet of a twin-tower desiccant dryer: a time and a dew point"
        " are enough, a day or two at a reading a minute is good. The curve is drawn at once; with a few nameplate"
        " figures the diagnosis tells cost and savings as well."
    )
    gate.offer_invented()
    st.write("No log yet and a dryer to measure? **Before measuring** says where, how often and how long.")
    st.stop()

log = gate.log_or_stop()
display = state.display()
st.caption(plain(f"In use: {log.source}"))
caption, curve = st.empty(), st.empty()
caption.text(f"{display.number(log.samples, decimals=0)} readings")
if not gate.is_diagnosed():
    curve.altair_chart(charts.bare_curve(log, display=display), width="stretch")
diagnosis = gate.diagnosis_or_none()
if diagnosis is not None:
    caption.text(log_line(diagnosis, display))
    with curve.container():
        log_window.show(diagnosis, display)
log_answers.show_read(log)
log_answers.ask(log)
if diagnosis is not None:
    log_answers.show_aside(diagnosis)
