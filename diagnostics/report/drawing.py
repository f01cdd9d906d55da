"""Charts as pictures that need no network: SVG for the page, PDF for the sheet."""

from __future__ import annotations

from typing import Any

CONFIG: dict[str, Any] = {
    "background": "transparent",
    "font": "DejaVu Sans",
    "view": {"stroke": "#c9d2d6"},
    "axis": {"gridColor": "#e4e9eb", "domainColor": "#c9d2d6", "tickColor": "#c9d2d6", "labelColor": "#41525c"},
    "axisX": {"grid": False},
    "legend": {"labelColor": "#41525c", "symbolStrokeWidth": 2},
}


def svg_of(chart: Any) -> str:
    """Draw an Altair chart as an SVG element.

    Parameters
    ----------
    chart : altair.TopLevelMixin

    Returns
    -------
    str
        ``<svg …>`` without an XML prologue; same chart, same bytes.
    """
    import vl_convert

    svg: str = vl_convert.vegalite_to_svg(_spec(chart))
    return svg[svg.index("<svg") :]


def pdf_of(chart: Any) -> bytes:
    """Draw an Altair chart as a one-page PDF with its fonts in it."""
    import vl_convert

    drawing: bytes = vl_convert.vegalite_to_pdf(_spec(chart))
    return drawing


def _spec(chart: Any) -> dict[str, Any]:
    import altair as alt

    with alt.data_transformers.enable("default", max_rows=None), alt.data_transformers.disable_max_rows():
        spec: dict[str, Any] = chart.to_dict()
    spec["config"] = CONFIG
    return spec
