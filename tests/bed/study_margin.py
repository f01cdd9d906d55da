"""How well the margin is told on plants the engine was not built on: a table, not a test.

    python -m tests.bed.study_margin [LOGS] [SEED] [--segment]

Prints, for logs in which a rise shows and for those without, the median error of the time to the limit, the coverage of
the 95 % interval, the error of the rule of thumb 1.1 x half-cycle / load ratio, and how the lower bound fares; of the
second plant also how the margin at peak load and the recommended setting do, its truth being in proportion to the load.
Every probe is off by as much as its plant file allows (2 K at 95 %), since intervals have to hold that. Without
``--segment`` the half-cycles are the true ones, so that the bed's room is judged alone.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

import numpy as np
import pandas as pd

from diagnostics.bed.breakthrough import margin_to_breakthrough
from diagnostics.bed.record import Breakthrough
from diagnostics.cycle.half_cycles import segment
from tests.bed.front_logs import HALF_CYCLE_S, front_log
from tests.bed.plant_logs import plant_log

PROBE_K = 1.0
"""Standard deviation of a probe's constant error, a half of the plants' ``uncertainty_c`` [K]."""


BEST_BOUND = 1.025
"""Nameplate half-cycles at rated load that 95 % of reserves spread evenly from 1.0 to 1.5 hold."""


def main() -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("logs", nargs="?", type=int, default=60)
    parser.add_argument("seed", nargs="?", type=int, default=1)
    parser.add_argument("--segment", action="store_true")
    asked = parser.parse_args()
    rows = [
        *_second_plant(asked.logs, asked.seed, asked.segment),
        *_published_fronts(asked.logs, asked.seed, asked.segment),
    ]
    table = pd.DataFrame(rows)
    print(_summary(table).to_string(float_format=lambda x: f"{x:.3f}"))


def _second_plant(logs: int, seed: int, segmented: bool) -> Iterator[dict[str, object]]:
    rng = np.random.default_rng([seed, 1])
    for number in range(logs):
        kind = ("heated", "heatless")[number % 2]
        hard = rng.random() < 0.6
        reserve = float(rng.uniform(0.6, 3.0) if hard else rng.uniform(1.0, 1.5))
        load = reserve * float(rng.uniform(0.7, 0.97)) if hard else float(rng.uniform(0.35, 0.8))
        log = plant_log(
            1000 * seed + number,
            kind=kind,
            reserve=reserve,
            load=load,
            days=float(rng.choice([1.0, 2.0]) if kind == "heatless" else rng.choice([2.0, 3.0, 5.0])),
            swing=float(rng.choice([0.05, 0.12, 0.3])),
            bias_k=float(rng.normal(0.0, PROBE_K)),
        )
        cycle = segment(log.screened, log.plant) if segmented else log.cycle
        found = margin_to_breakthrough(log.screened, cycle, log.plant)
        if cycle.half_cycle_s is None:
            continue
        today = cycle.half_cycle_s.value
        row = _row(f"second plant, {kind}", "repeated", found, found.sustained_margin_s, log.truth, today)
        yield row | _at_peak(found, log.truth, today)


def _published_fronts(logs: int, seed: int, segmented: bool) -> Iterator[dict[str, object]]:
    rng = np.random.default_rng([seed, 2])
    for number in range(logs):
        hard = rng.random() < 0.6
        reserve = float(rng.uniform(0.6, 1.6) if hard else rng.uniform(1.0, 1.5))
        use = float(rng.uniform(0.85, 1.1) if hard else rng.uniform(0.35, 0.7))
        log = front_log(
            1000 * seed + number,
            reserve=reserve,
            use=use,
            days=float(rng.choice([2.0, 3.0, 5.0])),
            bias_k=float(rng.normal(0.0, PROBE_K)),
        )
        cycle = segment(log.screened, log.plant) if segmented else log.cycle
        found = margin_to_breakthrough(log.screened, cycle, log.plant)
        truth = {"sustained_margin_s": log.margin_s, "load_ratio": log.load_ratio}
        yield _row("published fronts", "single", found, found.margin_s, truth, HALF_CYCLE_S)


def _row(source: str, which: str, found, margin, truth: dict, today_s: float) -> dict[str, object]:
    true_s = truth["sustained_margin_s"] + today_s
    told = margin is not None
    return {
        "log": f"{source}, {which}",
        "rise": "no rise" if found.censored else "rise",
        "error": abs(margin.value + today_s - true_s) / true_s if told else np.nan,
        "rule": abs(1.1 * today_s / truth["load_ratio"] - true_s) / true_s,
        "inside": margin.low <= truth["sustained_margin_s"] <= margin.high if told else np.nan,
        "low_holds": margin.low <= truth["sustained_margin_s"] if told else np.nan,
        "low_share": margin.low / truth["sustained_margin_s"] if told else np.nan,
        "best": (BEST_BOUND * today_s / truth["load_ratio"] - today_s) / truth["sustained_margin_s"],
        "width": (margin.high - margin.low) / true_s if told else np.nan,
    }


def _at_peak(found: Breakthrough, truth: dict, today_s: float) -> dict[str, object]:
    """How the margin at peak load and the setting do; a half-cycle lasts in inverse proportion to the load."""
    margin, setting_s = found.margin_at_peak_load_s, found.recommended_half_cycle_s
    if margin is None or setting_s is None or found.peak_load_ratio is None:
        return {}
    true_s = (truth["sustained_margin_s"] + today_s) * truth["load_ratio"] / found.peak_load_ratio
    longer = setting_s > today_s
    return {
        "peak_error": abs(margin.value + today_s - true_s) / true_s,
        "peak_inside": margin.low <= true_s - today_s <= margin.high,
        "longer_safe": setting_s <= true_s if longer else np.nan,
        "setting": setting_s / true_s if longer else np.nan,
    }


def _summary(table: pd.DataFrame) -> pd.DataFrame:
    pooled = table.assign(log="all")
    grouped = pd.concat([table, pooled]).groupby(["log", "rise"])
    return pd.DataFrame(
        {
            "logs": grouped.size(),
            "told": grouped["error"].count(),
            "median error": grouped["error"].median(),
            "90 % of errors": grouped["error"].quantile(0.9),
            "rule of thumb": grouped["rule"].median(),
            "interval holds": grouped["inside"].apply(lambda x: x.astype(float).mean()),
            "width": grouped["width"].median(),
            "low holds": grouped["low_holds"].apply(lambda x: x.astype(float).mean()),
            "low / truth": grouped["low_share"].median(),
            "best bound / truth": grouped["best"].median(),
            "peak error": grouped["peak_error"].median(),
            "peak holds": grouped["peak_inside"].apply(lambda x: x.dropna().astype(float).mean()),
            "longer set": grouped["longer_safe"].count(),
            "of them safe": grouped["longer_safe"].apply(lambda x: x.dropna().astype(float).mean()),
            "setting / truth": grouped["setting"].median(),
        }
    )


if __name__ == "__main__":
    main()
