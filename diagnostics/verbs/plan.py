"""``dewswing plan``: how to measure this dryer."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diagnostics.errors import UsageError
from diagnostics.verbs.options import (
    display_of,
    display_options,
    json_option,
    log_option,
    parse_columns,
    plant_option,
    progress_on_screen,
    refuse_missing,
    refuse_unwritable,
    write_json,
)

if TYPE_CHECKING:
    from diagnostics.measurement_plan import MeasurementPlan, PlanLine
    from diagnostics.plant import Plant
    from diagnostics.report.figures import Display


@click.command(name="plan", epilog="Example: dewswing plan --plant plant.toml --memory 32000 --checklist plan.html")
@plant_option()
@click.option("--memory", type=click.IntRange(100), metavar="N", help="Readings that the logger holds, 100 or more.")
@click.option(
    "--battery-h", type=click.FloatRange(0.1), metavar="H", help="Hours that its battery lasts at this interval."
)
@click.option("--log", "logs", multiple=True, metavar="LOG", help="Say also what this log would have needed.")
@log_option
@click.option("--checklist", metavar="OUT.html", help="Write a checklist to print.")
@display_options
@json_option
def verb(
    plant_path: str | None,
    memory: int | None,
    battery_h: float | None,
    logs: tuple[str, ...],
    columns: tuple[str, ...],
    checklist: str | None,
    units: str,
    numbers: str,
    json_path: str | None,
) -> None:
    """Plan the measurement: where to connect and how safely, interval, duration, settings, what else to log."""
    if checklist and Path(checklist).suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"--checklist {checklist}: the checklist's name must end in .html.")
    pairs = parse_columns(columns)
    refuse_missing(*logs)
    refuse_unwritable(checklist, json_path)

    from dataclasses import replace

    from diagnostics.files import write_whole
    from diagnostics.measurement_plan import plan_measurement
    from diagnostics.plant import load_plant
    from diagnostics.report.checklist import checklist_page
    from diagnostics.report.document import record_text

    plant, display = load_plant(plant_path), display_of(units, numbers)
    plan = plan_measurement(plant, memory_samples=memory, battery_h=battery_h)
    if logs:
        plan = replace(plan, lacking=_lacking(logs, plant, pairs))
    write_json(json_path, record_text("dewswing/plan/1", plan, plant.site.timezone))
    if checklist:
        write_whole(checklist, checklist_page(plan, plant.site.name, display=display))
    if json_path != "-":
        _show(plan, plant.site.name, display)
        if checklist:
            click.echo(f"written: {checklist}")


def _lacking(logs: tuple[str, ...], plant: Plant, columns: dict[str, str]) -> tuple[PlanLine, ...]:
    from diagnostics.cycle.half_cycles import segment
    from diagnostics.log.reading import read_log
    from diagnostics.log.screening import screen
    from diagnostics.measurement_shortfall import needed_for

    with progress_on_screen() as progress:
        screened = screen(read_log(list(logs), plant, columns=columns, progress=progress), plant)
        progress("finding the half-cycles")
        return needed_for(screened, segment(screened, plant), plant)


def _show(plan: MeasurementPlan, site: str | None, display: Display) -> None:
    from itertools import groupby

    from rich.console import Console
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    from diagnostics.report.checklist import plan_summary
    from diagnostics.report.spoken_units import speak
    from diagnostics.report.texts import words

    say = words("checklist")
    console = Console(highlight=False)
    console.print(Text.assemble((f"dewswing {say['kind']}  ", "dim"), (site or say["untitled"], "bold")))
    console.print(Text(f"{plan_summary(plan, display)}\n"))

    def show(lines: Iterable[PlanLine], mark: str) -> None:
        table = Table.grid(padding=(0, 1))
        for line in lines:
            told = Text.assemble(speak(line.instruction, display), "\n", (speak(line.reason, display), "dim"))
            if line.caution:
                told.append(f"\n{words('terminal')['caution']}{speak(line.caution, display)}", "yellow")
            table.add_row(mark, told)
        console.print(Padding(table, (0, 0, 0, 2)))

    if plan.lacking is not None:
        console.print(Text(say["lacking" if plan.lacking else "nothing_lacking"], "bold"))
        show(plan.lacking, "•")
        console.print()
    for topic, lines in groupby(plan.lines, key=lambda line: line.topic):
        console.print(Text(topic, "bold"))
        show(lines, "☐")
