"""How well findings name what is wrong: a balanced set of made logs with one fault each, counted as a table of
confusions.

Run ``python -m tests.health.study_findings --set tuning``; `--set final`` has other seeds and is for the end.
``--plant`` takes one of the two sources of logs alone, ``--draw FILE.svg`` draws the table. Logs are kept in a folder
and used again.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from diagnostics.diagnosis import diagnose
from diagnostics.health.record import Finding
from diagnostics.log.reading import read_log
from diagnostics.plant import plant_from
from tests.health.fault_sets import DUE, PLANTS, SETS, STEPS, Made, Recipe, made, recipes

NOTHING = "(nothing)"


@dataclass(frozen=True)
class Judged:
    """What was found in one log."""

    recipe: Recipe
    due: str | None
    open_codes: frozenset[str]
    found: tuple[Finding, ...]
    onset_error: float | None
    half_cycles: float

    @property
    def codes(self) -> set[str]:
        """Codes that count: those due, and those that are wrong here."""
        return {finding.code for finding in self.found} - (self.open_codes - {self.due})

    @property
    def first(self) -> bool:
        """Whether the code due stands before every other but an overload or too much regeneration as true as it."""
        beside = {"excess_regeneration", "overload"} & (self.open_codes - {self.due})
        told = [f.code for f in self.found if f.code not in beside]
        return bool(told) and told[0] == self.due

    @property
    def warned(self) -> bool:
        """Whether a finding that is not true was more than information."""
        return any(f.severity != "info" and f.code not in self.open_codes for f in self.found)


def judge(item: Made) -> Judged:
    """Diagnose one log."""
    plant = plant_from(item.tables)
    diagnosis = diagnose(read_log([item.path], plant), plant)
    length_s = item.truth["half_cycle_s"] or float(item.tables["dryer"]["half_cycle_s"])
    error = None
    if item.recipe.fault in STEPS:
        onset_s = item.truth["onsets"].get(item.recipe.fault)
        starts = [f.start_s for f in diagnosis.findings if f.code == item.due and f.start_s is not None]
        if starts and onset_s is not None:
            error = (starts[0] - onset_s) / length_s
    span_s = float(diagnosis.screened.log.time_s[-1] - diagnosis.screened.log.time_s[0])
    return Judged(item.recipe, item.due, item.open_codes, diagnosis.findings, error, span_s / length_s)


def judge_recipe(recipe: Recipe, keep: Path) -> Judged:
    """Make, or take from the folder, and diagnose."""
    return judge(made(recipe, keep))


def scores(judged: list[Judged]) -> dict[str, tuple[int, int, int]]:
    """Hits, false alarms and misses by code."""
    counts: dict[str, tuple[int, int, int]] = {}
    for code in sorted(set(DUE.values())):
        asked = [j for j in judged if code == j.due or code not in j.open_codes]
        hits = sum(j.due == code and code in j.codes for j in asked)
        false = sum(j.due != code and code in j.codes for j in asked)
        counts[code] = (hits, false, sum(j.due == code for j in asked) - hits)
    return counts


def macro_f1(counts: dict[str, tuple[int, int, int]]) -> float:
    """Mean of the F1 of the codes that were due at least once."""
    return float(np.mean([2 * h / (2 * h + f + m) for h, f, m in counts.values() if h + m > 0]))


def confusions(judged: list[Judged]) -> pd.DataFrame:
    """Logs by the code due (rows) and the code found (columns); a log with two codes counts in two columns."""
    due = [j.due or "healthy" for j in judged if j.due or j.recipe.fault is None]
    found = [j.codes or {NOTHING} for j in judged if j.due or j.recipe.fault is None]
    rows = sorted(set(due), key=lambda code: (code == "healthy", code))
    columns = sorted(set().union(*found), key=lambda code: (code == NOTHING, code))
    table = pd.DataFrame(0, index=rows, columns=columns)
    for row, codes in zip(due, found, strict=True):
        for code in codes:
            table.loc[row, code] += 1
    return table


def say_confusions(table: pd.DataFrame) -> str:
    """The table for a terminal: rows numbered, columns by number, noughts as dots."""
    number = {code: str(k + 1) for k, code in enumerate(dict.fromkeys([*table.index, *table.columns]))}
    lines = ["due \\ found".ljust(31) + "".join(number[c].rjust(4) for c in table.columns)]
    for code in table.index:
        cells = "".join((str(v) if v else ".").rjust(4) for v in table.loc[code])
        lines.append(f"{number[code]:>3} {code:27}{cells}")
    others = [f"{number[c]} {c}" for c in table.columns if c not in table.index]
    return "\n".join(lines + (["columns beside: " + ", ".join(others)] if others else []))


def draw_confusions(table: pd.DataFrame, path: Path) -> None:
    """Write the table as an SVG picture."""
    import altair as alt
    import vl_convert

    long = table.reset_index(names="due").melt("due", var_name="found", value_name="logs")
    long = long[long["logs"] > 0]
    axes = alt.Chart(long).encode(
        x=alt.X("found:N", sort=list(table.columns), title="found", axis=alt.Axis(labelAngle=-60)),
        y=alt.Y("due:N", sort=list(table.index), title="due"),
    )
    cells = axes.mark_rect().encode(color=alt.Color("logs:Q", scale=alt.Scale(scheme="blues", type="sqrt")))
    numbers = axes.mark_text(fontSize=10).encode(text="logs:Q")
    path.write_text(vl_convert.vegalite_to_svg((cells + numbers).properties(width=560, height=520).to_dict()))


def _listed(args: argparse.Namespace) -> list[Recipe]:
    plants = PLANTS if args.plant == "both" else (args.plant,)
    listed = [r for p in plants for r in recipes(args.set, p, args.each, args.healthy)]
    return [r for r in listed if args.fault is None or (r.fault or "healthy") in args.fault]


def _judged(listed: list[Recipe], keep: Path, processes: int) -> Iterator[Judged]:
    if processes == 1:
        yield from (judge_recipe(recipe, keep) for recipe in listed)
        return
    with ProcessPoolExecutor(processes) as pool:
        yield from pool.map(judge_recipe, listed, [keep] * len(listed))


def _tell(judged: list[Judged]) -> None:
    counts = scores(judged)
    print(f"\n{'code':28}{'hits':>6}{'false':>6}{'missed':>7}")
    for code, (hits, false, missed) in counts.items():
        print(f"{code:28}{hits:6}{false:6}{missed:7}")
    print("\n" + say_confusions(confusions(judged)))
    faulty = [j for j in judged if j.due is not None]
    healthy = [j for j in judged if j.recipe.fault is None]
    sure = [(f.confidence, f.code == j.due) for j in judged for f in j.found if f.code not in j.open_codes]
    said, right = np.mean([c for c, _ in sure]), np.mean([r for _, r in sure])
    unseen = Counter(j.recipe.fault for j in judged if j.recipe.fault and j.due is None)
    print(f"\nmacro F1 {macro_f1(counts):.3f} over {len(counts)} codes, {len(faulty)} logs with a fault")
    print(f"fault ranks first: {np.mean([j.first for j in faulty]):.1%}")
    for name in sorted(STEPS):
        errors = [j.onset_error for j in faulty if j.recipe.fault == name and j.onset_error is not None]
        if errors:
            within = np.mean(np.abs(errors) <= 1.0)
            middle = np.median(errors)
            print(f"onset of {name:18} within one half-cycle {within:.0%} of {len(errors)}, median {middle:+.2f}")
    if healthy:
        print(f"healthy logs without warning: {np.mean([not j.warned for j in healthy]):.1%} of {len(healthy)}")
    print(f"mean confidence {said:.2f}, share that is right {right:.2f}, of {len(sure)} findings")
    print(f"faults too small to show, not counted: {dict(unseen)}")


def main() -> None:
    """Print each log's findings, the counts and the table of confusions."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--set", choices=list(SETS), default="tuning")
    parser.add_argument("--plant", choices=[*PLANTS, "both"], default="both")
    parser.add_argument("--each", type=int, default=10, help="logs of each fault from each plant")
    parser.add_argument("--healthy", type=int, default=40, help="healthy logs from each plant")
    parser.add_argument("--fault", action="append", help="only this one, or healthy; may be given again")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "study_findings")
    parser.add_argument("--draw", type=Path, help="write the table of confusions as SVG")
    args = parser.parse_args()
    args.keep.mkdir(parents=True, exist_ok=True)
    listed = _listed(args)
    judged: list[Judged] = []
    for j in _judged(listed, args.keep, args.processes):
        judged.append(j)
        wrong = j.codes != ({j.due} if j.due else set())
        mark = "*" if wrong else "r" if j.due and not j.first else " "
        said = ", ".join(f"{f.code} ({f.severity}, {f.confidence:.2f})" for f in j.found) or "nothing"
        onset = "" if j.onset_error is None else f" onset {j.onset_error:+.2f}"
        kind = "heated" if j.recipe.heated else "heatless"
        r = j.recipe
        print(f"{mark} {r.plant:6} {r.seed} {r.fault or 'healthy':18} {kind:9}{said}{onset}", flush=True)
    _tell(judged)
    if args.draw:
        draw_confusions(confusions(judged), args.draw)


if __name__ == "__main__":
    main()
