"""``dewswing diagnose``: the main job."""

from __future__ import annotations

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
    refuse_other_kind,
    refuse_unwritable,
    write_json,
)

if TYPE_CHECKING:
    from diagnostics.report.figures import Display

REPORT_KINDS = (".html", ".htm", ".pdf")


@click.command(
    name="diagnose",
    epilog="Example: dewswing diagnose monday.csv tuesday.csv --plant plant.toml --json out.json --report out.html",
)
@click.argument("logs", nargs=-1, metavar="LOG [LOG ...]")
@plant_option()
@json_option
@click.option("--report", "report_path", metavar="OUT.html|OUT.pdf", help="Write the report.")
@click.option("--half-cycles", "half_cycles_path", metavar="OUT.csv", help="Write the half-cycles as a table.")
@click.option("--findings", "findings_path", metavar="OUT.csv", help="Write the findings as a table.")
@click.option("--workbook", "workbook_path", metavar="OUT.xlsx", help="Write all tables as a workbook.")
@click.option("--screened", "screened_path", metavar="OUT.parquet", help="Write the screened log.")
@log_option
@display_options
@click.option("--rhythm-from", metavar="HEADER", help="Take the switchovers from this column.")
@click.option("--explain", "explain_key", metavar="KEY", help="Show how a figure came about.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the diagnosis document and stop.")
def verb(
    logs: tuple[str, ...],
    plant_path: str | None,
    json_path: str | None,
    report_path: str | None,
    half_cycles_path: str | None,
    findings_path: str | None,
    workbook_path: str | None,
    screened_path: str | None,
    columns: tuple[str, ...],
    rhythm_from: str | None,
    explain_key: str | None,
    schema: bool,
    units: str,
    numbers: str,
) -> None:
    """Diagnose a dryer from its dew point log; several LOGs are one dryer's, joined in time."""
    if schema:
        import json

        from diagnostics.report.schema import json_schema

        click.echo(json.dumps(json_schema(), indent=2))
        return
    if not logs:
        raise UsageError("diagnose needs a log; see dewswing diagnose --help.")
    if report_path and Path(report_path).suffix.lower() not in REPORT_KINDS:
        raise UsageError(f"--report {report_path}: the report's name must end in .html or .pdf.")
    for option, path, kind in (
        ("--json", json_path, ".json"),
        ("--half-cycles", half_cycles_path, ".csv"),
        ("--findings", findings_path, ".csv"),
        ("--workbook", workbook_path, ".xlsx"),
        ("--screened", screened_path, ".parquet"),
    ):
        refuse_other_kind(option, path, kind)
    pairs = parse_columns(columns)
    refuse_missing(*logs)
    refuse_unwritable(json_path, report_path, half_cycles_path, findings_path, workbook_path, screened_path)

    from diagnostics.diagnosis import diagnose
    from diagnostics.log.reading import read_log
    from diagnostics.plant import load_plant

    display = display_of(units, numbers)
    with progress_on_screen() as progress:
        plant = load_plant(plant_path)
        log = read_log(list(logs), plant, columns=pairs, progress=progress)
        diagnosis = diagnose(log, plant, rhythm_from=rhythm_from, progress=progress)
        progress("writing")
        paths = (json_path, report_path, half_cycles_path, findings_path, workbook_path, screened_path)
        _write_files(diagnosis, *paths, display=display)
    if json_path == "-":
        return
    if explain_key:
        from diagnostics.report.terminal import show_explanation

        show_explanation(diagnosis, explain_key)
        return
    from diagnostics.report.terminal import show_diagnosis

    show_diagnosis(diagnosis, [path for path in paths if path], display=display)


def _write_files(
    diagnosis: object,
    json_path: str | None,
    report_path: str | None,
    half_cycles_path: str | None,
    findings_path: str | None,
    workbook_path: str | None,
    screened_path: str | None,
    *,
    display: Display,
) -> None:
    from diagnostics.diagnosis import Diagnosis
    from diagnostics.files import write_whole

    assert isinstance(diagnosis, Diagnosis)
    contents: list[tuple[str, str | bytes]] = []
    if report_path:
        from diagnostics.report.page import report_bytes

        contents.append((report_path, report_bytes(diagnosis, Path(report_path).suffix.lower(), display=display)))
    if half_cycles_path or findings_path or workbook_path or screened_path:
        from diagnostics.report import tables

        if half_cycles_path:
            contents.append((half_cycles_path, tables.half_cycles_csv(diagnosis)))
        if findings_path:
            contents.append((findings_path, tables.findings_csv(diagnosis)))
        if workbook_path:
            contents.append((workbook_path, tables.workbook(diagnosis)))
        if screened_path:
            contents.append((screened_path, tables.screened_parquet(diagnosis)))
    if json_path:
        from diagnostics.report.document import document_text

        text = document_text(diagnosis)
        if json_path == "-":
            write_json(json_path, text)
        else:
            contents.append((json_path, text))
    # Everything is made before anything is written, so that a failure leaves no half set of files.
    for path, content in contents:
        write_whole(path, content)
