"""The log as a picture: dew point over time with towers, limit, purity classes and what was set aside.

`curve_chart` is the still picture of the report; `curve_panels` is the one of the browser, with the log's other
channels below it on the same time axis. What is sent is thinned to what a screen shows, so a year weighs as little as a
day; a narrower window is thinned anew and shows more.
"""

from __future__ import annotations

import warnings
from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from diagnostics.diagnosis import Diagnosis
from diagnostics.log.record import Log
from diagnostics.report.chart_style import (
    CLOCK,
    INK,
    QUIET,
    TOWER_COLOURS,
    in_units,
    level_axis,
    level_scale,
    level_title,
    limit_beyond,
    limit_rule,
    sized,
    time_axis,
    wall_clock,
)
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.thinning import thin_line

CLASS_LIMITS_C = {1: -70.0, 2: -40.0, 3: -20.0, 4: 3.0, 5: 7.0, 6: 10.0}
MOST_BANDS, MOST_HATCHED = 160, 60
_HATCH_LINES = 90
_PANEL_POINTS = 1500


def curve_table(
    diagnosis: Diagnosis, *, start_s: float | None = None, end_s: float | None = None, points: int = 4000
) -> pd.DataFrame:
    """Dew point over time thinned for drawing: columns time, dew_point_c, kind (used | set aside)."""
    screened, log = diagnosis.screened, diagnosis.screened.log
    inside = _window(log, start_s, end_s)
    parts = []
    for kind, chosen in (("used", screened.used), ("set aside", ~screened.used)):
        values = np.where(chosen[inside], screened.dew_point_c[inside], np.nan)
        t, v = thin_line(log.time_s[inside], values, points=points, gap_s=3 * log.interval_s)
        parts.append(pd.DataFrame({"time": wall_clock(t, log.timezone), "dew_point_c": np.round(v, 3), "kind": kind}))
    return pd.concat(parts, ignore_index=True)


def channel_table(
    log: Log, quantity: str, *, start_s: float | None = None, end_s: float | None = None, points: int = _PANEL_POINTS
) -> pd.DataFrame:
    """One channel as logged, thinned for drawing: columns time, value."""
    inside = _window(log, start_s, end_s)
    t, v = thin_line(log.time_s[inside], log.channels[quantity][inside], points=points, gap_s=3 * log.interval_s)
    return pd.DataFrame({"time": wall_clock(t, log.timezone), "value": np.round(v, 4)})


def span_table(diagnosis: Diagnosis, *, start_s: float | None = None, end_s: float | None = None) -> pd.DataFrame:
    """Stretches to shade: columns start, end, what (tower A dries | tower B dries | set aside: reason)."""
    zone = diagnosis.screened.log.timezone
    low, high = -np.inf if start_s is None else start_s, np.inf if end_s is None else end_s
    rows: list[tuple[float, float, str]] = [
        (max(e.start_s, low), min(e.end_s, high), f"set aside: {e.reason.replace('_', ' ')}")
        for e in diagnosis.screened.exclusions
        if e.end_s >= low and e.start_s <= high
    ]
    half_cycles = _in_view(diagnosis, start_s, end_s)
    if len(half_cycles) <= MOST_BANDS:
        rows += [
            (max(float(a), low), min(float(b), high), f"tower {tower} dries")
            for a, b, tower in zip(half_cycles["start_s"], half_cycles["end_s"], half_cycles["tower"], strict=True)
            if isinstance(tower, str)
        ]
    table = pd.DataFrame(rows, columns=["start_s", "end_s", "what"])
    return pd.DataFrame(
        {
            "start": wall_clock(table["start_s"].to_numpy("float64"), zone),
            "end": wall_clock(table["end_s"].to_numpy("float64"), zone),
            "what": table["what"],
        }
    )


def _in_view(diagnosis: Diagnosis, start_s: float | None, end_s: float | None) -> pd.DataFrame:
    low, high = -np.inf if start_s is None else start_s, np.inf if end_s is None else end_s
    rows = diagnosis.cycle.half_cycles
    return rows[(rows["end_s"] > low) & (rows["start_s"] < high)]


def bands_fit(diagnosis: Diagnosis, *, start_s: float | None = None, end_s: float | None = None) -> bool:
    """Whether the half-cycles in view are few enough to be shaded by tower."""
    return len(_in_view(diagnosis, start_s, end_s)) <= MOST_BANDS


def bare_curve(log: Log, *, height: int = 300, display: Display = METRIC) -> alt.Chart:
    """The dew point as logged, before anything was judged."""
    data = in_units(channel_table(log, "dew_point", points=4000).rename(columns={"value": "level"}), "level", display)
    line = (
        alt.Chart(data)
        .mark_line(strokeWidth=1, color=INK)
        .encode(x=time_axis(), y=level_axis("level", f"dew point as logged [{display.temperature_unit}]"))
    )
    return line.properties(height=height)


def curve_chart(
    diagnosis: Diagnosis,
    *,
    width: int | str = 720,
    height: int = 260,
    display: Display = METRIC,
    start_s: float | None = None,
    end_s: float | None = None,
) -> alt.LayerChart:
    """The log: dew point over time with limit, purity classes, tower bands and, hatched, what was set aside."""
    data = in_units(curve_table(diagnosis, start_s=start_s, end_s=end_s), "dew_point_c", display)
    limit_c = diagnosis.plant.dryer.dew_point_limit_c
    domain, limit_shows = _domain(data, display.level(limit_c))
    data.loc[~data["dew_point_c"].between(*domain), "dew_point_c"] = np.nan
    spans = span_table(diagnosis, start_s=start_s, end_s=end_s)
    bands = spans[spans["what"].str.startswith("tower")]
    aside = spans[spans["what"].str.startswith("set aside")]
    layers = [*_class_bands(domain, display), *_tower_bands(bands)]
    if not aside.empty:
        layers += _hatched(aside, data, domain)
    layers.append(_line(data, domain, display))
    if limit_shows:
        layers += limit_rule(limit_c, display, domain=domain)
    else:
        away = display.number(display.level(limit_c) - float(np.nanmax(data["dew_point_c"])), decimals=0)
        layers += limit_beyond(
            f"limit {display.level_words(limit_c, 0)}, {away} {display.difference_unit} above this picture"
        )
    chart = alt.layer(*layers).resolve_scale(color="independent", strokeDash="independent")
    return sized(chart, width, height)


def curve_panels(
    diagnosis: Diagnosis,
    *,
    height: int = 320,
    display: Display = METRIC,
    start_s: float | None = None,
    end_s: float | None = None,
) -> alt.VConcatChart:
    """The curve with the log's other channels below, zoomed and moved together."""
    zoom = alt.selection_interval(bind="scales", encodings=["x"], name="zoom")
    curve = curve_chart(diagnosis, width=600, height=height, display=display, start_s=start_s, end_s=end_s)
    for layer in curve.layer:
        layer.mark.clip = True  # a zoomed line would run over the axis
    panels = [curve.add_params(zoom)]
    log = diagnosis.screened.log
    others = [name for name in log.channels if name not in ("dew_point", "tower")]
    for quantity in others:
        data = channel_table(log, quantity, start_s=start_s, end_s=end_s)
        if not data["value"].notna().any():
            continue
        shown, unit = _shown(quantity, display)
        data["value"] = shown(data["value"])
        words = quantity.replace("_", " ")
        panels.append(
            alt.Chart(data)
            .mark_line(strokeWidth=1, color=INK)
            .encode(
                x=time_axis(labels=quantity == others[-1]),
                y=level_axis("value", None),
                tooltip=[
                    alt.Tooltip("time:T", title="time", format=CLOCK),
                    alt.Tooltip("value:Q", title=f"{words} [{unit}]", format=".2f"),
                ],
            )
            .properties(width=600, height=80, title=_panel_title(f"{words} [{unit}]"))
            .add_params(zoom)
        )
    with warnings.catch_warnings():
        # One zoom for all panels is what is wanted; Altair says so each time.
        warnings.filterwarnings("ignore", "Automatically deduplicated", UserWarning)
        chart = alt.vconcat(*panels, spacing=8).resolve_scale(x="shared", color="independent")
    return chart.properties(autosize=alt.AutoSizeParams(type="fit-x", contains="padding"))


def _panel_title(words: str) -> alt.TitleParams:
    """Name of a low panel above it: along its axis there is no room."""
    return alt.TitleParams(words, anchor="start", frame="group", fontSize=11, fontWeight="normal", color=INK, offset=1)


def _window(log: Log, start_s: float | None, end_s: float | None) -> slice:
    first = 0 if start_s is None else int(np.searchsorted(log.time_s, start_s, side="left"))
    last = log.samples if end_s is None else int(np.searchsorted(log.time_s, end_s, side="right"))
    return slice(first, last)


def _shown(quantity: str, display: Display) -> tuple[Any, str]:
    if quantity.endswith("temperature"):
        return display.level, display.temperature_unit
    if quantity.endswith("flow"):
        return display.volume_flow, display.flow_unit
    if quantity == "pressure":
        return display.line_pressure, f"{display.pressure_unit} gauge"
    return (lambda values: values), "kW"


def _domain(data: pd.DataFrame, limit: float) -> tuple[tuple[float, float], bool]:
    """What the vertical axis spans, and whether the limit lies within: not where it would squash the curve."""
    values = data["dew_point_c"].to_numpy(float)
    used = values[(data["kind"] == "used").to_numpy() & np.isfinite(values)]
    everything = values[np.isfinite(values)]
    if not everything.size:
        return (limit - 10.0, limit + 5.0), True
    core = used if used.size else everything
    low, high = float(core.min()), float(core.max())
    span = max(high - low, 4.0)
    low, high = max(float(everything.min()), low - 3.0 * span), min(float(everything.max()), high + 3.0 * span)
    shows = low - 1.5 * span <= limit <= high + 2.0 * span
    if shows:
        low, high = min(low, limit), max(high, limit)
    margin = 0.06 * max(high - low, 2.0)
    return (low - margin, high + 1.6 * margin), shows


def _line(data: pd.DataFrame, domain: tuple[float, float], display: Display) -> alt.Chart:
    kinds = ["used", "set aside"]
    return (
        alt.Chart(data)
        .mark_line(strokeWidth=1.2, interpolate="linear")
        .encode(
            x=time_axis(),
            y=level_axis("dew_point_c", level_title(display), domain=domain),
            color=alt.Color(
                "kind:N",
                title=None,
                scale=alt.Scale(domain=kinds, range=[INK, QUIET]),
                # Below, because one row on top would be wider than a phone.
                legend=alt.Legend(orient="bottom") if (data["kind"] == "set aside").any() else None,
            ),
            strokeDash=alt.StrokeDash("kind:N", legend=None, scale=alt.Scale(domain=kinds, range=[[1, 0], [2, 2]])),
            tooltip=[
                alt.Tooltip("time:T", title="local time", format=CLOCK),
                alt.Tooltip("dew_point_c:Q", title=f"dew point [{display.temperature_unit}]", format=".2f"),
                alt.Tooltip("kind:N", title="reading"),
            ],
        )
    )


def _class_bands(domain: tuple[float, float], display: Display) -> list[alt.Chart]:
    """Purity classes of ISO 8573-1 as faint bands with their names at the right."""
    low, high = domain
    rows, below = [], -200.0
    for rank, limit_c in CLASS_LIMITS_C.items():
        bottom, top = max(display.level(below), low), min(display.level(limit_c), high)
        if top > bottom:
            rows.append((bottom, top, rank % 2, f"class {rank}" if top - bottom > 0.06 * (high - low) else ""))
        below = limit_c
    data = pd.DataFrame(rows, columns=["bottom", "top", "odd", "label"])
    if data.empty:
        return []
    band = (
        alt.Chart(data)
        .mark_rect(color=QUIET)
        .encode(
            y=alt.Y("bottom:Q", scale=level_scale(domain)),
            y2="top:Q",
            opacity=alt.Opacity("odd:Q", scale=alt.Scale(domain=[0, 1], range=[0.0, 0.07]), legend=None),
        )
    )
    words = (
        alt.Chart(data)
        .mark_text(align="right", baseline="top", dx=-4, dy=3, color=QUIET, fontSize=10)
        .encode(y=alt.Y("top:Q", scale=level_scale(domain)), x=alt.value("width"), text="label:N")
    )
    return [band, words]


def _tower_bands(bands: pd.DataFrame) -> list[alt.Chart]:
    if bands.empty:
        return []
    names = ["tower A dries", "tower B dries"]
    return [
        alt.Chart(bands)
        .mark_rect(opacity=0.16)
        .encode(
            x=time_axis("start"),
            x2="end:T",
            color=alt.Color(
                "what:N",
                title=None,
                scale=alt.Scale(domain=names, range=[TOWER_COLOURS["A"], TOWER_COLOURS["B"]]),
                legend=alt.Legend(orient="top"),
            ),
            tooltip=[
                alt.Tooltip("what:N", title="duty"),
                alt.Tooltip("start:T", format=CLOCK),
                alt.Tooltip("end:T", format=CLOCK),
            ],
        )
    ]


def _hatched(aside: pd.DataFrame, data: pd.DataFrame, domain: tuple[float, float]) -> list[alt.Chart]:
    """Stretches set aside: tinted, with slanted lines across for readers and printers without colour."""
    longest = aside.assign(length=aside["end"] - aside["start"]).nlargest(MOST_HATCHED, "length")
    tint = (
        alt.Chart(aside)
        .mark_rect(opacity=0.14, color=QUIET)
        .encode(
            x=time_axis("start"),
            x2="end:T",
            tooltip=[
                alt.Tooltip("what:N", title="stretch"),
                alt.Tooltip("start:T", format=CLOCK),
                alt.Tooltip("end:T", format=CLOCK),
            ],
        )
    )
    whole = data["time"].max() - data["time"].min()
    step = whole / _HATCH_LINES
    if not step.total_seconds() > 0:
        return [tint]
    rows: list[tuple[Any, Any, float, float]] = []
    low, high = domain
    for start, end in zip(longest["start"], longest["end"], strict=True):
        at = start
        while at < end and len(rows) < 4 * _HATCH_LINES:
            rows.append((at, min(at + step, end), high, high - (high - low) * min(1.0, (end - at) / step)))
            at = at + step / 2
    lines = pd.DataFrame(rows, columns=["start", "end", "from", "to"])
    hatch = (
        alt.Chart(lines)
        .mark_rule(color=QUIET, opacity=0.55, strokeWidth=1)
        .encode(
            x=time_axis("start"),
            x2="end:T",
            y=alt.Y("from:Q", scale=level_scale(domain)),
            y2="to:Q",
        )
    )
    return [tint, hatch]
