"""Report and downloads."""

import streamlit as st

from diagnostics.report.document import document_text
from diagnostics.report.tables import findings_csv, half_cycles_csv
from ui import cached, gate, state

st.title("Report")
diagnosis = gate.diagnosis_or_stop()
keys = (state.files(), state.plant_text(), state.columns_text())
st.download_button("Report (HTML)", cached.report_of(*keys, ".html"), "report.html", "text/html", key="get_html")
st.download_button(
    "Report (PDF)", lambda: cached.report_of(*keys, ".pdf"), "report.pdf", "application/pdf", key="get_pdf"
)
st.download_button("Diagnosis (JSON)", document_text(diagnosis), "diagnosis.json", "application/json", key="get_json")
st.download_button(
    "Half-cycles (CSV)", half_cycles_csv(diagnosis), "half-cycles.csv", "text/csv", key="get_half_cycles"
)
st.download_button("Findings (CSV)", findings_csv(diagnosis), "findings.csv", "text/csv", key="get_findings")
