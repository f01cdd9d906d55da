"""``dewswing compare``: portable reference against the installed transmitter."""

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
    from diagnostics.comparison import Comparison
    from diagnostics.estimate import Estimate
    from diagnostics.report.figures import Display


@click.command(name="compare", epilog="Example: dewswing compare portable.csv installed.csv --plant plant.toml")
@click.argument("reference_log", metavar="REFERENCE_LOG")
@click.argument("installed_log", metavar="INSTALLED_LOG")
@plant_option()
@click.option("--installed-plant", metavar="FILE.toml", help="If the transmitter is set otherwise: its own plant file.")
@display_options
@json_option
def verb(
    reference_log: str,
    installed_log: str,
    plant_path: str | None,
    installed_plant: str | None,
    json_path: str | None,
    units: str,
    numbers: str,
) -> None:
    """Compare an installed transmitter with a portable reference that saw the same air at the same time."""
    refuse_missing(reference_log, installed_log)
    refuse_unwritable(json_path)

    from diagnostics.comparison import compare
    from diagnostics.log.reading import read_log
    from diagnostics.log.screening import screen
    from diagnostics.plant import load_plant
    from diagnostics.report.document import record_text

    with progress_on_screen() as progress:
        plant = load_plant(plant_path)
        other = load_plant(installed_plant) if installed_plant else plant
        reference = screen(read_log([reference_log], plant, progress=progress), plant)
        installed = screen(read_log([installed_log], other, progress=progress), other)
        progress("laying one over the other")
        result = compare(reference, installed, plant, other)
    write_json(json_path, record_text("dewswing/comparison/1", result, plant.site.timezone))
    if json_path != "-":
        _show(result, display_of(units, numbers))


def _show(result: Comparison, display: Display) -> None:
    from diagnostics.report.pairs import show_result
    from diagnostics.report.spoken_units import speak
    from diagnostics.report.texts import words

    say = words("compare")
    unit = display.difference_unit
    per_day = say["a_day"].format(unit=unit)

    def difference(estimate: Estimate | None, unit: str = unit) -> str:
        return display.estimate(estimate, unit, decimals=2, turned=display.kelvins)

    rows = [
        (say["bias"], difference(result.bias_k)),
        (say["normalised_error"], display.estimate(result.normalised_error, decimals=2)),
        (say["clock_offset"], display.duration(result.clock_offset_s, decimals=0)),
        (say["lag"], display.duration(result.lag_s, decimals=0)),
        (say["drift"], difference(result.drift_k_per_day, per_day)),
    ]
    for level in result.by_level:
        words_of = say["at_level"].format(level=display.level_words(level.dew_point_c, 0))
        rows.append((words_of, difference(level.bias_k)))
    show_result(
        speak(result.statement, display),
        rows,
        [words("what_if")["interval"], *(speak(note, display) for note in result.notes)],
        action=result.action,
        caution=result.caution,
    )
