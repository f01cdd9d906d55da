"""Charts of a diagnosis, shared by the report and the browser: one function a picture, tables in, charts out.

Every chart has its table (`curve_table`, `folded_table` …), so that what is drawn can be read and downloaded.
"""

from __future__ import annotations

from diagnostics.report.chart_style import INK, LIMIT, QUIET, TOWER_COLOURS, TREND, wall_clock
from diagnostics.report.curve import (
    bands_fit,
    bare_curve,
    channel_table,
    curve_chart,
    curve_panels,
    curve_table,
    span_table,
)
from diagnostics.report.half_cycle_charts import (
    folded_chart,
    folded_table,
    forecast_table,
    half_cycle_table,
    median_table,
    peaks_chart,
    peaks_table,
    reach_table,
    tail_chart,
)
from diagnostics.report.money_charts import (
    cash_chart,
    cash_table,
    energy_bars,
    energy_chart,
    energy_table,
    sensitivity_chart,
    sensitivity_table,
)

__all__ = [
    "INK",
    "LIMIT",
    "QUIET",
    "TOWER_COLOURS",
    "TREND",
    "bands_fit",
    "bare_curve",
    "cash_chart",
    "cash_table",
    "channel_table",
    "curve_chart",
    "curve_panels",
    "curve_table",
    "energy_bars",
    "energy_chart",
    "energy_table",
    "folded_chart",
    "folded_table",
    "forecast_table",
    "half_cycle_table",
    "median_table",
    "peaks_chart",
    "peaks_table",
    "reach_table",
    "sensitivity_chart",
    "sensitivity_table",
    "span_table",
    "tail_chart",
    "wall_clock",
]
