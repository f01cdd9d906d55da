"""Payback: the manager's page."""

import streamlit as st

from diagnostics.report import charts
from diagnostics.report.content import headline, verdict
from ui import gate, state
from ui.plant_form import spoken
from ui.words import chart_with_table, plain

st.title("Payback")
diagnosis = gate.diagnosis_or_stop()
display = state.display()

st.subheader("In one minute")
st.text(verdict(diagnosis, display))
figures = headline(diagnosis, display)
for place, (label, number, interval) in zip(st.columns(max(1, len(figures))), figures, strict=False):
    with place.container(border=True):
        st.text(label)
        st.markdown(f"### {plain(number)}")
        st.caption(plain(interval))
urgent = [finding for finding in diagnosis.findings if finding.severity != "info"]
for finding in urgent[:3]:
    st.text(f"• {finding.statement}")

payback, money = diagnosis.payback, diagnosis.payback.currency or "money"
if payback.cash_flow:
    left, right = st.columns(2)
    with left:
        st.subheader("Cash flow")
        table = charts.cash_table(diagnosis).rename(columns={"amount": f"cumulative [{money}]"})
        chart_with_table(
            charts.cash_chart(diagnosis, width="container", height=280), table, "the cash flow", "cash", display
        )
    if payback.sensitivity:
        with right:
            st.subheader("What moves the answer most")
            table = charts.sensitivity_table(diagnosis).rename(
                columns={"low": f"at its low end [{money}]", "high": f"at its high end [{money}]"}
            )
            chart = charts.sensitivity_chart(diagnosis, width="container", height=280)
            chart_with_table(chart, table, "what moves the answer", "sensitivity", display)
    if payback.probability_pays:
        st.subheader("How sure is it")
        for year, probability in payback.probability_pays.items():
            if year in (1, 2, 3, 5, 10):
                st.text(f"Pays within {year} year{'s' if year > 1 else ''}: probability {display.share(probability)}")
elif not payback.notes:
    st.info("The case cannot be reckoned yet. Give prices and the cost of the control under **The plant**.")
for note in dict.fromkeys((*diagnosis.switching.notes, *payback.notes)):
    st.caption(plain(spoken(note, display)))
