"""The dryer: findings, half-cycles, peaks."""

import streamlit as st

from diagnostics.report import charts
from diagnostics.report.summary import seen_lines, worth_lines
from ui import gate

st.title("The dryer")
diagnosis = gate.diagnosis_or_stop()

for line in [*seen_lines(diagnosis), *worth_lines(diagnosis)]:
    topic, text = st.columns([1, 6])
    topic.caption(line.topic)
    text.text(line.text)

st.subheader("What to do, most urgent first")
if not diagnosis.findings:
    st.write("Nothing stands out.")
for finding in diagnosis.findings:
    with st.container(border=True):
        st.markdown(f"**{finding.severity}**")
        st.text(finding.statement)
        st.text(f"Do: {finding.action}")
        if finding.caution:
            st.text(f"Caution: {finding.caution}")

if len(diagnosis.cycle.complete):
    left, right = st.columns(2)
    left.subheader("Half-cycles on top of each other")
    left.altair_chart(charts.folded_chart(diagnosis, width="container", height=300), width="stretch")
    right.subheader("Peaks over the days")
    right.altair_chart(charts.peaks_chart(diagnosis, width="container", height=300), width="stretch")
    st.subheader("Half-cycles")
    st.dataframe(charts.half_cycle_table(diagnosis), hide_index=True)
