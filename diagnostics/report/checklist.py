"""The measurement plan as a checklist to print and take along."""

from __future__ import annotations

import datetime as dt
from itertools import groupby

from diagnostics.measurement_plan import MeasurementPlan
from diagnostics.moment import say_duration
from diagnostics.version import VERSION


def checklist_page(plan: MeasurementPlan, title: str, *, today: dt.date | None = None) -> str:
    """Lay the plan out as self-contained HTML.

    Parameters
    ----------
    plan : MeasurementPlan
    title : str
        What the dryer or site is called.
    today : date, optional
        Date that the list bears; today's if not given.
    """
    from jinja2 import Environment

    groups = [(topic, list(lines)) for topic, lines in groupby(plan.lines, key=lambda line: line.topic)]
    template = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True).from_string(_PAGE)
    return template.render(
        title=title,
        groups=groups,
        date=(today or dt.date.today()).isoformat(),
        version=VERSION,
        interval=say_duration(plan.interval_s),
        duration=say_duration(3600 * plan.duration_h),
        samples=f"{plan.samples:,}",
    )


_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ title }} – measurement plan</title>
<style>
body { margin: 0; background: #fff; color: #1f2d35; font: 15px/1.5 system-ui, "Segoe UI", "DejaVu Sans", sans-serif; }
main { max-width: 54rem; margin: 0 auto; padding: 1.5rem; } h1 { font-size: 1.5rem; margin: 0; }
h2 { font-size: 1.1rem; margin: 1.5rem 0 .4rem; border-bottom: 1px solid #d5dde1; }
ul { list-style: none; padding: 0; margin: 0; } li { padding: .35rem 0 .35rem 1.8rem; position: relative; }
li::before { content: "☐"; position: absolute; left: 0; font-size: 1.2rem; line-height: 1.3; }
.why { color: #55666f; } .caution { color: #8a5a00; font-weight: 600; } .quiet { color: #55666f; }
@media print { body { font-size: 10.5pt; } li { break-inside: avoid; } @page { margin: 16mm; } }
</style></head><body><main>
<p class="quiet">dewswing {{ version }} · measurement plan · {{ date }}</p>
<h1>{{ title }}</h1>
<p>A reading every {{ interval }} for {{ duration }} ({{ samples }} readings).</p>
{% for topic, lines in groups %}
<h2>{{ topic }}</h2>
<ul>
{% for line in lines %}
<li>{{ line.instruction }} <span class="why">{{ line.reason }}</span>
{% if line.caution %}<br><span class="caution">Caution: {{ line.caution }}</span>{% endif %}</li>
{% endfor %}
</ul>
{% endfor %}
</main></body></html>
"""
