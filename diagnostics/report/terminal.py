"""One readable screen: what was seen, what it means, what to do first, what it is worth."""

from __future__ import annotations

from typing import Any

from rich.console import Console, Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from diagnostics.diagnosis import Diagnosis
from diagnostics.health.record import Finding
from diagnostics.moment import say_time
from diagnostics.report.derivation import explanation
from diagnostics.report.document import document
from diagnostics.report.figures import METRIC, Display, say_number
from diagnostics.report.setting_names import settings_in
from diagnostics.report.severity import SEVERITY_STYLE
from diagnostics.report.spoken_units import speak
from diagnostics.report.summary import Line, log_line, seen_lines, worth_lines
from diagnostics.report.texts import words

MOST_SET_ASIDE, MOST_FINDINGS = 4, 6


def show_diagnosis(
    diagnosis: Diagnosis, written: list[str], console: Console | None = None, *, display: Display = METRIC
) -> None:
    """Print the diagnosis.

    Parameters
    ----------
    diagnosis : Diagnosis
    written : list of str
        Files written, named at the end.
    console : Console, optional
    display : Display
        Units and number format.
    """
    console = console or Console(highlight=False, width=None)
    site = diagnosis.plant.site.name or diagnosis.screened.log.source
    console.print(Text.assemble(("dewswing  ", "dim"), (site, "bold")))
    console.print(Text(log_line(diagnosis, display), "dim"))
    say, headings = words("terminal"), words("headings")
    zone = diagnosis.screened.log.timezone
    for item in diagnosis.screened.exclusions[:MOST_SET_ASIDE]:
        start, end = say_time(item.start_s, zone), say_time(item.end_s, zone)
        console.print(Text(say["set_aside"].format(reason=words("reason")[item.reason], start=start, end=end), "dim"))
    if len(diagnosis.screened.exclusions) > MOST_SET_ASIDE:
        rest = len(diagnosis.screened.exclusions) - MOST_SET_ASIDE
        console.print(Text(say["more_set_aside"].format(count=rest), "dim"))
    console.print()
    seen, worth = seen_lines(diagnosis, display), worth_lines(diagnosis, display)
    console.print(_block(headings["seen"], seen))
    console.print(_block(headings["worth"], worth))
    console.print(_findings(diagnosis, display))
    asked = settings_in(" ".join(line.text for line in (*seen, *worth)))
    if asked:
        table, _, name = asked[0].partition(".")
        console.print(Text(say["asked"].format(key=asked[0], table=table, name=name), "dim"))
    assumed = len(diagnosis.plant.assumptions)
    console.print(Text(say["assumed_one" if assumed == 1 else "assumed"].format(count=assumed), "dim"))
    for path in written:
        console.print(Text.assemble((say["written"], "dim"), path))


def show_explanation(diagnosis: Diagnosis, key: str, console: Console | None = None) -> None:
    """Print how a figure came about: formula, inputs with their origin, source."""
    console = console or Console(highlight=False)
    steps = explanation(diagnosis, key)
    if not steps:
        console.print(words("explain")["cannot"].format(key=key), markup=False)
    whole = document(diagnosis)
    for step in steps:
        said = f" = {say_number(step.value, digits=4)} {step.unit}".removesuffix(" -")
        console.print(Text.assemble((step.key, "bold"), said, (_interval(whole, step.key), "dim")))
        console.print(Padding(Text(step.formula), (0, 0, 0, 2)))
        for name, value, origin in step.inputs:
            shown = say_number(value, digits=4) if isinstance(value, float | int) else value
            console.print(Padding(Text.assemble(f"{name} = {shown} ", (f"({origin})", "dim")), (0, 0, 0, 4)))
        console.print(Padding(Text(words("terminal")["source"].format(source=step.source), "dim"), (0, 0, 1, 2)))


def _interval(whole: dict[str, Any], key: str) -> str:
    """Interval of a figure of the document in words, empty where it has none."""
    node: Any = whole
    for part in key.split("."):
        node = node.get(part) if isinstance(node, dict) else None
    if not isinstance(node, dict) or node.get("low") is None:
        return ""
    low, high = (say_number(node[end], digits=4) for end in ("low", "high"))
    return words("terminal")["interval"].format(low=low, high=high)


def _block(title: str, lines: list[Line]) -> Group:
    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim", no_wrap=True, min_width=9)
    table.add_column(overflow="fold")
    for line in lines:
        table.add_row(line.topic, line.text)
    return Group(Text(title, "bold"), Padding(table, (0, 0, 1, 2)))


def _findings(diagnosis: Diagnosis, display: Display) -> Group:
    title = Text(words("headings")["do_first"], "bold")
    if not diagnosis.findings:
        return Group(title, Padding(Text(words("page")["nothing_stands_out"]), (0, 0, 1, 2)))
    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    for finding in diagnosis.findings[:MOST_FINDINGS]:
        severity = Text(words("severity")[finding.severity], SEVERITY_STYLE[finding.severity])
        table.add_row(severity, _finding_text(finding, display))
    rest = len(diagnosis.findings) - MOST_FINDINGS
    more = [Text(f"  {words('terminal')['more_findings'].format(count=rest)}", "dim")] if rest > 0 else []
    return Group(title, Padding(table, (0, 0, 1, 2)), *more)


def _finding_text(finding: Finding, display: Display) -> Text:
    text = Text.assemble(speak(finding.statement, display), "\n", ("→ ", "dim"), speak(finding.action, display))
    if finding.caution:
        text.append(f"\n{words('terminal')['caution']}{speak(finding.caution, display)}", "dim")
    return text
