"""``dewswing simulate``: a log from the dryer's model, with its truth."""

from __future__ import annotations

import click

from diagnostics.verbs.options import progress_on_screen, refuse_unwritable


@click.command(
    name="simulate", epilog="Example: dewswing simulate plant.toml --days 2 --fault tower_imbalance --seed 3 -o log.csv"
)
@click.argument("plant_path", metavar="PLANT.toml")
@click.option(
    "--days",
    type=click.FloatRange(0.01, 400),
    required=True,
    metavar="N",
    help="Length of the log [days], 0.01 to 400.",
)
@click.option("--fault", "faults", multiple=True, metavar="NAME", help="A fault; may be repeated. --faults lists them.")
@click.option(
    "--faults",
    "list_faults",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=lambda *given: _list(*given),
    help="List the faults and stop.",
)
@click.option("--seed", type=int, default=0, show_default=True, metavar="N", help="Same seed, same log.")
@click.option(
    "--interval-s", type=click.FloatRange(0.5, 3600), metavar="S", help="A reading every S seconds, 0.5 to 3600."
)
@click.option(
    "--margins", is_flag=True, help="Add the true margins and savings to the truth, by running the dryer on (slower)."
)
@click.option(
    "--channel",
    "channels",
    multiple=True,
    metavar="NAME",
    help="A further channel for the log: purge_flow. Faults of the purge show in it.",
)
@click.option(
    "--running-time",
    is_flag=True,
    help="Air flows only while the compressor is loaded, and the timer counts that time alone.",
)
@click.option("-o", "log_path", required=True, metavar="LOG.csv", help="Where the log goes.")
@click.option("--truth", "truth_path", metavar="OUT.json", help="Where the truth goes.")
@click.option("--json", "json_path", metavar="OUT", help="Write the truth here as well; - for the screen.")
def verb(
    plant_path: str,
    days: float,
    faults: tuple[str, ...],
    seed: int,
    interval_s: float | None,
    margins: bool,
    channels: tuple[str, ...],
    running_time: bool,
    log_path: str,
    truth_path: str | None,
    json_path: str | None,
) -> None:
    """Make a log with the dryer's model: for training, tests and what-if. The plant is run, nothing is painted."""
    import json

    from diagnostics.files import write_whole
    from diagnostics.verbs.options import write_json

    refuse_unwritable(log_path, truth_path, json_path)

    from diagnostics.bed.simulation import simulate
    from diagnostics.plant import load_plant

    with progress_on_screen() as progress:
        progress("running the dryer")
        plant = load_plant(plant_path)
        table, truth = simulate(
            plant,
            days=days,
            faults=faults,
            seed=seed,
            interval_s=interval_s,
            counted_in="running_time" if running_time else "clock_time",
            margins=margins,
            channels=channels,
            progress=progress,
        )
    text = json.dumps(truth, indent=1, allow_nan=False) + "\n"
    write_whole(log_path, table.to_csv(index=False, lineterminator="\n"))
    if truth_path:
        write_whole(truth_path, text)
    write_json(json_path, text)
    if json_path != "-":
        from diagnostics.report.figures import say_number
        from diagnostics.report.texts import words

        say = words("simulate")
        span = say["day"] if days == 1 else say["days"].format(count=f"{days:g}")
        click.echo(say["written"].format(count=say_number(len(table), decimals=0), days=span, path=log_path))


def _list(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if not wanted:
        return
    from diagnostics.bed.faults import FAULTS

    for name, fault in FAULTS.items():
        click.echo(f"{name:20}{fault.says}")
    context.exit()
