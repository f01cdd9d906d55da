"""``dewswing what-if``: the energy side again with changed settings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from diagnostics.verbs.options import (
    display_of,
    display_options,
    json_option,
    log_option,
    parse_columns,
    parse_settings,
    plant_option,
    progress_on_screen,
    refuse_missing,
    refuse_unwritable,
    write_json,
)

if TYPE_CHECKING:
    from diagnostics.diagnosis import Diagnosis
    from diagnostics.report.figures import Display
    from diagnostics.what_if import WhatIf


@click.command(
    name="what-if",
    epilog="Example: dewswing what-if log.csv --plant plant.toml --set dryer.longest_half_cycle_s=3600",
)
@click.argument("logs", nargs=-1, required=True, metavar="LOG [LOG ...]")
@plant_option(required=True)
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="TABLE.KEY=VALUE",
    help="A setting of the plant file and its new value; may be repeated.",
)
@log_option
@display_options
@json_option
def verb(
    logs: tuple[str, ...],
    plant_path: str,
    settings: tuple[str, ...],
    columns: tuple[str, ...],
    json_path: str | None,
    units: str,
    numbers: str,
) -> None:
    """Reckon purge, switching and payback again with changed settings, before and after."""
    import json

    changed, pairs = parse_settings(settings), parse_columns(columns)
    refuse_missing(*logs)
    refuse_unwritable(json_path)

    from diagnostics.diagnosis import diagnose
    from diagnostics.log.reading import read_log
    from diagnostics.plant import load_plant
    from diagnostics.what_if import what_if

    with progress_on_screen() as progress:
        plant = load_plant(plant_path)
        log = read_log(list(logs), plant, columns=pairs, progress=progress)
        diagnosis = diagnose(log, plant, progress=progress)
        result = what_if(diagnosis, changed)
    whole = what_if_document(diagnosis, result)
    write_json(json_path, json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    if json_path != "-":
        display = display_of(units, numbers)
        _show(result, display)
        _show_levers(diagnosis, display)


def what_if_document(diagnosis: Diagnosis, result: WhatIf) -> dict[str, Any]:
    """Before and after under the keys of the diagnosis document, and the levers that are there today."""
    from diagnostics.report.document import energy_parts, lever_part

    return {
        "schema": "dewswing/what-if/1",
        "settings": dict(result.settings),
        "before": energy_parts(result.before.purge, result.before.switching, result.before.payback),
        "after": energy_parts(result.after.purge, result.after.switching, result.after.payback),
        "levers": lever_part(diagnosis),
        "notes": list(result.notes),
    }


def _show(result: WhatIf, display: Display) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from diagnostics.report.case_rows import paired_rows
    from diagnostics.report.spoken_units import speak
    from diagnostics.report.texts import words

    console, say = Console(highlight=False), words("what_if")
    if not result.settings:
        console.print(Text(say["unchanged"], "dim"))
    for key, value in result.settings.items():
        was = say["was"].format(before=_before(result, key))
        console.print(Text.assemble((f"{say['changed']}: ", "dim"), f"{key} = {value} ", (f"({was})", "dim")))
    table = Table(box=None, pad_edge=False, header_style="dim")
    for title in ("", say["before"], say["after"]):
        table.add_column(title, overflow="fold")
    for title, was, becomes in paired_rows(result, display):
        table.add_row(title, Text(was), Text(becomes, "" if was == becomes else "bold"))
    console.print(table)
    for note in (say["interval"], *result.notes, *result.after.switching.notes[:3]):
        console.print(Text(speak(note, display), "dim"))


def _before(result: WhatIf, key: str) -> str:
    """A setting before the change: as given, else as assumed."""
    from diagnostics.report.texts import words

    table, _, name = key.partition(".")
    held = getattr(result.before.plant, table, None)
    value = result.before.plant.tables.get(table, {}).get(name, getattr(held, name, None))
    if value is None:
        return words("what_if")["not_given"]
    return f"{value:g}" if isinstance(value, float) else str(value)


def _show_levers(diagnosis: Diagnosis, display: Display) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from diagnostics.report.levers import lever_columns, lever_notes, lever_rows
    from diagnostics.report.texts import words

    console = Console(highlight=False)
    console.print(Text.assemble((f"\n{words('headings')['levers']}", "bold"), f" ({words('what_if')['today']})"))
    rows = lever_rows(diagnosis, display)
    if rows:
        table = Table(box=None, pad_edge=False, header_style="dim")
        for title in lever_columns(rows):
            table.add_column(title, overflow="fold")
        for row in rows:
            table.add_row(*(Text(cell) for cell in row))
        console.print(table)
    for note in lever_notes(diagnosis, display):
        console.print(note, style="dim", markup=False)
