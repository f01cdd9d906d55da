"""Entry of the browser front end: page set-up, the sidebar, and the way between the screens."""

from pathlib import Path

import streamlit as st

from ui import state

SCREENS = Path(__file__).parent / "screens"

# Drawn here, so that no browser asks another server for it.
ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><path fill="#2a86b8" d="M16 2C11 10 7 14 7 20a9 9 0 0'
    ' 0 18 0c0-6-4-10-9-18z"/></svg>'
)

st.set_page_config(page_title="dewswing", page_icon=ICON, layout="wide")
state.opening()

page = st.navigation(
    {
        "This dryer": [
            st.Page(SCREENS / "the_log.py", title="The log", icon=":material/show_chart:", default=True),
            st.Page(SCREENS / "the_dryer.py", title="The dryer", icon=":material/stethoscope:"),
            st.Page(SCREENS / "the_plant.py", title="The plant", icon=":material/tune:"),
            st.Page(SCREENS / "what_if.py", title="What if", icon=":material/compare_arrows:"),
            st.Page(SCREENS / "payback.py", title="Payback", icon=":material/payments:"),
            st.Page(SCREENS / "report.py", title="Report", icon=":material/description:"),
        ],
        "At the dryer": [
            st.Page(SCREENS / "measuring.py", title="Before measuring", icon=":material/checklist:"),
            st.Page(SCREENS / "spot_check.py", title="Spot check", icon=":material/speed:"),
        ],
    }
)
with st.sidebar:
    state.choose_display()
    st.caption("Works on this computer; nothing is stored or sent. Local codes and licensed practice come first.")
page.run()
