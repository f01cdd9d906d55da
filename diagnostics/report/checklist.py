"""The measurement plan as a checklist to print and take along."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import groupby

from diagnostics.measurement_plan import MeasurementPlan
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.layouts import template_of
from diagnostics.report.spoken_units import speak
from diagnostics.report.texts import LANGUAGE, words
from diagnostics.version import VERSION


def plan_summary(plan: MeasurementPlan, display: Display = METRIC) -> str:
    """Interval, length and number of readings, in one sentence."""
    return words("checklist")["summary"].format(
        interval=display.span(plan.interval_s),
        duration=display.span(3600 * plan.duration_h),
        samples=display.number(plan.samples, decimals=0),
    )


def checklist_page(
    plan: MeasurementPlan, title: str | None, *, today: dt.date | None = None, display: Display = METRIC
) -> str:
    """Lay the plan out as self-contained HTML.

    Parameters
    ----------
    plan : MeasurementPlan
    title : str or None
        What the dryer or site is called.
    today : date, optional
        Date that the list bears; today's if not given.
    display : Display
        Units and number format.
    """
    say = words("checklist")
    spoken = [
        replace(
            line,
            instruction=speak(line.instruction, display),
            reason=speak(line.reason, display),
            caution=speak(line.caution, display),
        )
        for line in plan.lines
    ]
    page: str = template_of("checklist.html").render(
        language=LANGUAGE,
        texts=say,
        caution=words("page")["caution"],
        title=title or say["untitled"],
        groups=[(topic, list(lines)) for topic, lines in groupby(spoken, key=lambda line: line.topic)],
        date=(today or dt.date.today()).isoformat(),
        version=VERSION,
        summary=plan_summary(plan, display),
    )
    return page
