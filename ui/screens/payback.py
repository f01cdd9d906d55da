"""Payback: the manager's page."""

import streamlit as st

from diagnostics.report import charts
from diagnostics.report.content import headline, verdict
from ui import gate, state
from ui.plant_form import spoken
from ui.words import chart_with_table, plain, show_table

st.title("Payback")
diagnosis = gate.diagnosis_or_stop(
    "With one, this page holds what a manager asks: what regeneration costs, what switching on dew point "
    "saves, when it pays back and how sure that is."
)
display = state.display()

st.subheader("In one minute")
st.text(verdict(diagnosis, display))


def _likely(share: float) -> str:
    """Probability out of drawn cases, which cannot tell certainty from what is rarer than a case in a thousand."""
    return display.share(min(max(share, 0.0005), 0.9995))


figures = headline(diagnosis, display)
for place, (label, number, interval) in zip(st.columns(max(1, len(figures))), figures, strict=False):
    with place.container(border=True, height="stretch"):
        st.text(label)
        st.markdown(f"### {plain(number)}")
        st.caption(plain(interval))
urgent = [finding for finding in diagnosis.findings if finding.severity != "info"]
for finding in urgent[:3]:
    st.text(f"• {spoken(finding.statement, display)}")

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
        told = {year: share for year, share in payback.probability_pays.items() if year in (1, 2, 3, 5, 10)}
        words = [f"{year} year{'s' if year > 1 else ''}" for year in told]
        show_table({"pays within": words, "probability": [_likely(share) for share in told.values()]})
else:
    for note in payback.notes or ("The case cannot be reckoned yet.",):
        st.info(plain(spoken(note, display)))
    if diagnosis.switching.already_saved_share is None:
        st.caption("Prices and the cost of the control are filled in under **The plant**.")
for note in dict.fromkeys((*diagnosis.switching.notes, *(payback.notes if payback.cash_flow else ()))):
    st.caption(plain(spoken(note, display)))
