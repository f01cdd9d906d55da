"""What if: settings as fields and sliders, before and after, answers live."""

import streamlit as st

from diagnostics.errors import UserError
from diagnostics.report import charts
from diagnostics.report.case_rows import paired_rows
from diagnostics.report.summary import mend_first
from diagnostics.report.texts import words
from ui import cached, gate, state, trials
from ui.plant_form import spoken
from ui.words import chart_with_table, plain, show_sentence, show_table

# On a phone the answers' table stands below all sliders; the answer in short stays in sight while a thumb moves one.
PHONE = 640
IN_SIGHT = f"""<style>
@media (min-width: {PHONE + 1}px) {{ .st-key-answer {{ display: none; }} }}
@media (max-width: {PHONE}px) {{
  :is([data-testid="stLayoutWrapper"], [data-testid="stVerticalBlock"]):has(> .st-key-answer) {{
    position: sticky; top: 3.75rem; z-index: 20; }}
  .st-key-answer {{ background: canvas; border-bottom: 1px solid currentColor; padding: .4rem 0; gap: 0; }}
}}
</style>"""

st.title("What if")
diagnosis = gate.diagnosis_or_stop(
    "With one, this page shows at once what another dew point limit, longest half-cycle, purge or price "
    "would change in energy and money."
)
display, say = state.display(), words("what_if")
st.html(IN_SIGHT)
in_short = st.container(key="answer")

left, right = st.columns([2, 3], gap="large")
with left:
    st.caption("Move a slider or type a number; the answers follow at once. Nothing in the plant file changes.")
    for trial in trials.trials_for(diagnosis, display):
        trials.draw(trial, display)
    st.button("Back to today's settings", key="back_to_today", on_click=state.keep_what_if, args=({},))
try:
    result = cached.what_if_of(state.key(), trials.changed(diagnosis), diagnosis)
except UserError as error:
    for place in (in_short, right):
        with place:
            show_sentence(str(error))
    st.stop()

rows = paired_rows(result, display)
with in_short:
    switching = result.after.switching
    saved = "cost_saved" if switching.figures.cost_saved_per_year is not None else "energy_saved"
    if switching.already_saved_share is not None:
        saved = "regeneration"
    shown = [say[name] for name in (saved, "already", "payback", "limited_by")]
    for title, was, becomes in rows:
        if title in shown:
            same = "" if was == becomes else f" · {say['before']} {plain(was)}"
            st.caption(f"{title}: **{plain(becomes)}**{same}")
with right:
    show_table(
        {
            say["figure"]: [title for title, _, _ in rows],
            say["before"]: [was for _, was, _ in rows],
            say["after"]: [becomes for _, _, becomes in rows],
        }
    )
    st.caption(say["interval"])
    first = mend_first(diagnosis)
    if first:
        st.warning(f"{first[:1].upper()}{first[1:]}; what is said here holds for the dryer once that is done.")
    bars = trials.energy_cases(result)
    if len(bars):
        st.subheader("Energy of regeneration")
        chart = charts.energy_bars(bars, width="container", height=260)
        chart_with_table(chart, bars.rename(columns={"kwh_per_year": "kWh a year"}), "the energy", "energy", display)
    with st.expander("How this was reckoned", expanded=bool(result.notes)):
        for note in dict.fromkeys((*result.notes, *result.after.switching.notes)):
            st.text(f"• {spoken(note, display)}")
st.caption(
    "A relaxed limit or a longer half-cycle is proved over a day or more before it stays; keep the old setting marked."
    " More pressure swings or fewer: the vessel's inspection body knows its fatigue count. Medical and breathing air:"
    " the responsible person decides."
)
