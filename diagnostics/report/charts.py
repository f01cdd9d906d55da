"""Charts of a diagnosis, shared by the report and the browser: one function a picture, tables in, charts out.

Every chart has its table (`curve_table`, `folded_table` …), so that what is drawn can be read and downloaded.
"""

from __future__ import annotations

from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from diagnostics.diagnosis import Diagnosis
from diagnostics.moment import local_time
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.thinning import thin_line

TOWER_COLOURS = {"A": "#0b6e99", "B": "#c8641b", "unknown": "#7a7a7a"}
INK, QUIET, LIMIT, TREND = "#41525c", "#8a9aa3", "#b3261e", "#5b3f8c"
CLASS_LIMITS_C = {1: -70.0, 2: -40.0, 3: -20.0, 4: 3.0, 5: 7.0, 6: 10.0}


def wall_clock(time_s: np.ndarray, timezone: str | None) -> pd.DatetimeIndex:
    """Local wall-clock times labelled as UTC, so that no browser shifts them again."""
    stamps = pd.to_datetime(np.asarray(time_s, dtype="float64"), unit="s", utc=True)
    if timezone is None:
        return stamps
    zone = local_time(0.0, timezone).tzinfo
    return stamps.tz_convert(zone).tz_localize(None, ambiguous="NaT").tz_localize("UTC")


def curve_table(
    diagnosis: Diagnosis, *, start_s: float | None = None, end_s: float | None = None, points: int = 4000
) -> pd.DataFrame:
    """Dew point over time thinned for drawing: columns time, dew_point_c, kind (used | set aside)."""
    screened, log = diagnosis.screened, diagnosis.screened.log
    inside = np.ones(log.samples, bool)
    if start_s is not None:
        inside &= log.time_s >= start_s
    if end_s is not None:
        inside &= log.time_s <= end_s
    parts = []
    for kind, chosen in (("used", screened.used), ("set aside", ~screened.used)):
        values = np.where(chosen, screened.dew_point_c, np.nan)[inside]
        t, v = thin_line(log.time_s[inside], values, points=points, gap_s=3 * log.interval_s)
        parts.append(pd.DataFrame({"time": wall_clock(t, log.timezone), "dew_point_c": np.round(v, 3), "kind": kind}))
    return pd.concat(parts, ignore_index=True)


def span_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """Stretches to shade: columns start, end, what (tower A | tower B | set aside: reason)."""
    zone = diagnosis.screened.log.timezone
    rows: list[tuple[Any, Any, str]] = [
        (r.start_s, r.end_s, f"set aside: {r.reason.replace('_', ' ')}") for r in diagnosis.screened.exclusions
    ]
    half_cycles = diagnosis.cycle.half_cycles
    if len(half_cycles) <= 400:
        rows += [
            (r.start_s, r.end_s, f"tower {r.tower} dries") for r in half_cycles.itertuples() if isinstance(r.tower, str)
        ]
    table = pd.DataFrame(rows, columns=["start_s", "end_s", "what"])
    return pd.DataFrame(
        {
            "start": wall_clock(table["start_s"].to_numpy("float64"), zone),
            "end": wall_clock(table["end_s"].to_numpy("float64"), zone),
            "what": table["what"],
        }
    )


def curve_chart(
    diagnosis: Diagnosis, *, width: int | str = 720, height: int = 260, display: Display = METRIC
) -> alt.LayerChart:
    """The log: dew point over time with the limit, tower bands and what was set aside."""
    data = _in_units(curve_table(diagnosis), "dew_point_c", display)
    time = alt.X("time:T", title=None, scale=alt.Scale(type="utc"), axis=alt.Axis(labelOverlap=True))
    level = alt.Y(
        "dew_point_c:Q",
        title=f"pressure dew point [{display.temperature_unit}]",
        scale=alt.Scale(zero=False, nice=True),
    )
    line = (
        alt.Chart(data)
        .mark_line(strokeWidth=1, interpolate="linear")
        .encode(
            x=time,
            y=level,
            color=alt.Color(
                "kind:N",
                title=None,
                scale=alt.Scale(domain=["used", "set aside"], range=[INK, QUIET]),
                legend=alt.Legend(orient="top"),
            ),
            strokeDash=alt.StrokeDash(
                "kind:N", legend=None, scale=alt.Scale(domain=["used", "set aside"], range=[[1, 0], [2, 2]])
            ),
            tooltip=[
                alt.Tooltip("time:T", title="time", format="%Y-%m-%d %H:%M:%S"),
                alt.Tooltip("dew_point_c:Q", title=f"dew point [{display.temperature_unit}]", format=".2f"),
            ],
        )
    )
    layers: list[alt.Chart] = []
    spans = span_table(diagnosis)
    aside = spans[spans["what"].str.startswith("set aside")]
    bands = spans[spans["what"].str.startswith("tower")]
    if not bands.empty and len(bands) <= 60:
        layers.append(
            alt.Chart(bands)
            .mark_rect(opacity=0.10)
            .encode(
                x=alt.X("start:T", scale=alt.Scale(type="utc")),
                x2="end:T",
                color=alt.Color(
                    "what:N",
                    title=None,
                    scale=alt.Scale(
                        domain=["tower A dries", "tower B dries"], range=[TOWER_COLOURS["A"], TOWER_COLOURS["B"]]
                    ),
                    legend=alt.Legend(orient="top"),
                ),
            )
        )
    if not aside.empty:
        layers.append(
            alt.Chart(aside)
            .mark_rect(opacity=0.16, color=QUIET)
            .encode(x=alt.X("start:T", scale=alt.Scale(type="utc")), x2="end:T", tooltip=["what:N"])
        )
    rule = _rule(diagnosis.plant.dryer.dew_point_limit_c, display)
    chart = alt.layer(*layers, line, *rule).resolve_scale(color="independent", strokeDash="independent")
    return _sized(chart, width, height)


def folded_table(diagnosis: Diagnosis, *, most: int = 60) -> pd.DataFrame:
    """Half-cycles laid on top of each other: columns seconds, dew_point_c, tower, half_cycle."""
    screened, cycle = diagnosis.screened, diagnosis.cycle
    rows = cycle.complete
    if len(rows) > most:
        rows = rows.iloc[np.unique(np.linspace(0, len(rows) - 1, most).astype(int))]
    time_s, values = screened.log.time_s, np.where(screened.used, screened.dew_point_c, np.nan)
    parts = []
    for index, row in rows.iterrows():
        a, b = np.searchsorted(time_s, [row["start_s"], row["end_s"]])
        t, v = thin_line(time_s[a:b], values[a:b], points=80)
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
    """Half-cycles folded on top of each other, one colour a tower."""
    data = _in_units(folded_table(diagnosis), "dew_point_c", display)
    long = bool(len(data)) and data["seconds"].max() > 7200
    data = data.assign(since=data["seconds"] / (3600.0 if long else 60.0))
    limit_c = diagnosis.plant.dryer.dew_point_limit_c
    lines = (
        alt.Chart(data)
        .mark_line(strokeWidth=0.8, opacity=0.35)
        .encode(
            x=alt.X("since:Q", title=f"since the switchover [{'h' if long else 'min'}]"),
            y=alt.Y(
                "dew_point_c:Q", title=f"pressure dew point [{display.temperature_unit}]", scale=alt.Scale(zero=False)
            ),
            color=_tower_colour(),
            detail="half_cycle:N",
        )
    )
    layers = [lines]
    if len(data) and data["dew_point_c"].max() > display.level(limit_c - 8):
        layers += _rule(limit_c, display)
    return _sized(alt.layer(*layers), width, height)


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


def peaks_chart(
    diagnosis: Diagnosis, *, width: int | str = 340, height: int = 220, display: Display = METRIC
) -> alt.LayerChart:
    """Peaks over the days with the trend's line."""
    data = _in_units(peaks_table(diagnosis), "peak_dew_point_c", display)
    points = (
        alt.Chart(data)
        .mark_point(size=14, filled=True, opacity=0.7)
        .encode(
            x=alt.X("time:T", title=None, scale=alt.Scale(type="utc"), axis=alt.Axis(labelOverlap=True)),
            y=alt.Y(
                "peak_dew_point_c:Q",
                title=f"half-cycle peak [{display.temperature_unit}]",
                scale=alt.Scale(zero=False),
            ),
            color=_tower_colour(),
            shape=alt.Shape("tower:N", legend=None),
            tooltip=[
                alt.Tooltip("time:T", title="end of half-cycle", format="%Y-%m-%d %H:%M"),
                alt.Tooltip("peak_dew_point_c:Q", title=f"peak [{display.temperature_unit}]", format=".2f"),
                alt.Tooltip("tower:N", title="tower"),
            ],
        )
    )
    slope = diagnosis.trend.peak_dew_point_c_per_day
    layers: list[alt.Chart] = [points]
    if slope is not None and len(data) > 1:
        days = (data["time"] - data["time"].iloc[0]).dt.total_seconds() / 86400.0
        per_day = display.kelvins(slope.value)
        middle = float(data["peak_dew_point_c"].median() - per_day * days.median())
        ends = pd.DataFrame(
            {"time": data["time"].iloc[[0, -1]], "fit": middle + per_day * days.iloc[[0, -1]].to_numpy()}
        )
        layers.append(
            alt.Chart(ends)
            .mark_line(color=TREND, strokeDash=[6, 3])
            .encode(x=alt.X("time:T", scale=alt.Scale(type="utc")), y="fit:Q")
        )
    return _sized(alt.layer(*layers), width, height)


def energy_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """Energy of regeneration before and after: columns case, part, kwh_per_year."""
    energy = diagnosis.purge.energy_kwh_per_year
    if energy is None:
        return pd.DataFrame({"case": [], "part": [], "kwh_per_year": []})
    rows = [
        ("today", part, value)
        for part, value in (("compressed air", energy.air), ("heater", energy.heater), ("blower", energy.blower))
    ]
    saved = diagnosis.switching.figures.energy_saved_kwh_per_year
    if saved is not None and energy.total.value > 0:
        kept = max(0.0, 1.0 - saved.value / energy.total.value)
        rows += [("switched on dew point", part, value * kept) for _, part, value in rows]
    table = pd.DataFrame(rows, columns=["case", "part", "kwh_per_year"])
    return table[table["kwh_per_year"] > 0].reset_index(drop=True)


def energy_chart(diagnosis: Diagnosis, *, width: int | str = 340, height: int = 110) -> alt.Chart:
    """Where the energy of regeneration goes, today and switched on dew point."""
    chart = (
        alt.Chart(energy_table(diagnosis))
        .mark_bar()
        .encode(
            y=alt.Y("case:N", title=None, sort=["today", "switched on dew point"]),
            x=alt.X("kwh_per_year:Q", title="energy at the meter [kWh a year]"),
            color=alt.Color(
                "part:N",
                title=None,
                scale=alt.Scale(domain=["compressed air", "heater", "blower"], range=["#4f8fa8", "#c8641b", "#9aa5ab"]),
                legend=alt.Legend(orient="top"),
            ),
            tooltip=["case:N", "part:N", alt.Tooltip("kwh_per_year:Q", title="kWh a year", format=",.0f")],
        )
    )
    return _sized(chart, width, height)


def cash_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """Cumulative net amount by year: columns year, amount."""
    return pd.DataFrame(list(diagnosis.payback.cash_flow), columns=["year", "amount"])


def cash_chart(diagnosis: Diagnosis, *, width: int | str = 340, height: int = 180) -> alt.Chart:
    """Cumulative net amount by year."""
    currency = diagnosis.payback.currency or "money"
    chart = (
        alt.Chart(cash_table(diagnosis))
        .mark_bar(size=14)
        .encode(
            x=alt.X("year:O", title="year", axis=alt.Axis(labelAngle=0)),
            y=alt.Y("amount:Q", title=f"cumulative [{currency}]"),
            color=alt.condition("datum.amount < 0", alt.value("#c8641b"), alt.value("#0b6e99")),
            tooltip=["year:O", alt.Tooltip("amount:Q", format=",.0f", title=currency)],
        )
    )
    return _sized(chart, width, height)


def sensitivity_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """What each input's interval does to the net present value: columns input, low, high; the most telling first."""
    return pd.DataFrame(list(diagnosis.payback.sensitivity), columns=["input", "low", "high"])


def sensitivity_chart(diagnosis: Diagnosis, *, width: int | str = 340, height: int = 180) -> alt.Chart:
    """Net present value between the low and the high end of each input."""
    currency = diagnosis.payback.currency or "money"
    chart = (
        alt.Chart(sensitivity_table(diagnosis))
        .mark_bar(color="#4f8fa8", size=14)
        .encode(
            y=alt.Y("input:N", title=None, sort=None, axis=alt.Axis(labelLimit=220)),
            x=alt.X("low:Q", title=f"net present value [{currency}]", scale=alt.Scale(zero=False)),
            x2="high:Q",
            tooltip=["input:N", alt.Tooltip("low:Q", format=",.0f"), alt.Tooltip("high:Q", format=",.0f")],
        )
    )
    return _sized(chart, width, height)


def _tower_colour() -> alt.Color:
    return alt.Color(
        "tower:N",
        title="tower",
        scale=alt.Scale(domain=list(TOWER_COLOURS), range=list(TOWER_COLOURS.values())),
        legend=alt.Legend(orient="top", values=["A", "B"]),
    )


def _level_title(display: Display) -> str:
    return f"pressure dew point [{display.temperature_unit}]"


def _in_units(table: pd.DataFrame, column: str, display: Display) -> pd.DataFrame:
    return table.assign(**{column: display.level(table[column])})


def _rule(limit_c: float, display: Display) -> list[alt.Chart]:
    data = pd.DataFrame({"level": [display.level(limit_c)], "label": [f"limit {display.level_words(limit_c, 0)}"]})
    rule = alt.Chart(data).mark_rule(color=LIMIT, strokeDash=[5, 3]).encode(y="level:Q")
    text = (
        alt.Chart(data)
        .mark_text(align="left", baseline="bottom", dx=3, dy=-2, color=LIMIT, fontSize=11)
        .encode(y="level:Q", x=alt.value(0), text="label:N")
    )
    return [rule, text]


def _sized(chart: Any, width: int | str, height: int) -> Any:
    return chart.properties(width=width, height=height)
