"""The dryer: what was seen, what to do first, and the half-cycles behind it."""

import streamlit as st

from diagnostics.report import charts
from diagnostics.report.setting_names import named
from diagnostics.report.summary import seen_lines, trend_words, worth_lines
from ui import finding_cards, gate, state
from ui.plant_form import spoken
from ui.towers import tower_rows
from ui.words import chart_with_table, half_cycles_in_words, plain, show_frame, show_table

st.title("The dryer")
diagnosis = gate.diagnosis_or_stop(
    "With one, this page says whether the air is dry enough, whether both towers work, how far the bed is "
    "from letting moisture through, and what to do first."
)
display = state.display()

for line in [*seen_lines(diagnosis, display), *worth_lines(diagnosis, display)]:
    topic, text = st.columns([1, 6], gap="small")
    topic.markdown(f"**{line.topic}**")
    text.text(named(line.text, display))

st.subheader("What to do, most urgent first")
finding_cards.show(diagnosis, display)

if not len(diagnosis.cycle.complete):
    st.subheader("Half-cycles")
    st.text("No complete half-cycle can be seen in this log, so there is nothing to lay on top of each other.")
    for note in diagnosis.cycle.notes:
        st.text(f"• {spoken(note, display)}")
    st.stop()

st.subheader("The towers")
show_table(tower_rows(diagnosis, display))
st.caption(
    "In brackets: nine of ten half-cycles lie within. Both towers are measured with one instrument, so its uncertainty"
    f" of {display.difference_words(diagnosis.purity.uncertainty_c)} moves both alike."
)

unit = f"[{display.temperature_unit}]"
titles = {"seconds": "since the switchover [s]", "half_cycle": "half-cycle", "dew_point_c": f"dew point {unit}"}
left, right = st.columns(2)
with left:
    st.subheader("Half-cycles on top of each other")
    folded = charts.folded_table(diagnosis).assign(dew_point_c=lambda t: display.level(t["dew_point_c"]))
    chart = charts.folded_chart(diagnosis, width="container", height=320, display=display)
    chart_with_table(chart.interactive(), folded.rename(columns=titles), "the half-cycles", "folded", display)
with right:
    st.subheader("Where the limit would be met")
    reach = charts.reach_table(diagnosis).rename(
        columns={"kind": "half-cycle", "seconds": "reached after [s]", "low_s": "low [s]", "high_s": "high [s]"}
    )
    if len(reach):
        chart = charts.tail_chart(diagnosis, width="container", height=320, display=display)
        chart_with_table(chart, reach, "the limit", "tail", display)
        seen = "rating and bed, for no rise towards it shows" if diagnosis.breakthrough.censored else "the rise seen"
        st.caption(f"Thick line on the limit: when the leaving air reaches it, with its 95 % interval, by {seen}.")
    with st.expander("How the margin was reckoned", expanded=not len(reach)):
        for note in diagnosis.breakthrough.notes:
            st.text(f"• {spoken(note, display)}")
st.subheader("Peaks over the days")
peaks = charts.peaks_table(diagnosis).assign(peak_dew_point_c=lambda t: display.level(t["peak_dew_point_c"]))
peaks["time"] = peaks["time"].dt.tz_localize(None)
chart = charts.peaks_chart(diagnosis, width="container", height=320, display=display)
named_peaks = peaks.rename(columns={"time": "end of half-cycle", "peak_dew_point_c": f"peak {unit}"})
chart_with_table(chart.interactive(), named_peaks, "the peaks", "peaks", display)
told = "Dashed: the trend and a look ahead as long as the log; shaded: its 95 % interval."
trend = spoken(trend_words(diagnosis, display), display)
st.caption(told if len(charts.forecast_table(diagnosis)) else plain(f"No trend is drawn: {trend}."))
for note in diagnosis.trend.notes:
    st.caption(plain(spoken(note, display)))
st.subheader("Table of half-cycles")
show_frame(half_cycles_in_words(charts.half_cycle_table(diagnosis), display), display)
