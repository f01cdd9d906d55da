"""Report and downloads."""

import importlib.util
import re
from functools import partial

import streamlit as st
import tomli_w

from diagnostics.report.content import verdict
from ui import cached, gate, plant_form, state

WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
REPORTS = [
    ("Report (HTML)", ".html", "report.html", "text/html", "Opens offline in any browser and prints well."),
    ("Report (PDF)", ".pdf", "report.pdf", "application/pdf", "The same on paper."),
]
TABLES = [
    ("Workbook", ".xlsx", "diagnosis.xlsx", WORKBOOK, "All tables and the derivation of every figure."),
    ("Half-cycles (CSV)", "half-cycles", "half-cycles.csv", "text/csv", "One row a half-cycle."),
    ("Findings (CSV)", "findings", "findings.csv", "text/csv", "One row a finding."),
    ("Screened log (Parquet)", ".parquet", "log.parquet", "application/octet-stream", "Every reading, used or not."),
    ("Diagnosis (JSON)", ".json", "diagnosis.json", "application/json", "For other programs."),
]

st.title("Report")
diagnosis = gate.diagnosis_or_stop("With one, this page hands out the report, the tables and the figures to take away.")
display = state.display()
st.text(verdict(diagnosis, display))
name = re.sub(r"\W+", "-", diagnosis.plant.site.name or "dryer").strip("-").lower() or "dryer"


def offer(rows: list[tuple[str, str, str, str, str]]) -> None:
    """One button a file, made when it is wanted, with a word on what it is for."""
    for label, kind, file_name, mime, use in rows:
        button, words = st.columns([1, 2], vertical_alignment="center")
        button.download_button(
            label,
            partial(cached.report_of, state.key(), kind, display, diagnosis),
            f"{name}-{file_name}",
            mime,
            key=f"get_{kind}",
            on_click="ignore",
            width="stretch",
            icon=":material/download:",
        )
        words.caption(use)


st.subheader("To read and hand on")
offer(REPORTS if importlib.util.find_spec("typst") else REPORTS[:1])
if not importlib.util.find_spec("typst"):
    st.caption("This installation cannot make the PDF; print the HTML instead.")
st.subheader("To work with")
offer(TABLES)
button, words = st.columns([1, 2], vertical_alignment="center")
button.download_button(
    "Plant file (TOML)",
    tomli_w.dumps(plant_form.toml_ready(state.plant_tables())),
    f"{name}-plant.toml",
    "application/toml",
    key="get_plant",
    on_click="ignore",
    width="stretch",
    icon=":material/download:",
)
words.caption("The settings as they stand, to load again next time.")
st.caption("Files are made when asked for and kept nowhere.")
