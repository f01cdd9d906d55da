"""Text and tables as people read them; nothing that comes from a file is ever run as markup."""

from __future__ import annotations

import re

import altair as alt
import pandas as pd
import streamlit as st

from diagnostics.report.figures import NOTHING, Display

_LEVELS = {
    "peak_dew_point_c": "peak",
    "floor_dew_point_c": "floor",
    "end_dew_point_c": "at its end",
    "mean_dew_point_c": "mean",
    "spike_dew_point_c": "spike",
}
_MOST_STYLED = 3000
_FIELDS_FOR = (
    (re.compile(r" with --column(?: [a-z_]+=HEADER)?"), " below"),
    (re.compile(r"its unit in \[log\] units"), "its unit below"),
    (re.compile(r"\[log\] day_first or time_format"), "the order of day and month or the form of the time below"),
    (re.compile(r"\[log\] day_first(?: = true or false)?"), "the order of day and month"),
    (re.compile(r"\[log\] time_format"), "the form of the time"),
    (re.compile(r"\[log\] units"), "its unit below"),
    (re.compile(r"the separator in \[log\] delimiter"), "the separator below"),
)
"""What a refusal asks for in a plant file or on the command line, and the field that stands for it on the page."""


def plain(text: str) -> str:
    """Text with every sign that markdown would act on made harmless."""
    return re.sub(r"([\\`*_{}\[\]()#+!|<>$~:])", r"\\\1", text)


def show_table(columns: dict[str, list[str]]) -> None:
    """Small table as text that can be read, copied and reached by keyboard; the first column names the row."""
    frame = pd.DataFrame({title: [plain(cell) for cell in cells] for title, cells in columns.items()})
    st.table(frame.set_index(frame.columns[0]))


def with_fields(sentence: str) -> str:
    """Refusal that names the fields of the page where it named options and keys."""
    for option, named in _FIELDS_FOR:
        sentence = option.sub(named, sentence)
    return sentence


def show_sentence(sentence: str) -> None:
    """Show a refusal as plain text."""
    with st.container(border=True):
        st.markdown(":material/error: **This cannot be used:**")
        st.text(with_fields(sentence))


def show_caution(sentence: str) -> None:
    """Show the caution that belongs where hands do."""
    st.markdown(f":material/front_hand: **Caution:** {plain(sentence)}")


def show_frame(frame: pd.DataFrame, display: Display, *, decimals: int = 2) -> None:
    """Table with numbers and times in the reader's format, still sortable as numbers."""
    if len(frame) > _MOST_STYLED:
        st.dataframe(frame, hide_index=True)
        return
    formats = {}
    for name, kind in frame.dtypes.items():
        if pd.api.types.is_float_dtype(kind):
            formats[name] = lambda value: display.number(value, decimals=decimals)
        elif pd.api.types.is_datetime64_any_dtype(kind):
            formats[name] = lambda value: NOTHING if pd.isna(value) else f"{value:%Y-%m-%d %H:%M:%S}"
    st.dataframe(frame.style.format(formats, na_rep=NOTHING), hide_index=True)


def half_cycles_in_words(table: pd.DataFrame, display: Display) -> pd.DataFrame:
    """Half-cycle table with titles in words and dew points in the reader's unit."""
    shown = pd.DataFrame({"start": table["start"], "end": table["end"], "tower": table["tower"]})
    shown["whole"] = table["complete"].map({True: "yes", False: "cut off"})
    shown["length [min]"] = (table["end"] - table["start"]).dt.total_seconds() / 60.0
    for column, words in _LEVELS.items():
        shown[f"{words} [{display.temperature_unit}]"] = display.level(table[column])
    return shown


def show_chart(chart: alt.TopLevelMixin, key: str, display: Display) -> None:
    """A chart with its numbers in the reader's format."""
    marks = alt.NumberLocale(decimal=display.decimal, thousands=display.group, grouping=[3], currency=["", ""])
    st.altair_chart(chart.configure(locale=alt.Locale(number=marks)), width="stretch", key=f"chart_{key}")


def chart_with_table(chart: alt.TopLevelMixin, table: pd.DataFrame, name: str, key: str, display: Display) -> None:
    """A chart and, at a switch, the figures behind it to read and to take away."""
    show_chart(chart, key, display)
    if st.toggle(f"Figures of: {name}", key=f"hold_table_{key}"):
        show_frame(table, display)
        st.download_button(
            f"Take away as CSV: {name}", table.to_csv(index=False).encode(), f"{key}.csv", "text/csv", key=f"get_{key}"
        )
