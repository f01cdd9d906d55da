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
    from diagnostics.report.pairs import show_result
    from diagnostics.report.spoken_units import speak
    from diagnostics.report.texts import words

    say = words("verify")

    def used(value: float) -> str:
        if result.unit == "m3/min":
            return f"{display.number(display.volume_flow(value))} {display.flow_unit}"
        return f"{display.number(value)} {result.unit.replace('1/h', 'an hour')}"

    rows = [
        (say["compared"], say["option"].format(quantity=result.quantity, option=result.option)),
        (say["before"], used(result.before_mean)),
        (say["expected"], used(result.baseline_after)),
        (say["after"], used(result.after_mean)),
        (say["saved"], display.percent(result.saved_share)),
        (say["uncertainty_90"], display.share(result.fractional_uncertainty)),
        (say["uncertainty_68"], display.share(result.fractional_uncertainty_68)),
        (say["fit"], f"{display.share(result.cv_rmse)}, {display.number(100 * result.nmbe, decimals=1)} %"),
    ]
    show_result(speak(result.statement, display), rows, [speak(note, display) for note in result.notes])
