"""Half-cycles as pictures: laid on top of each other, their peaks over the days, and where the limit would be met."""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from diagnostics.diagnosis import Diagnosis
from diagnostics.estimate import Estimate
from diagnostics.report.chart_style import (
    LIMIT,
    TREND,
    in_units,
    level_axis,
    level_scale,
    level_span,
    level_title,
    limit_rule,
    sized,
    time_axis,
    tower_colour,
    tower_shape,
    wall_clock,
)
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.summary import is_in_one_stretch
from diagnostics.report.thinning import thin_line

MOST_PEAKS = 3000
_LONG_S = 7200.0
_MEDIAN_PARTS = 40


def folded_table(diagnosis: Diagnosis, *, most: int = 60) -> pd.DataFrame:
    """Half-cycles laid on top of each other: columns seconds, dew_point_c, tower, half_cycle."""
    screened, cycle = diagnosis.screened, diagnosis.cycle
    rows = cycle.complete
    if len(rows) > most:
        rows = rows.iloc[np.unique(np.linspace(0, len(rows) - 1, most).astype(int))]
    time_s = screened.log.time_s
    parts = []
    for index, row in rows.iterrows():
        a, b = np.searchsorted(time_s, [row["start_s"], row["end_s"]])
        values = np.where(screened.used[a:b], screened.dew_point_c[a:b], np.nan)
        t, v = thin_line(time_s[a:b], values, points=80)
        tower = row["tower"] if isinstance(row["tower"], str) else "unknown"
        parts.append(
            pd.DataFrame({"seconds": t - row["start_s"], "dew_point_c": v, "tower": tower, "half_cycle": index})
        )
    if not parts:
        return pd.DataFrame({"seconds": [], "dew_point_c": [], "tower": [], "half_cycle": []})
    return pd.concat(parts, ignore_index=True)


def folded_chart(
    diagnosis: Diagnosis, *, width: int | str = 340, height: int = 220, display: Display = METRIC
) -> alt.LayerChart:
    """Half-cycles folded on top of each other, one colour and one dash a tower."""
    data = in_units(folded_table(diagnosis), "dew_point_c", display)
    unit, seconds = _step_of(float(data["seconds"].max()) if len(data) else 0.0)
    data = data.assign(since=data["seconds"] / seconds)
    limit_c = diagnosis.plant.dryer.dew_point_limit_c
    near = bool(len(data)) and data["dew_point_c"].max() > display.level(limit_c - 8)
    domain = level_span(data["dew_point_c"], display.level(limit_c) if near else None)
    lines = (
        alt.Chart(data)
        .mark_line(strokeWidth=1, opacity=0.6)
        .encode(
            x=alt.X("since:Q", title=f"since the switchover [{unit}]"),
            y=level_axis("dew_point_c", level_title(display), domain=domain),
            color=tower_colour(),
            strokeDash=alt.StrokeDash(
                "tower:N", scale=alt.Scale(domain=["A", "B", "unknown"], range=[[1, 0], [4, 2], [1, 0]]), legend=None
            ),
            detail="half_cycle:N",
            tooltip=[
                alt.Tooltip("tower:N", title="tower"),
                alt.Tooltip("half_cycle:Q", title="half-cycle"),
                alt.Tooltip("since:Q", title=f"since the switchover [{unit}]", format=".1f"),
                alt.Tooltip("dew_point_c:Q", title=f"dew point [{display.temperature_unit}]", format=".2f"),
            ],
        )
    )
    layers: list[alt.Chart] = [lines]
    if near:
        layers += limit_rule(limit_c, display, domain=domain)
    return sized(alt.layer(*layers), width, height)


def half_cycle_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """Half-cycles with local times and rounded dew points, for people."""
    rows = diagnosis.cycle.half_cycles
    zone = diagnosis.screened.log.timezone
    table = rows.drop(columns=["start_s", "end_s"]).round(2)
    table.insert(0, "end", wall_clock(rows["end_s"].to_numpy("float64"), zone).tz_localize(None))
    table.insert(0, "start", wall_clock(rows["start_s"].to_numpy("float64"), zone).tz_localize(None))
    return table


def peaks_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """Peak of each complete half-cycle: columns time, peak_dew_point_c, tower."""
    rows = diagnosis.cycle.complete
    zone = diagnosis.screened.log.timezone
    return pd.DataFrame(
        {
            "time": wall_clock(rows["end_s"].to_numpy("float64"), zone),
            "peak_dew_point_c": rows["peak_dew_point_c"].round(3),
            "tower": rows["tower"].where(rows["tower"].notna(), "unknown"),
        }
    )


def forecast_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """Trend of the peaks and a look ahead as long as the log: columns time, peak_dew_point_c, low_c, high_c.

    Empty where the log is too short for a trend or has none. The bounds are the slope's 95 % interval about the
    middle of the log.
    """
    slope, data = diagnosis.trend.peak_dew_point_c_per_day, peaks_table(diagnosis).dropna()
    if slope is None or diagnosis.trend.verdict == "too_short" or is_in_one_stretch(diagnosis) or len(data) < 2:
        return pd.DataFrame({"time": [], "peak_dew_point_c": [], "low_c": [], "high_c": []})
    first, span = data["time"].iloc[0], data["time"].iloc[-1] - data["time"].iloc[0]
    days = (data["time"] - first).dt.total_seconds().to_numpy() / 86400.0
    level = float(np.median(data["peak_dew_point_c"]) - slope.value * (np.median(days) - days.mean()))
    times = pd.date_range(first, first + 2 * span, periods=25)
    away = (times - first).total_seconds().to_numpy() / 86400.0 - days.mean()
    ends = np.stack([level + slope.low * away, level + slope.high * away])
    return pd.DataFrame(
        {
            "time": times,
            "peak_dew_point_c": level + slope.value * away,
            "low_c": ends.min(axis=0),
            "high_c": ends.max(axis=0),
        }
    )


def peaks_chart(
    diagnosis: Diagnosis, *, width: int | str = 340, height: int = 220, display: Display = METRIC
) -> alt.LayerChart:
    """Peaks over the days with the trend's line and a look ahead."""
    data = in_units(peaks_table(diagnosis), "peak_dew_point_c", display)
    if len(data) > MOST_PEAKS:
        data = data.iloc[np.unique(np.linspace(0, len(data) - 1, MOST_PEAKS).astype(int))]
    ahead, limit_c = forecast_table(diagnosis), diagnosis.plant.dryer.dew_point_limit_c
    for column in ("peak_dew_point_c", "low_c", "high_c"):
        ahead = in_units(ahead, column, display)
    peaks = data["peak_dew_point_c"].to_numpy(float)
    near = bool(np.isfinite(peaks).any()) and bool(np.nanmax(peaks) > display.level(limit_c - 8))
    low, high = level_span(peaks, display.level(limit_c) if near else None)
    # A look ahead may widen the picture by half, no more: a steep slope would squash the peaks that were seen.
    low, high = low - 0.25 * (high - low), high + 0.25 * (high - low)
    ahead[["low_c", "high_c"]] = ahead[["low_c", "high_c"]].clip(low, high)
    ahead["peak_dew_point_c"] = ahead["peak_dew_point_c"].where(ahead["peak_dew_point_c"].between(low, high))
    domain = (low, high)
    points = (
        alt.Chart(data)
        .mark_point(size=18 if len(data) > 200 else 45, filled=True, opacity=0.7)
        .encode(
            x=time_axis(ticks=5),
            y=level_axis("peak_dew_point_c", f"half-cycle peak [{display.temperature_unit}]", domain=domain),
            color=tower_colour(),
            shape=tower_shape(),
            tooltip=[
                alt.Tooltip("time:T", title="end of half-cycle", format="%Y-%m-%d %H:%M"),
                alt.Tooltip("peak_dew_point_c:Q", title=f"peak [{display.temperature_unit}]", format=".2f"),
                alt.Tooltip("tower:N", title="tower"),
            ],
        )
    )
    layers: list[alt.Chart] = []
    if len(ahead):
        band = (
            alt.Chart(ahead)
            .mark_area(color=TREND, opacity=0.18)
            .encode(x=time_axis(ticks=5), y=alt.Y("low_c:Q", scale=level_scale(domain)), y2="high_c:Q")
        )
        line = (
            alt.Chart(ahead)
            .mark_line(color=TREND, strokeDash=[6, 3])
            .encode(
                x=time_axis(ticks=5),
                y=alt.Y("peak_dew_point_c:Q", scale=level_scale(domain)),
                tooltip=[
                    alt.Tooltip("time:T", title="time", format="%Y-%m-%d %H:%M"),
                    alt.Tooltip("peak_dew_point_c:Q", title=f"trend [{display.temperature_unit}]", format=".2f"),
                    alt.Tooltip("low_c:Q", title="low", format=".2f"),
                    alt.Tooltip("high_c:Q", title="high", format=".2f"),
                ],
            )
        )
        layers += [band, line]
    layers.append(points)
    if near:
        layers += limit_rule(limit_c, display, domain=domain)
    return sized(alt.layer(*layers), width, height)


def median_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """Median course of each tower's half-cycle: columns seconds, dew_point_c, tower."""
    folded = folded_table(diagnosis).dropna()
    if folded.empty:
        return pd.DataFrame({"seconds": [], "dew_point_c": [], "tower": []})
    length = float(diagnosis.cycle.half_cycle_s.value) if diagnosis.cycle.half_cycle_s else folded["seconds"].max()
    # Parts finer than the readings would each hold other half-cycles, and their medians would jump between them.
    parts = min(_MEDIAN_PARTS, max(1, int(length / diagnosis.screened.log.interval_s)))
    part = np.clip((folded["seconds"] / length * parts).astype(int), 0, None)
    grouped = folded.assign(part=part).groupby(["tower", "part"])
    table, count = grouped[["seconds", "dew_point_c"]].median(), grouped["half_cycle"].nunique()
    whole = folded.groupby("tower")["half_cycle"].nunique().reindex(count.index.get_level_values("tower"))
    # Where only the longest half-cycles are left, their median is not the course of the usual one.
    usual = table[count.to_numpy() >= 0.5 * whole.to_numpy()]
    return usual.reset_index().drop(columns="part").round(3)


def reach_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """When a half-cycle would reach the limit: columns kind, seconds, low_s, high_s since the switchover."""
    margin, today = diagnosis.breakthrough, diagnosis.cycle.half_cycle_s
    rows: list[tuple[str, float, float, float]] = []
    if today is not None:
        kinds: tuple[tuple[str, Estimate | None], ...] = (
            ("one half-cycle", margin.margin_s),
            ("repeated", margin.sustained_margin_s),
            ("repeated, at peak load", margin.margin_at_peak_load_s),
        )
        rows = [
            (kind, today.value + m.value, max(0.0, today.value + m.low), today.value + m.high)
            for kind, m in kinds
            if m is not None
        ]
    return pd.DataFrame(rows, columns=["kind", "seconds", "low_s", "high_s"])


def tail_chart(
    diagnosis: Diagnosis, *, width: int | str = 340, height: int = 220, display: Display = METRIC
) -> alt.LayerChart:
    """Median course of the half-cycles and, on the line of the limit, when the leaving air would reach it."""
    limit_c = diagnosis.plant.dryer.dew_point_limit_c
    data = in_units(median_table(diagnosis), "dew_point_c", display)
    reach = reach_table(diagnosis)
    today = diagnosis.cycle.half_cycle_s
    farthest = max([*_told(reach)["high_s"], data["seconds"].max() if len(data) else 0.0])
    if today is not None:
        farthest = min(farthest, 8 * today.value)
    unit, seconds = _step_of(float(farthest))
    domain = level_span(data["dew_point_c"], display.level(limit_c))
    span = alt.Scale(domain=[0, round(1.03 * farthest / seconds, 3)], nice=False)
    x_title = f"since the switchover [{unit}]"
    lines = (
        alt.Chart(data.assign(since=data["seconds"] / seconds))
        .mark_line(strokeWidth=2)
        .encode(
            x=alt.X("since:Q", title=x_title, scale=span),
            y=level_axis("dew_point_c", level_title(display), domain=domain),
            color=tower_colour(),
            tooltip=[
                alt.Tooltip("tower:N", title="tower"),
                alt.Tooltip("since:Q", title=x_title, format=".1f"),
                alt.Tooltip("dew_point_c:Q", title=f"median [{display.temperature_unit}]", format=".2f"),
            ],
        )
    )
    layers: list[alt.Chart] = [lines, *limit_rule(limit_c, display, domain=domain, at_right=True)]
    if today is not None:
        low, high = domain
        words = {
            "since": [today.value / seconds],
            "label": ["today's switchover"],
            "level": [low + 0.04 * (high - low)],
        }
        switch, late = pd.DataFrame(words), today.value > 0.6 * farthest
        layers.append(alt.Chart(switch).mark_rule(color=TREND, strokeDash=[2, 3]).encode(x="since:Q"))
        layers.append(
            alt.Chart(switch)
            .mark_text(
                color=TREND, align="right" if late else "left", baseline="bottom", dx=-4 if late else 4, fontSize=10
            )
            .encode(x="since:Q", y=alt.Y("level:Q", scale=level_scale(domain)), text="label:N")
        )
    reached = _reached(reach, (seconds, farthest, unit), display.level(limit_c), domain)
    return sized(alt.layer(*layers, *reached), width, height)


def _told(reach: pd.DataFrame) -> pd.DataFrame:
    """The kind of half-cycle that is drawn: a repeated one where it is known."""
    return reach[reach["kind"] == ("repeated" if "repeated" in set(reach["kind"]) else "one half-cycle")]


def _reached(
    reach: pd.DataFrame, axis: tuple[float, float, str], limit: float, domain: tuple[float, float]
) -> list[alt.Chart]:
    seconds, farthest, unit = axis
    shown = _told(reach)
    shown = shown.assign(
        since=shown["seconds"].clip(upper=farthest) / seconds,
        low=shown["low_s"] / seconds,
        high=shown["high_s"].clip(upper=1.03 * farthest) / seconds,
        level=limit,
    )
    if shown.empty:
        return []
    words = [
        alt.Tooltip("kind:N", title="limit reached by"),
        alt.Tooltip("since:Q", title=f"after [{unit}]", format=".1f"),
        alt.Tooltip("low:Q", title="at the earliest (95 %)", format=".1f"),
        alt.Tooltip("high:Q", title="at the latest (95 %)", format=".1f"),
    ]
    base, level = alt.Chart(shown), alt.Y("level:Q", scale=level_scale(domain))
    return [
        base.mark_rule(color=LIMIT, strokeWidth=4, opacity=0.6).encode(x="low:Q", x2="high:Q", y=level),
        base.mark_point(color=LIMIT, size=70, filled=True, shape="diamond").encode(x="since:Q", y=level, tooltip=words),
    ]


def _step_of(longest_s: float) -> tuple[str, float]:
    return ("h", 3600.0) if longest_s > _LONG_S else ("min", 60.0)
