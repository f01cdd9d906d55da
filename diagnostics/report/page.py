"""The report: one self-contained page that opens offline, prints well, and answers a manager on its first sheet."""

from __future__ import annotations

import datetime as dt
from typing import Any

from diagnostics.diagnosis import Diagnosis
from diagnostics.report import charts
from diagnostics.report.content import report_content
from diagnostics.report.drawing import svg_of
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.fitting import fitted
from diagnostics.report.layouts import template_of
from diagnostics.report.texts import LANGUAGE


def report_bytes(diagnosis: Diagnosis, kind: str, *, display: Display = METRIC) -> bytes:
    """Make the report.

    Parameters
    ----------
    diagnosis : Diagnosis
    kind : str
        ``.html``, ``.htm`` or ``.pdf``.
    display : Display
        Units and number format.
    """
    if kind == ".pdf":
        from diagnostics.report.sheet import report_pdf

        return report_pdf(diagnosis, display=display)
    return report_page(diagnosis, display=display).encode("utf-8")


def report_page(diagnosis: Diagnosis, *, today: dt.date | None = None, display: Display = METRIC) -> str:
    """Make the report as HTML text.

    Parameters
    ----------
    diagnosis : Diagnosis
    today : date, optional
        Date that the report bears; today's if not given.
    display : Display
        Units and number format.
    """
    content = fitted(report_content(diagnosis, today=today, display=display))
    return str(
        template_of("report.html").render(**content, language=LANGUAGE, charts=drawings(diagnosis, svg_of, display))
    )


def drawings(diagnosis: Diagnosis, draw: Any, display: Display) -> dict[str, Any]:
    """The report's charts, each drawn by ``draw``; those that have nothing to show are left out."""
    drawn = {"curve": draw(charts.curve_chart(diagnosis, height=200, display=display))}
    if len(diagnosis.cycle.complete):
        drawn["folded"] = draw(charts.folded_chart(diagnosis, height=170, display=display))
        drawn["peaks"] = draw(charts.peaks_chart(diagnosis, height=170, display=display))
    if charts.energy_table(diagnosis)["case"].nunique() > 1:
        drawn["energy"] = draw(charts.energy_chart(diagnosis))
    if diagnosis.payback.cash_flow:
        drawn["cash"] = draw(charts.cash_chart(diagnosis, height=130))
    return drawn
