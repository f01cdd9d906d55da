"""Options that several verbs share, and what they mean."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from diagnostics.errors import InputError, UsageError
from diagnostics.quantities import COLUMN_QUANTITIES

if TYPE_CHECKING:
    from diagnostics.report.figures import Display


def log_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add ``--column``."""
    return click.option(
        "--column",
        "columns",
        multiple=True,
        metavar="QUANTITY=HEADER",
        help=f"Which column holds which quantity ({', '.join(COLUMN_QUANTITIES)}); may be repeated.",
    )(function)


def plant_option(required: bool = False) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add ``--plant``."""
    return click.option("--plant", "plant_path", metavar="FILE.toml", required=required, help="The plant file.")


def display_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add ``--units`` and ``--numbers``."""
    units = click.option(
        "--units",
        type=click.Choice(["metric", "us"]),
        default="metric",
        show_default=True,
        help="Units on screen and in the report; the JSON document keeps its own.",
    )
    return units(numbers_option(function))


numbers_option = click.option(
    "--numbers",
    type=click.Choice(["1,234.5", "1.234,5", "1 234,5", "1234.5", "1234,5"]),
    default="1,234.5",
    show_default=True,
    help="Number format on screen and in the report.",
)


def display_of(units: str, numbers: str) -> Display:
    """The display that the two options ask for."""
    from dataclasses import replace

    from diagnostics.report.figures import METRIC, US

    group, decimal = (numbers[1] if len(numbers) == 7 else "", numbers[-2])
    return replace(METRIC if units == "metric" else US, group="\u202f" if group == " " else group, decimal=decimal)


json_option = click.option("--json", "json_path", metavar="OUT", help="Write the result as JSON; - for the screen.")


def parse_columns(columns: tuple[str, ...]) -> dict[str, str]:
    """Read ``QUANTITY=HEADER`` pairs.

    Raises
    ------
    UsageError
        If a pair has no ``=`` or names an unknown quantity.
    """
    pairs: dict[str, str] = {}
    for item in columns:
        quantity, found, header = item.partition("=")
        if not found or not header:
            raise UsageError(f"--column {item!r} must look like dew_point=HEADER.")
        if quantity not in COLUMN_QUANTITIES:
            raise UsageError(
                f"--column names the unknown quantity {quantity!r}; known: {', '.join(COLUMN_QUANTITIES)}."
            )
        pairs[quantity] = header
    return pairs


def parse_settings(pairs: tuple[str, ...]) -> dict[str, Any]:
    """Read ``TABLE.KEY=VALUE`` pairs; values are TOML, bare words are text.

    Raises
    ------
    UsageError
        If a pair does not have that form.
    """
    import tomllib

    settings: dict[str, Any] = {}
    for item in pairs:
        key, found, value = item.partition("=")
        if not found or "." not in key:
            raise UsageError(f"--set {item!r} must look like dryer.longest_half_cycle_s=3600.")
        try:
            settings[key.strip()] = tomllib.loads(f"value = {value.strip()}")["value"]
        except tomllib.TOMLDecodeError:
            settings[key.strip()] = value.strip()
    return settings


def write_json(path: str | None, text: str) -> None:
    """Write JSON text to a file, or to the screen for ``-``; nothing for None."""
    from diagnostics.files import write_whole

    if path == "-":
        click.echo(text.rstrip("\n"))
    elif path:
        write_whole(path, text)


KINDS = (".csv", ".json", ".html", ".htm", ".pdf", ".xlsx", ".xls", ".ods", ".parquet", ".toml")
"""Ends of names that promise a kind of file."""


def refuse_other_kind(option: str, path: str | None, kind: str) -> None:
    """Refuse a name that promises another kind of file than is written.

    Raises
    ------
    UsageError
        If the name ends like another kind.
    """
    end = Path(path or "").suffix.lower()
    if end != kind and end in KINDS:
        raise UsageError(f"{option} {path}: what is written there is {kind[1:]}; end the name in {kind}.")


def make_folder(folder: str | Path) -> Path:
    """Make a folder for results where it is not there yet.

    Raises
    ------
    InputError
        If a file is in the way or the folder cannot be made.
    """
    target = Path(folder)
    if target.exists() and not target.is_dir():
        raise InputError(f"{target} is a file; choose another folder with -o.")
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{target} cannot be made ({error.strerror}); choose another folder with -o.") from None
    return target


def refuse_unwritable(*paths: str | Path | None) -> None:
    """Find out before the work whether its results can be written."""
    from diagnostics.files import check_writable

    for path in paths:
        if path and str(path) != "-":
            check_writable(path)


def refuse_missing(*paths: str) -> None:
    """Say which log is missing.

    Raises
    ------
    InputError
        If a path does not exist or is a folder.
    """
    for path in paths:
        if not Path(path).exists():
            raise InputError(f"{path}: there is no such file; check the path.")
        if Path(path).is_dir():
            raise InputError(f"{path} is a folder; name a log in it, or use dewswing fleet for all of them.")
        if Path(path).suffix.lower() == ".toml":
            raise InputError(f"{path} is a plant file, no log; give it with --plant.")


@contextmanager
def progress_on_screen() -> Iterator[Callable[[str], None]]:
    """Show the present step on standard error while it lasts, if a person is watching."""
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda step: None
        return
    with console.status("reading the log") as status:
        yield lambda step: status.update(step)
