"""A result in the terminal: a statement, its figures by name, and notes."""

from __future__ import annotations

from collections.abc import Iterable

from diagnostics.report.texts import words


def show_result(
    statement: str,
    rows: Iterable[tuple[str, str]],
    notes: Iterable[str],
    *,
    action: str = "",
    caution: str = "",
) -> None:
    """Print the statement, what to do, the figures and the notes."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False)
    console.print(Text(statement, "bold"))
    if action:
        console.print(Text.assemble(("→ ", "dim"), action))
    if caution:
        console.print(Text(words("terminal")["caution"] + caution, "dim"))
    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim")
    table.add_column()
    for name, shown in rows:
        table.add_row(name, Text(shown))
    console.print(table)
    for note in notes:
        console.print(Text(note, "dim"))
