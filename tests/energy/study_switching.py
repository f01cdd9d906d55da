"""How well the saving and the margin are told on plants the engine was not built on: a table, not a test.

    DEWSWING_STUDY=FOLDER python -m tests.energy.study_switching [--half HALF] [--each] [--segment] [--probe]

The cases come from `tests.energy.study_plants`, which makes them first. Screening, margin, purge and switching run as
in a diagnosis; half-cycles are the true ones unless ``--segment`` is given, and probes read true unless ``--probe``
gives each a constant error of its own. Truth is what dew-point control then does on the same load.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np
import pandas as pd

from diagnostics.bed.breakthrough import margin_to_breakthrough
from diagnostics.cycle.half_cycles import segment
from diagnostics.energy.purge import account_purge
from diagnostics.energy.switching import switch_on_dew_point
from diagnostics.log.screening import screen
from diagnostics.plant import plant_from
from tests.bed.plant_logs import true_cycle
from tests.bed.study_margin import PROBE_K
from tests.energy.study_plants import Case, cases

FULL_SHARE = 0.02
"""Share of regenerations below which a dryer counts as fully loaded: nothing should be offered."""


def main() -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--half", choices=("development", "validation", "all"), default="development")
    parser.add_argument("--source", choices=("second", "bed"), action="append")
    parser.add_argument("--segment", action="store_true", help="find the half-cycles instead of taking the true ones")
    parser.add_argument("--probe", action="store_true", help="let every probe be off by as much as its plant allows")
    parser.add_argument("--each", action="store_true", help="print every case")
    asked = parser.parse_args()
    rows = [
        judged(_with_probe_error(case) if asked.probe else case, asked.segment)
        for source in asked.source or ("second", "bed")
        for case in cases(source, asked.half)
    ]
    table = pd.DataFrame(rows)
    if asked.each:
        print(table.to_string(float_format=lambda x: f"{x:.3f}", index=False))
    print(saving_table(table).to_string(float_format=lambda x: f"{x:.3f}"))
    print(margin_table(table).to_string(float_format=lambda x: f"{x:.3f}"))


def _with_probe_error(case: Case) -> Case:
    error_k = float(np.random.default_rng([case.number, 17]).normal(0.0, PROBE_K))
    channels = case.log.channels | {"dew_point": case.log.channels["dew_point"] + error_k}
    return replace(case, log=replace(case.log, channels=channels))


def judged(case: Case, segmented: bool = False) -> dict[str, object]:
    """What the engine says of one case, beside its truth."""
    plant, truth = plant_from(case.tables), case.truth
    screened = screen(case.log, plant)
    cycle = segment(screened, plant) if segmented else true_cycle(screened, {"control": ["fixed"]} | truth)
    margin = margin_to_breakthrough(screened, cycle, plant)
    switching = switch_on_dew_point(screened, cycle, margin, account_purge(screened, cycle, plant), plant)
    share = switching.figures.regenerations_saved_share
    row: dict[str, object] = {
        "source": case.source,
        "n": case.number,
        "kind": case.kind,
        "use": truth["use"],
        "reserve": truth["reserve"],
        "rise": margin.rise_c,
        "peak": float(cycle.complete["end_dew_point_c"].median()),
        "shows": not margin.censored,
        "limited_by": switching.limited_by,
        "true": max(truth["saved_share"], 0.0),
        "told": np.nan if share is None else share.value,
        "low": np.nan if share is None else share.low,
        "high": np.nan if share is None else share.high,
    }
    today = truth["half_cycle_s"]
    for name, estimate, true_s in (
        ("sus", margin.sustained_margin_s, truth["sustained_s"] and truth["sustained_s"] - today),
        ("one", margin.margin_s if case.kind == "heated" else None, truth["single_margin_s"]),
    ):
        told = estimate is not None and true_s is not None
        row |= {
            f"{name}_true": np.nan if true_s is None else true_s / today,
            f"{name}": estimate.value / today if told else np.nan,
            f"{name}_low": estimate.low / today if told else np.nan,
            f"{name}_high": estimate.high / today if told else np.nan,
        }
    row["rule"] = 1.1 / margin.load_ratio if margin.load_ratio else np.nan
    return row


def saving_table(table: pd.DataFrame) -> pd.DataFrame:
    """Errors of the saved share by source, kind and whether a rise showed."""
    told = table.dropna(subset=["told", "true"]).copy()
    told["error"] = (told["told"] - told["true"]).abs()
    told["bias"] = told["told"] - told["true"]
    told["inside"] = (told["low"] - 1e-9 <= told["true"]) & (told["true"] <= told["high"] + 1e-9)
    told["width"] = told["high"] - told["low"]
    told["none"] = told["limited_by"] == "none_possible"
    told["full"] = told["true"] < FULL_SHARE
    parts = [(name, part) for name, part in told.groupby(["source", "kind", "shows"])]
    parts.append((("all", "", ""), told))
    return pd.DataFrame(
        {
            " ".join(map(str, name)): {
                "plants": len(part),
                "median error": part["error"].median(),
                "median bias": part["bias"].median(),
                "90 % of errors": part["error"].quantile(0.9),
                "interval holds": part["inside"].mean(),
                "width": part["width"].median(),
                "full": part["full"].sum(),
                "full, none offered": (part["full"] & part["none"]).sum(),
                "none offered wrongly": (part["none"] & (part["true"] > 0.05)).sum(),
            }
            for name, part in parts
        }
    ).T


def margin_table(table: pd.DataFrame) -> pd.DataFrame:
    """Errors of the time to the limit, single and sustained."""
    lines = {}
    for which in ("one", "sus"):
        told = table.dropna(subset=[which, f"{which}_true"]).copy()
        if told.empty:
            continue
        whole = told[f"{which}_true"] + 1.0
        told["error"] = (told[which] - told[f"{which}_true"]).abs() / whole
        told["by_rule"] = (told["rule"] - whole).abs() / whole
        told["inside"] = told[f"{which}_true"].between(told[f"{which}_low"], told[f"{which}_high"])
        told["holds"] = told[f"{which}_low"] <= told[f"{which}_true"]
        told["low_share"] = told[f"{which}_low"] / told[f"{which}_true"]
        told["low_time"] = (told[f"{which}_low"] + 1.0) / whole
        parts = [
            *told.groupby(["source", "kind", "shows"]),
            *((("all", "", shows), part) for shows, part in told.groupby("shows")),
        ]
        for name, part in parts:
            lines[f"{which} {' '.join(map(str, name))}"] = {
                "plants": len(part),
                "median error": part["error"].median(),
                "rule": part["by_rule"].median(),
                "interval holds": part["inside"].mean(),
                "low holds": part["holds"].mean(),
                "low / truth": part["low_share"].median(),
                "low / truth, whole time": part["low_time"].median(),
                "rise": part["rise"].median(),
            }
    return pd.DataFrame(lines).T


if __name__ == "__main__":
    main()
