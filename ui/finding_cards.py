"""Findings as cards: what was seen, what to do, the caution, and behind a fold the evidence."""

from __future__ import annotations

import streamlit as st

from diagnostics.diagnosis import Diagnosis
from diagnostics.moment import say_time
from diagnostics.report.figures import Display
from ui.plant_form import spoken
from ui.words import show_caution

LOOKS = {
    "critical": ("red", ":material/error:", "urgent"),
    "warning": ("orange", ":material/warning:", "soon"),
    "info": ("blue", ":material/info:", "good to know"),
}


def show(diagnosis: Diagnosis, display: Display) -> None:
    """Draw every finding, in the order of the diagnosis."""
    if not diagnosis.findings:
        st.text("Nothing stands out.")
    zone = diagnosis.screened.log.timezone
    for finding in diagnosis.findings:
        colour, icon, word = LOOKS[finding.severity]
        with st.container(border=True):
            st.badge(word, icon=icon, color=colour)
            st.text(spoken(finding.statement, display))
            st.text(f"Do: {spoken(finding.action, display)}")
            if finding.caution:
                show_caution(spoken(finding.caution, display))
            with st.expander("Why, and what else it could be"):
                when = "" if finding.start_s is None else f", from {say_time(finding.start_s, zone)}"
                if finding.end_s is not None and when:
                    when += f" to {say_time(finding.end_s, zone)}"
                st.text(f"How sure: {display.share(finding.confidence)}{when}.")
                for line in finding.evidence:
                    st.text(f"• {spoken(line, display)}")
                for cause in finding.other_causes:
                    st.text(f"It could also be: {spoken(cause, display)}")
