"""``dewswing verify``: savings really achieved after a change."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from diagnostics.verbs.options import (
    display_of,
    display_options,
    json_option,
    plant_option,
    progress_on_screen,
    refuse_missing,
    refuse_unwritable,
    write_json,
)

if TYPE_CHECKING:
    from diagnostics.energy.record import Verification
    from diagnostics.report.figures import Display


@click.command(name="verify", epilog="Example: dewswing verify january.csv march.csv --plant plant.toml")
@click.argument("before_log", metavar="BEFORE_LOG")
@click.argument("after_log", metavar="AFTER_LOG")
@plant_option(required=True)
@display_options
@json_option
def verb(before_log: str, after_log: str, plant_path: str, json_path: str | None, units: str, numbers: str) -> None:
    """Check what a change really saved: logs before and after, adjusted to equal load, with uncertainty."""
    refuse_missing(before_log, after_log)
    refuse_unwritable(json_path)

    from diagnostics.cycle.half_cycles import segment
    from diagnostics.energy.verification import verify
    from diagnostics.log.reading import read_log
    from diagnostics.log.screening import screen
    from diagnostics.plant import load_plant
    from diagnostics.report.document import record_text

    with progress_on_screen() as progress:
        plant = load_plant(plant_path)
        sides = []
        for path in (before_log, after_log):
            screened = screen(read_log([path], plant, progress=progress), plant)
            progress("finding the half-cycles")
            sides.append((screened, segment(screened, plant)))
        result = verify(sides[0], sides[1], plant)
    write_json(json_path, record_text("dewswing/verification/1", result, plant.site.timezone))
    if json_path != "-":
        _show(result, display_of(units, numbers))


def _show(result: Verification, display: Display) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False)
    console.print(Text(result.statement, "bold"))
    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim")
    table.add_column()
    unit = result.unit
    table.add_row("compared", f"{result.quantity}, IPMVP option {result.option}")
    table.add_row("before", f"{display.number(result.before_mean)} {unit}")
    table.add_row("after, expected from before", f"{display.number(result.baseline_after)} {unit}")
    table.add_row("after, seen", f"{display.number(result.after_mean)} {unit}")
    table.add_row("saved", display.percent(result.saved_share))
    table.add_row("fractional uncertainty, 90 %", display.share(result.fractional_uncertainty))
    table.add_row("fractional uncertainty, 68 %", display.share(result.fractional_uncertainty_68))
    table.add_row("CV(RMSE), NMBE", f"{display.share(result.cv_rmse)}, {display.number(100 * result.nmbe)} %")
    console.print(table)
    for note in result.notes:
        console.print(Text(note, "dim"))
