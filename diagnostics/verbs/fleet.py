"""``dewswing fleet``: a folder of logs, ranked."""

from __future__ import annotations

import click

from diagnostics.verbs.options import (
    display_of,
    display_options,
    json_option,
    make_folder,
    progress_on_screen,
    refuse_unwritable,
    write_json,
)


@click.command(name="fleet", epilog="Example: dewswing fleet logs/ -o fleet-results")
@click.argument("folder", metavar="FOLDER")
@click.option("-o", "out", metavar="OUT", help="Folder for documents and table; a restart resumes from it.")
@click.option("--workers", type=click.IntRange(1), metavar="N", help="Local processes; one a core if not given.")
@click.option("--scheduler", metavar="ADDRESS", help="Use the Dask cluster at this address.")
@display_options
@json_option
def verb(
    folder: str,
    out: str | None,
    workers: int | None,
    scheduler: str | None,
    units: str,
    numbers: str,
    json_path: str | None,
) -> None:
    """Diagnose every log in FOLDER with the plant file beside it and rank the dryers by urgency and money."""
    import json

    from diagnostics.files import write_whole
    from diagnostics.fleet import find_dryers, headers, refuse_no_cluster, run_fleet
    from diagnostics.report.fleet_page import fleet_csv, fleet_page, show_fleet

    refuse_unwritable(json_path)
    dryers = find_dryers(folder)
    if scheduler is not None:
        refuse_no_cluster()
    target = make_folder(out) if out else None
    if target:
        refuse_unwritable(target / "fleet.csv")
    with progress_on_screen() as progress:
        rows = run_fleet(dryers, out=target, workers=workers, scheduler=scheduler, progress=progress)
    mixed, display = headers(rows), display_of(units, numbers)
    text = json.dumps(
        {"schema": "dewswing/fleet/1", "dryers": rows, "headers": mixed}, indent=2, ensure_ascii=False, allow_nan=False
    )
    write_json(json_path, text + "\n")
    if target:
        write_whole(target / "fleet.json", text + "\n")
        write_whole(target / "fleet.csv", fleet_csv(rows))
        write_whole(target / "fleet.html", fleet_page(rows, mixed, display=display))
    if json_path != "-":
        written = [str(target / name) for name in ("fleet.html", "fleet.csv")] if target else []
        show_fleet(rows, mixed, written, display)
