"""Energy and money as pictures: where the energy goes, the cash flow, what moves the answer."""

from __future__ import annotations

import altair as alt
import pandas as pd

from diagnostics.diagnosis import Diagnosis
from diagnostics.report.chart_style import PARTS, TOWER_COLOURS, sized

_GAIN, _COST = TOWER_COLOURS["A"], TOWER_COLOURS["B"]


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
    if diagnosis.switching.already_saved_share is None and saved is not None and energy.total.value > 0:
        kept = max(0.0, 1.0 - saved.value / energy.total.value)
        rows += [("switched on dew point", part, value * kept) for _, part, value in rows]
    table = pd.DataFrame(rows, columns=["case", "part", "kwh_per_year"])
    return table[table["kwh_per_year"] > 0].reset_index(drop=True)


def energy_chart(diagnosis: Diagnosis, *, width: int | str = 340, height: int = 110) -> alt.Chart:
    """Where the energy of regeneration goes, today and switched on dew point."""
    return energy_bars(energy_table(diagnosis), width=width, height=height)


def energy_bars(table: pd.DataFrame, *, width: int | str = 340, height: int = 110) -> alt.Chart:
    """One bar a case, split into parts: columns case, part, kwh_per_year; cases in the table's order."""
    present = [part for part in PARTS if part in set(table["part"])]
    chart = (
        alt.Chart(table)
        .mark_bar()
        .encode(
            y=alt.Y(
                "case:N",
                title=None,
                sort=list(dict.fromkeys(table["case"])),
                axis=alt.Axis(labelLimit=200, labelOverlap=False),
            ),
            x=alt.X("kwh_per_year:Q", title="energy at the meter [kWh a year]"),
            color=alt.Color(
                "part:N",
                title=None,
                scale=alt.Scale(domain=present, range=[PARTS[part] for part in present]),
                legend=alt.Legend(orient="top"),
            ),
            tooltip=["case:N", "part:N", alt.Tooltip("kwh_per_year:Q", title="kWh a year", format=",.0f")],
        )
    )
    return sized(chart, width, height)


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
            color=alt.condition("datum.amount < 0", alt.value(_COST), alt.value(_GAIN)),
            tooltip=["year:O", alt.Tooltip("amount:Q", format=",.0f", title=currency)],
        )
    )
    return sized(chart, width, height)


def sensitivity_table(diagnosis: Diagnosis) -> pd.DataFrame:
    """What each input's interval does to the net present value: columns input, low, high; the most telling first."""
    return pd.DataFrame(list(diagnosis.payback.sensitivity), columns=["input", "low", "high"])


def sensitivity_chart(diagnosis: Diagnosis, *, width: int | str = 340, height: int = 180) -> alt.Chart:
    """Net present value between the low and the high end of each input."""
    currency = diagnosis.payback.currency or "money"
    chart = (
        alt.Chart(sensitivity_table(diagnosis))
        .mark_bar(color=_GAIN, size=14)
        .encode(
            y=alt.Y("input:N", title=None, sort=None, axis=alt.Axis(labelLimit=220)),
            x=alt.X("low:Q", title=f"net present value [{currency}]", scale=alt.Scale(zero=False)),
            x2="high:Q",
            tooltip=["input:N", alt.Tooltip("low:Q", format=",.0f"), alt.Tooltip("high:Q", format=",.0f")],
        )
    )
    return sized(chart, width, height)
