"""The two towers beside each other: their usual half-cycle and how far half-cycles stray from it."""

from __future__ import annotations

import pandas as pd

from diagnostics.diagnosis import Diagnosis
from diagnostics.estimate import Estimate
from diagnostics.report.figures import NOTHING, Display


def tower_rows(diagnosis: Diagnosis, display: Display) -> dict[str, list[str]]:
    """One row a tower: count, and the median with the 5th and 95th percentile of length, peak and floor."""
    rows = diagnosis.cycle.complete
    known = rows[rows["tower"].notna()]
    rows = known if len(known) else rows.assign(tower="not told apart")
    columns: dict[str, list[str]] = {"tower": [], "half-cycles": [], "length": [], "peak": [], "floor": []}
    for tower, part in rows.groupby("tower"):
        columns["tower"].append(str(tower))
        columns["half-cycles"].append(display.number(len(part), decimals=0))
        lengths = (part["end_s"] - part["start_s"]).quantile([0.05, 0.5, 0.95])
        columns["length"].append(_length(lengths, display))
        for name in ("peak", "floor"):
            columns[name].append(_usual(part[f"{name}_dew_point_c"], display, display.temperature_unit))
    return columns


def _length(lengths: pd.Series, display: Display) -> str:
    """Median length; what lies around it too, where that shows."""
    low, middle, high = (display.span(lengths[part]) for part in (0.05, 0.5, 0.95))
    if low == high:
        return middle
    return display.duration(Estimate(lengths[0.5], lengths[0.05], lengths[0.95]))


def _usual(values: pd.Series, display: Display, unit: str) -> str:
    if not values.notna().any():
        return NOTHING
    low, middle, high = (display.level(x) for x in values.quantile([0.05, 0.5, 0.95]))
    say = display.number
    return f"{say(middle, decimals=1)} {unit} ({say(low, decimals=1)} to {say(high, decimals=1)})"
