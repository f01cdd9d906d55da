"""``dewswing convert``: one reading into every quantity, and against a limit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from diagnostics.errors import UsageError

if TYPE_CHECKING:
    from diagnostics.spot_check import SpotCheck

ROWS = (
    ("pressure dew point", "pressure_dew_point_c", "°C", 2),
    ("atmospheric dew point", "atmospheric_dew_point_c", "°C", 2),
    ("dew point over water", "dew_point_over_water_c", "°C", 2),
    ("vapour pressure", "vapour_pressure_pa", "Pa", None),
    ("by volume of dry air", "ppmv", "ppm", None),
    ("by volume of moist air", "ppmv_moist", "ppm", None),
    ("by mass of dry air", "ppmw", "ppm", None),
    ("mixing ratio", "mixing_ratio_g_kg", "g/kg", None),
    ("absolute humidity at the line", "absolute_humidity_g_m3", "g/m³", None),
    ("per m³ at 20 °C, 1 bar, dry", "reference_humidity_g_m3", "g/m³", None),
    ("relative humidity", "relative_humidity_percent", "%", None),
    ("enhancement factor", "enhancement_factor", "", None),
)
VERDICT = {"pass": ("meets the limit", "bold green"), "fail": ("does not meet the limit", "bold red")}


@click.command(
    name="convert",
    context_settings={"ignore_unknown_options": True},
    epilog="Example: dewswing convert -38.5 degC --pressure-bar-g 7 --limit-c -40",
)
@click.argument("value", metavar="VALUE")
@click.argument("unit", metavar="UNIT")
@click.option("--pressure-bar-g", type=float, required=True, metavar="P", help="Line pressure [bar gauge].")
@click.option(
    "--basis", default="pressure", show_default=True, help="Where the value was taken: pressure, atmospheric."
)
@click.option("--barometer-bar", type=float, default=1.01325, show_default=True, help="Air pressure outdoors.")
@click.option("--gas-temperature-c", type=float, metavar="T", help="Air temperature; for g/m³ and %RH.")
@click.option("--over", default="ice", show_default=True, help="Dew points below 0 °C are over ice, or over water.")
@click.option("--ideal", is_flag=True, help="Leave the enhancement factor out, as the trade's tables do.")
@click.option("--limit-c", type=float, metavar="L", help="Check the reading against this pressure dew point.")
@click.option("--uncertainty-c", type=float, default=2.0, show_default=True, help="Expanded uncertainty, k = 2 [K].")
@click.option("--to", "to_value", type=float, metavar="VALUE2", help="Make a table up to this value.")
@click.option("--step", type=float, metavar="S", help="Step of the table.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON object instead of a table.")
def verb(value: str, unit: str, to_value: float | None, step: float | None, as_json: bool, **settings: Any) -> None:
    """Convert one humidity reading into all quantities; with a limit, say whether it is met.

    UNIT is one of degC degF ppmv ppmw g_m3 g_kg percent_rh. A negative VALUE is typed as it stands.
    """
    import json

    from diagnostics.spot_check import spot_check, spot_table

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

    console = Console(highlight=False)
    rank = "none (wetter than +10 °C)" if result.purity_class is None else str(result.purity_class)
    console.print(Text.assemble("ISO 8573-1 water class ", (rank, "bold")))
    if result.limit_c is not None and result.conformity is not None:
        words, style = VERDICT.get(
            result.conformity, ("undecided: the limit lies within the uncertainty", "bold yellow")
        )
        console.print(
            Text.assemble(
                f"limit {say_level(result.limit_c)}: ",
                (words, style),
                f", probability of conformity {say_share(result.probability_of_conformity)}",
            )
        )
    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim")
    table.add_column(justify="right")
    table.add_column()
    for title, key, unit, decimals in ROWS:
        number = getattr(result, key)
        shown = say_number(number, digits=4) if decimals is None else say_number(number, decimals=decimals)
        table.add_row(title, shown, unit)
    console.print(table)
    console.print(Text(f"at a gas temperature of {say_level(result.gas_temperature_c)}", "dim"))
    for note in result.notes:
        console.print(Text(note, "dim"))


def _show_table(results: tuple[SpotCheck, ...]) -> None:
    from rich.console import Console
    from rich.table import Table

    from diagnostics.report.figures import say_number

    table = Table(box=None, pad_edge=False, header_style="dim")
    for title in ("value", "pressure dp °C", "atmospheric dp °C", "ppmv", "g/kg", "g/m³ (20 °C, 1 bar)", "class"):
        table.add_column(title, justify="right")
    for row in results:
        table.add_row(
            say_number(row.value, digits=6),
            say_number(row.pressure_dew_point_c, decimals=2),
            say_number(row.atmospheric_dew_point_c, decimals=2),
            say_number(row.ppmv, digits=4),
            say_number(row.mixing_ratio_g_kg, digits=4),
            say_number(row.reference_humidity_g_m3, digits=4),
            "–" if row.purity_class is None else str(row.purity_class),
        )
    Console(highlight=False).print(table)
