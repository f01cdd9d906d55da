"""Payback: the manager's page."""

import streamlit as st

from diagnostics.report import charts
from diagnostics.report.content import headline, verdict
from ui import gate, state

st.title("Payback")
diagnosis = gate.diagnosis_or_stop()
display = state.display()

st.markdown("#### In one minute")
st.text(verdict(diagnosis, display))
figures = headline(diagnosis, display)
for place, (label, number, interval) in zip(st.columns(max(1, len(figures))), figures, strict=False):
    with place.container(border=True):
        st.caption(label)
        st.markdown(f"#### {gate.plain(number)}")
        st.caption(interval)

payback = diagnosis.payback
if payback.cash_flow:
    left, right = st.columns(2)
    left.subheader("Cash flow")
    left.altair_chart(charts.cash_chart(diagnosis, width="container", height=280), width="stretch")
    left.dataframe(charts.cash_table(diagnosis), hide_index=True)
    if payback.sensitivity:
        right.subheader("What moves the answer most")
        right.altair_chart(charts.sensitivity_chart(diagnosis, width="container", height=280), width="stretch")
        right.dataframe(charts.sensitivity_table(diagnosis), hide_index=True)
    if payback.probability_pays:
        st.subheader("How sure is it")
        years = {year: p for year, p in payback.probability_pays.items() if year in (1, 2, 3, 5, 10)}
        for year, probability in years.items():
            st.text(f"Pays within {year} year{'s' if year > 1 else ''}: probability {display.share(probability)}")
else:
    st.info("The case cannot be reckoned yet. Give prices and the cost of the control under **The plant**.")
for note in (*diagnosis.switching.notes, *payback.notes):
    st.caption(gate.plain(note))
