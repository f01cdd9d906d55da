"""The curve and the window of time it shows: a narrower window is drawn with more of its readings."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from diagnostics.diagnosis import Diagnosis
from diagnostics.report import charts
from diagnostics.report.figures import Display
from ui.words import chart_with_table

WHOLE = "whole log"
_NO_BANDS = " Which tower dries is shaded where fewer half-cycles are in view."
LENGTHS_S = {"a week": 604800, "a day": 86400, "six hours": 21600, "an hour": 3600}


@st.fragment
def show(diagnosis: Diagnosis, display: Display) -> None:
    """Draw the choice of a window and the curve within it."""
    start_s, end_s = _window(diagnosis)
    shown_s = (end_s or diagnosis.screened.log.time_s[-1]) - (start_s or diagnosis.screened.log.time_s[0])
    chart = charts.curve_panels(diagnosis, display=display, start_s=start_s, end_s=end_s)
    table = charts.curve_table(diagnosis, start_s=start_s, end_s=end_s)
    words = table.rename(
        columns={"time": "local time", "dew_point_c": f"dew point [{display.temperature_unit}]", "kind": "reading"}
    )
    words[f"dew point [{display.temperature_unit}]"] = display.level(words[f"dew point [{display.temperature_unit}]"])
    words["local time"] = words["local time"].dt.tz_localize(None)
    bands = "" if charts.bands_fit(diagnosis, start_s=start_s, end_s=end_s) else _NO_BANDS
    st.caption(
        f"{display.span(float(shown_s))} in view. Drag to move, scroll or pinch to look closer, double-click to go"
        f" back; lowest and highest reading of every pixel are kept, and a shorter window shows more.{bands}"
    )
    chart_with_table(chart, words, "the curve", "curve", display)


def _window(diagnosis: Diagnosis) -> tuple[float | None, float | None]:
    log = diagnosis.screened.log
    first, last = float(log.time_s[0]), float(log.time_s[-1])
    fitting = [name for name, seconds in LENGTHS_S.items() if seconds < 0.9 * (last - first)]
    if not fitting:
        return None, None
    left, right = st.columns([1, 3])
    if st.session_state.get("hold_window") not in [WHOLE, *fitting]:
        st.session_state["hold_window"] = WHOLE
    length = left.selectbox("Show", [WHOLE, *fitting], key="hold_window")
    if length == WHOLE:
        return None, None
    seconds = LENGTHS_S[str(length)]
    stamps = charts.wall_clock([first, last - seconds], log.timezone)
    low, high = (stamp.to_pydatetime().replace(tzinfo=None, microsecond=0) for stamp in stamps)
    step = dt.timedelta(seconds=max(60.0, round(seconds / 4)))
    key = f"window_start_{length}"
    held = st.session_state.get("kept_window_start", low)
    st.session_state.setdefault(key, min(max(held, low), high))
    start = right.slider("From", low, high, step=step, format="DD MMM HH:mm", key=key)
    st.session_state["kept_window_start"] = start
    start_s = first + (start - low).total_seconds()
    return start_s, start_s + seconds
