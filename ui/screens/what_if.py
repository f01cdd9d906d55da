"""What if: settings as fields and sliders, before and after, answers live."""

import streamlit as st

from diagnostics.errors import UserError
from diagnostics.report import charts
from diagnostics.report.summary import LIMITED_WORDS
from ui import cached, gate, state, trials
from ui.plant_form import spoken
from ui.words import chart_with_table, show_sentence, show_table

st.title("What if")
diagnosis = gate.diagnosis_or_stop(
    "With one, this page shows at once what another dew point limit, longest half-cycle, purge or price "
    "would change in energy and money."
)
display = state.display()

left, right = st.columns([2, 3], gap="large")
with left:
    st.caption("Move a slider or type a number; the answers beside follow at once. Nothing in the plant file changes.")
    for trial in trials.trials_for(diagnosis, display):
        trials.draw(trial)
    st.button("Back to today's settings", key="back_to_today", on_click=state.keep_what_if, args=({},))
try:
    result = cached.what_if_of(state.key(), trials.changed(diagnosis), diagnosis)
except UserError as error:
    with right:
        show_sentence(str(error))
    st.stop()

with right:
    cases = (result.before, result.after)
    money = result.before.payback.currency
    rows = {
        "Purge": [display.flow_words(c.purge.average_m3_min) for c in cases],
        "Cost of regeneration a year": [display.estimate(c.purge.cost_per_year, money) for c in cases],
        "Half-cycle on dew point": [display.duration(c.switching.figures.half_cycle_s) for c in cases],
        "Regenerations saved": [display.percent(c.switching.figures.regenerations_saved_share) for c in cases],
        "Energy saved a year": [display.estimate(c.switching.figures.energy_saved_kwh_per_year, "kWh") for c in cases],
        "Cost saved a year": [display.estimate(c.switching.figures.cost_saved_per_year, money) for c in cases],
        "Limited by": [LIMITED_WORDS[c.switching.limited_by] for c in cases],
        "Simple payback": [display.estimate(c.payback.simple_payback_years, "years", digits=2) for c in cases],
        "Net present value": [display.estimate(c.payback.npv, money) for c in cases],
    }
    show_table({"figure": list(rows), "before": [r[0] for r in rows.values()], "after": [r[1] for r in rows.values()]})
    st.caption("In brackets: 95 % interval.")
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
