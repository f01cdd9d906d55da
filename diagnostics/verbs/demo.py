"""``dewswing demo``: an invented plant from log to report."""

from __future__ import annotations

import click

from diagnostics.verbs.options import make_folder, progress_on_screen, refuse_unwritable


@click.command(name="demo", epilog="Example: dewswing demo -o my-first-look")
@click.option("-o", "folder", default="dewswing-demo", show_default=True, metavar="FOLDER", help="Where the files go.")
@click.option("--seed", type=int, default=7, show_default=True, metavar="N", help="Seed of the invented log.")
@click.option("--json", "json_path", metavar="OUT", help="Write the result as JSON as well; - for the screen.")
def verb(folder: str, seed: int, json_path: str | None) -> None:
    """Make an invented plant's log, diagnose it, and write the report next to it; no network, no questions."""
    from importlib import resources

    from diagnostics.files import write_whole

    refuse_unwritable(json_path)
    target = make_folder(folder)
    refuse_unwritable(target / "log.csv")

    from diagnostics.bed.simulation import simulate
    from diagnostics.diagnosis import diagnose
    from diagnostics.log.reading import read_log
    from diagnostics.plant import load_plant
    from diagnostics.report.document import document_text
    from diagnostics.report.page import report_page

    text = resources.files("scenarios").joinpath("demo.toml").read_text(encoding="utf-8")
    plant_path = write_whole(target / "plant.toml", text)
    with progress_on_screen() as progress:
        plant = load_plant(plant_path)
        progress("running the invented dryer for two days")
        table, _ = simulate(plant, days=2.0, seed=seed)
        log_path = write_whole(target / "log.csv", table.to_csv(index=False, lineterminator="\n"))
        diagnosis = diagnose(read_log([str(log_path)], plant), plant, progress=progress)
        progress("drawing the report")
        document = document_text(diagnosis)
        json_file = write_whole(target / "diagnosis.json", document)
        report = write_whole(target / "report.html", report_page(diagnosis))
    if json_path == "-":
        click.echo(document.rstrip("\n"))
        return
    if json_path:
        write_whole(json_path, document)
    from diagnostics.report.terminal import show_diagnosis

    click.echo("An invented plant: no such site exists.\n")
    show_diagnosis(diagnosis, [str(path) for path in (log_path, plant_path, json_file, report)])
    click.echo(f"\nOpen {report} in a browser. Your own log: dewswing diagnose LOG --plant {plant_path}")
