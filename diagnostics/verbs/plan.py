"""``dewswing plan``: how to measure this dryer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from diagnostics.errors import UsageError
from diagnostics.verbs.options import json_option, plant_option, refuse_unwritable, write_json

if TYPE_CHECKING:
    from diagnostics.measurement_plan import MeasurementPlan


@click.command(name="plan", epilog="Example: dewswing plan --plant plant.toml --memory 32000 --checklist plan.html")
@plant_option()
@click.option("--memory", type=click.IntRange(100), help="Readings that the logger holds.")
@click.option("--battery-h", type=click.FloatRange(0.1), help="Hours that its battery lasts.")
@click.option("--checklist", metavar="OUT.html", help="Write a checklist to print.")
@json_option
def verb(
    plant_path: str | None, memory: int | None, battery_h: float | None, checklist: str | None, json_path: str | None
) -> None:
    """Plan the measurement: where to connect and how safely, interval, duration, settings, what else to log."""
    if checklist and Path(checklist).suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"--checklist {checklist}: the checklist's name must end in .html.")
    refuse_unwritable(checklist, json_path)

    from diagnostics.files import write_whole
    from diagnostics.measurement_plan import plan_measurement
    from diagnostics.plant import load_plant
    from diagnostics.report.checklist import checklist_page
    from diagnostics.report.document import record_text

    plant = load_plant(plant_path)
    plan = plan_measurement(plant, memory_samples=memory, battery_h=battery_h)
    write_json(json_path, record_text("dewswing/plan/1", plan, plant.site.timezone))
    if checklist:
        write_whole(checklist, checklist_page(plan, plant.site.name or "Desiccant dryer"))
    if json_path != "-":
        _show(plan, plant.site.name)
        if checklist:
            click.echo(f"written: {checklist}")


def _show(plan: MeasurementPlan, site: str | None) -> None:
    from itertools import groupby

    from rich.console import Console
    from rich.padding import Padding
    from rich.text import Text

    from diagnostics.moment import say_duration

    console = Console(highlight=False)
    console.print(Text.assemble(("dewswing plan  ", "dim"), (site or "desiccant dryer", "bold")))
    console.print(
        f"A reading every {say_duration(plan.interval_s)} for {say_duration(3600 * plan.duration_h)}"
        f" ({plan.samples:,} readings)\n"
    )
    for topic, lines in groupby(plan.lines, key=lambda line: line.topic):
        console.print(Text(topic, "bold"))
        for line in lines:
            console.print(Padding(Text(f"☐ {line.instruction}"), (0, 0, 0, 2)))
            console.print(Padding(Text(line.reason, "dim"), (0, 0, 0, 4)))
            if line.caution:
                console.print(Padding(Text(f"caution: {line.caution}", "yellow"), (0, 0, 0, 4)))
