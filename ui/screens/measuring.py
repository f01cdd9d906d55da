"""Before measuring: where, how often, how long, and what must not go wrong."""

from itertools import groupby

import streamlit as st

from diagnostics.errors import UserError
from diagnostics.measurement_plan import plan_measurement
from diagnostics.plant import plant_from
from diagnostics.report.checklist import checklist_page
from ui import state
from ui.plant_form import spoken
from ui.words import plain, show_caution, show_sentence

st.title("Before measuring")
st.caption("From the settings under The plant; without any, for a usual heatless dryer.")
plant, display = plant_from(state.plant_tables()), state.display()
left, right = st.columns(2)
memory = left.number_input(
    "Readings that the logger holds", min_value=100, value=None, step=1000, placeholder="not known", key="hold_memory"
)
battery = right.number_input(
    "Hours that its battery lasts", min_value=1.0, value=None, step=1.0, placeholder="not known", key="hold_battery"
)
try:
    plan = plan_measurement(plant, memory_samples=memory, battery_h=battery)
except UserError as error:
    show_sentence(str(error))
    st.stop()

st.subheader(
    f"A reading every {display.span(plan.interval_s)} for {display.span(3600 * plan.duration_h)}"
    f" ({display.number(plan.samples, decimals=0)} readings)"
)
st.download_button(
    "Checklist to print (HTML)",
    checklist_page(plan, plant.site.name, display=display).encode(),
    "measurement-plan.html",
    "text/html",
    key="get_checklist",
    on_click="ignore",
    icon=":material/download:",
)
for topic, lines in groupby(plan.lines, key=lambda line: line.topic):
    name, words = st.columns([1, 5], gap="small")
    name.markdown(f"**{topic.capitalize()}**")
    with words:
        for line in lines:
            st.text(spoken(line.instruction, display))
            st.caption(plain(spoken(line.reason, display)))
            if line.caution:
                show_caution(spoken(line.caution, display))
