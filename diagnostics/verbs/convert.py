"""``dewswing convert``: one reading into every quantity, and against a limit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from diagnostics.errors import UsageError

if TYPE_CHECKING:
    from diagnostics.spot_check import SpotCheck

ROWS = (
    ("pressure_dew_point_c", "°C", 2),
    ("atmospheric_dew_point_c", "°C", 2),
    ("dew_point_over_water_c", "°C", 2),
    ("vapour_pressure_pa", "Pa", None),
    ("ppmv", "ppm", None),
    ("ppmv_moist", "ppm", None),
    ("ppmw", "ppm", None),
    ("mixing_ratio_g_kg", "g/kg", None),
    ("absolute_humidity_g_m3", "g/m³", None),
    ("reference_humidity_g_m3", "g/m³", None),
    ("relative_humidity_percent", "%", None),
    ("enhancement_factor", "", None),
)
VERDICT_STYLE = {"pass": "bold green", "fail": "bold red", "undecided": "bold yellow"}


@click.command(
    name="convert",
    context_settings={"ignore_unknown_options": True},
    epilog="Example: dewswing convert -38.5 degC --pressure-bar-g 7 --limit-c -40",
)
@click.argument("value", metavar="VALUE")
@click.argument("unit", metavar="UNIT")
@click.option(
    "--pressure-bar-g", type=float, required=True, metavar="P", help="Line pressure [bar gauge], whatever the basis."
)
@click.option(
    "--basis",
    default="pressure",
    show_default=True,
    metavar="pressure|atmospheric",
    help="Whether the value was taken at line pressure or at atmospheric pressure.",
)
@click.option(
    "--barometer-bar",
    type=float,
    default=1.01325,
    show_default=True,
    metavar="B",
    help="Air pressure outdoors [bar absolute].",
)
@click.option(
    "--gas-temperature-c", type=float, metavar="T", help="Air temperature [°C]; for g/m³ and % RH; 20 if not given."
)
@click.option(
    "--over",
    default="ice",
    show_default=True,
    metavar="ice|water",
    help="What a dew point below 0 °C is reckoned over.",
)
@click.option("--ideal", is_flag=True, help="Leave the enhancement factor out, as the trade's tables do.")
@click.option("--limit-c", type=float, metavar="L", help="Check the reading against this pressure dew point [°C].")
@click.option(
    "--uncertainty-c",
    type=float,
    default=2.0,
    show_default=True,
    metavar="U",
    help="Uncertainty of the pressure dew point, k = 2 [K].",
)
@click.option("--to", "to_value", type=float, metavar="VALUE2", help="Make a table up to this value.")
@click.option("--step", type=float, metavar="S", help="Step of the table.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON object instead of a table.")
def verb(value: str, unit: str, to_value: float | None, step: float | None, as_json: bool, **settings: Any) -> None:
    """Convert one humidity reading into all quantities; with a limit, say whether it is met.

    UNIT is one of degC degF ppmv ppmw g_m3 g_kg percent_rh. A negative VALUE is typed as it stands.
    """
    import json

    from diagnostics.spot_check import spot_check, spot_table

    # Numbers with a minus look like options to the parser, so it lets unknown options pass as words.
    if unit.startswith("--"):
        raise UsageError(f"there is no option {unit}; see dewswing convert --help.")
    number = _number(value)
    pressure_bar_g = settings.pop("pressure_bar_g")
    if to_value is None and step is None:
        result = spot_check(number, unit, pressure_bar_g, **settings)
        if as_json:
            click.echo(json.dumps(result.to_dict(), allow_nan=False, indent=2))
        else:
            _show(result)
        return
    if to_value is None or step is None:
        raise UsageError("a table needs both --to and --step.")
    table = spot_table(number, to_value, step, unit, pressure_bar_g, **settings)
    if as_json:
        click.echo(json.dumps([row.to_dict() for row in table], allow_nan=False, indent=2))
    else:
        _show_table(table)


def _number(text: str) -> float:
    try:
        return float(text.replace("−", "-").replace(",", "."))
    except ValueError:
        raise UsageError(f"VALUE {text!r} is not a number; write it like -40.5.") from None


def _show(result: SpotCheck) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from diagnostics.report.figures import say_level, say_number, say_share
    from diagnostics.report.texts import words

    console, say = Console(highlight=False), words("convert")
    rank = say["no_class"] if result.purity_class is None else str(result.purity_class)
    console.print(Text.assemble(say["class"], (rank, "bold")))
    if result.limit_c is not None and result.conformity is not None:
        console.print(
            Text.assemble(
                say["limit"].format(limit=say_level(result.limit_c)),
                (say[result.conformity], VERDICT_STYLE[result.conformity]),
                say["probability"].format(share=say_share(result.probability_of_conformity)),
            )
        )
    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim")
    table.add_column(justify="right")
    table.add_column()
    table.add_column()
    for key, unit, decimals in ROWS:
        shown, low, high = (
            say_number(number, digits=4) if decimals is None else say_number(number, decimals=decimals)
            for number in (getattr(result, key), *result.intervals.get(key, (None, None)))
        )
        between = words("headline")["between"].format(low=low, high=high)
        table.add_row(say[key], shown, unit, f"({between})" if key in result.intervals else "")
    console.print(table)
    console.print(Text(say["gas"].format(level=say_level(result.gas_temperature_c)), "dim"))
    for note in result.notes:
        console.print(Text(note, "dim"))


def _show_table(results: tuple[SpotCheck, ...]) -> None:
    from rich.console import Console
    from rich.table import Table

    from diagnostics.report.figures import say_number
    from diagnostics.report.texts import words

    table = Table(box=None, pad_edge=False, header_style="dim")
    for title in words("convert")["columns"].split("|"):
        table.add_column(title, justify="right")
    for row in results:
        table.add_row(
            f"{row.value:.10g}".replace("-", "−"),
            say_number(row.pressure_dew_point_c, decimals=2),
            say_number(row.atmospheric_dew_point_c, decimals=2),
            say_number(row.ppmv, digits=4),
            say_number(row.mixing_ratio_g_kg, digits=4),
            say_number(row.reference_humidity_g_m3, digits=4),
            "–" if row.purity_class is None else str(row.purity_class),
        )
    Console(highlight=False).print(table)
