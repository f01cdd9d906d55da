"""How every chart looks: mid-tone colours that stand out on white paper and on a black screen, local 24-hour axes.

Each colour has a contrast of 3:1 or more against white and against near-black (WCAG 2.2, 1.4.11), and no chart tells
two things apart by colour alone: dash, shape or a word goes with it.
"""

from __future__ import annotations

from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from diagnostics.moment import local_time
from diagnostics.report.figures import Display

TOWER_COLOURS = {"A": "#2a86b8", "B": "#cf6a1a", "unknown": "#808080"}
TOWER_SHAPES = {"A": "circle", "B": "triangle-up", "unknown": "square"}
INK, QUIET, LIMIT, TREND = "#6b7680", "#7f8f98", "#d8443b", "#9067b8"
PARTS = {"compressed air": "#2a86b8", "heater": "#cf6a1a", "blower": "#808080"}
CLOCK = "%Y-%m-%d %H:%M:%S"

_TOWER_LEGEND = alt.Legend(orient="top", values=["A", "B"], labelExpr="'tower ' + datum.label")

_CLOCK_LABEL = "utcFormat(datum.value, utcseconds(datum.value) == 0 ? '%H:%M' : '%H:%M:%S')"
TIME_LABEL = (
    "utchours(datum.value) + utcminutes(datum.value) + utcseconds(datum.value) == 0"
    " ? utcFormat(datum.value, utcdate(datum.value) == 1 ? '%b %Y' : '%d %b')"
    f" : datum.index == 0 ? [{_CLOCK_LABEL}, utcFormat(datum.value, '%d %b')] : {_CLOCK_LABEL}"
)
"""The day at midnight, the month at its start, else the hour; the leftmost hour has its day below: one rule for every
zoom."""
_LABEL_PX = 58
"""Width that a label of the time axis needs with its gap."""


def wall_clock(time_s: np.ndarray, timezone: str | None) -> pd.DatetimeIndex:
    """Local wall-clock times labelled as UTC, so that no browser shifts them again."""
    stamps = pd.to_datetime(np.asarray(time_s, dtype="float64"), unit="s", utc=True)
    if timezone is None:
        return stamps
    zone = local_time(0.0, timezone).tzinfo
    return stamps.tz_convert(zone).tz_localize(None, ambiguous="NaT").tz_localize("UTC")


def time_axis(field: str = "time", *, ticks: int = 8, labels: bool = True) -> alt.X:
    """Horizontal axis of local time, 24 hours a day, with as many ticks as its width has room for."""
    # Labels dropped for want of room could be all the midnights, and the days would be gone with them.
    fitting = alt.ExprRef(expr=f"max(2, min({ticks}, floor(abs(range('x')[1] - range('x')[0]) / {_LABEL_PX})))")
    axis = alt.Axis(labelOverlap=True, labelExpr=TIME_LABEL, tickCount=fitting, labels=labels)
    return alt.X(f"{field}:T", title=None, scale=alt.Scale(type="utc"), axis=axis)


def level_axis(field: str, title: str | None, *, domain: tuple[float, float] | None = None) -> alt.Y:
    """Vertical axis that does not start at nought.

    Every layer of a chart needs the same ``domain``: one layer without it would draw the axis to nought again.
    """
    return alt.Y(f"{field}:Q", title=title, scale=level_scale(domain))


def level_span(values: Any, limit: float | None = None) -> tuple[float, float]:
    """Span of a vertical axis over values and, where given, the limit, with room for its words."""
    levels = np.asarray(values, dtype=float)
    levels = levels[np.isfinite(levels)]
    if limit is not None:
        levels = np.append(levels, limit)
    if not levels.size:
        return -1.0, 1.0
    low, high = float(levels.min()), float(levels.max())
    room = max(high - low, 1.0)
    return low - 0.05 * room, high + 0.12 * room


def level_scale(domain: tuple[float, float] | None = None) -> alt.Scale:
    """Scale of a vertical axis that does not start at nought."""
    return alt.Scale(zero=False, nice=True) if domain is None else alt.Scale(domain=list(domain), nice=False)


def tower_colour() -> alt.Color:
    """One colour a tower, with its legend."""
    return alt.Color(
        "tower:N",
        title=None,
        scale=alt.Scale(domain=list(TOWER_COLOURS), range=list(TOWER_COLOURS.values())),
        legend=_TOWER_LEGEND,
    )


def tower_shape() -> alt.Shape:
    """One shape a tower, for those who cannot rely on colour."""
    return alt.Shape(
        "tower:N",
        title=None,
        scale=alt.Scale(domain=list(TOWER_SHAPES), range=list(TOWER_SHAPES.values())),
        legend=_TOWER_LEGEND,
    )


def level_title(display: Display) -> str:
    """Title of a dew point axis."""
    return f"pressure dew point [{display.temperature_unit}]"


def in_units(table: pd.DataFrame, column: str, display: Display) -> pd.DataFrame:
    """Table with one column of levels in the reader's unit."""
    return table.assign(**{column: display.level(table[column])})


def limit_rule(
    limit_c: float, display: Display, *, domain: tuple[float, float] | None = None, at_right: bool = False
) -> list[alt.Chart]:
    """The limit as a dashed line with its words above one of its ends."""
    data = pd.DataFrame({"level": [display.level(limit_c)], "label": [f"limit {display.level_words(limit_c, 0)}"]})
    rule = (
        alt.Chart(data)
        .mark_rule(color=LIMIT, strokeDash=[5, 3], strokeWidth=1.5)
        .encode(y=alt.Y("level:Q", scale=level_scale(domain)))
    )
    text = (
        alt.Chart(data)
        .mark_text(
            align="right" if at_right else "left",
            baseline="bottom",
            dx=-3 if at_right else 3,
            dy=-2,
            color=LIMIT,
            fontSize=11,
        )
        .encode(
            y=alt.Y("level:Q", scale=level_scale(domain)),
            x=alt.value("width" if at_right else 0),
            text="label:N",
        )
    )
    return [rule, text]


def limit_beyond(words: str) -> list[alt.Chart]:
    """A line of words at the top, where the limit lies too far off to be drawn."""
    data = pd.DataFrame({"label": [words]})
    return [
        alt.Chart(data)
        .mark_text(align="left", baseline="top", dx=3, dy=3, color=LIMIT, fontSize=11)
        .encode(x=alt.value(0), y=alt.value(0), text="label:N")
    ]


def sized(chart: Any, width: int | str, height: int) -> Any:
    """Chart with its size set."""
    return chart.properties(width=width, height=height)
