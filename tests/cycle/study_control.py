"""Switchovers under dew-point control and in logs that change their control, on logs fixed beforehand.

``python -m tests.cycle.study_control [SEEDS] [--first SEED] [--each]``: for every seed a heatless and a heated log of
the second plant at each of `SETTINGS`, and the same dryers with the control changed on the way. The seeds were fixed
before the engine was tuned.
"""

from __future__ import annotations

import argparse
from typing import Any

import numpy as np
import pandas as pd

from tests.cycle.second_logs import Case, Drawn, case_of, kept, scored, second_case
from tests.second_plant import second_plant

FIRST_SEED = 9100
DAYS = {"heatless": 1.0, "heated": 4.0}
SETTINGS: dict[str, tuple[dict[str, Any], ...]] = {
    "heatless": (
        {"interval_s": 10.0},
        {"interval_s": 30.0, "detection_s": 20.0},
        {"interval_s": 10.0, "load": 0.9, "reserve": 1.1, "swing": 0.3},
        {"interval_s": 10.0, "load": 0.5, "reserve": 1.0, "swing": 0.25, "detection_s": 20.0},
    ),
    "heated": (
        {"interval_s": 60.0, "detection_s": 60.0},
        {"interval_s": 120.0},
        {"interval_s": 60.0, "load": 0.9, "reserve": 1.2, "swing": 0.3},
        {"interval_s": 60.0, "load": 0.45, "reserve": 2.0, "swing": 0.05},
    ),
}


def main(seeds: int, first: int, each: bool) -> None:
    """Print a table of medians, shares and the worst logs."""
    rows = []
    for seed in range(first, first + seeds):
        for kind, settings in SETTINGS.items():
            for number, setting in enumerate(settings):
                case = second_case(seed=seed, kind=kind, control="dew_point", days=DAYS[kind], **setting)
                rows.append(_row(f"{kind} {number}", seed, case, "dew_point"))
            for order in (("fixed", "dew_point"), ("dew_point", "fixed")):
                case = case_of(*kept(mixed_log, seed=seed, kind=kind, order=order))
                rows.append(_row(f"{kind} {order[0]} then {order[1]}", seed, case, None))
    table = pd.DataFrame(rows)
    if each:
        print(table.to_string())
    summary = table.groupby("logs").agg(
        n=("f1", "size"),
        f1=("f1", "mean"),
        median=("f1", "median"),
        lowest=("f1", "min"),
        below=("f1", lambda f1: int((f1 < 0.97).sum())),
        control=("control", "mean"),
        set_point_error_k=("set_point_error_k", lambda e: e.abs().median()),
        turn_error=("turn_error", "median"),
        split=("split", "mean"),
    )
    print(summary.round(3).to_string())
    plain = table["split"].isna()
    print(
        "dew point control: mean F1", round(table[plain].f1.mean(), 4), "control", round(table[plain].control.mean(), 4)
    )
    print("mixed: mean F1", round(table[~plain].f1.mean(), 4), "split", round(table[~plain].split.mean(), 4))
    print(table.sort_values("f1").head(25)[["logs", "seed", "f1", "word", "true_s", "found_s"]].to_string())


def _row(logs: str, seed: int, case: Case, wanted: str | None) -> dict[str, Any]:
    cycle = case.cycle()
    row = {
        "logs": logs,
        "seed": seed,
        "f1": scored(case, cycle).f1,
        "word": cycle.control,
        "control": cycle.control == wanted if wanted else np.nan,
        "true_s": case.truth["half_cycle_s"],
        "found_s": cycle.half_cycle_s.value if cycle.half_cycle_s else np.nan,
        "set_point_error_k": cycle.set_point_c.value + 40.0 if cycle.set_point_c else np.nan,
        "split": np.nan,
        "turn_error": np.nan,
    }
    if wanted is None:
        turn, order = case.truth["turn_s"], case.truth["order"]
        kinds = [span.control for span in cycle.control_spans]
        row["split"] = float(kinds == order)
        # each part against its own half-cycle; the turn itself stands in both
        edge = 0.5 * case.truth["half_cycle_s"]
        parts = [scored(case, cycle, (-np.inf, turn + edge)), scored(case, cycle, (turn - edge, np.inf))]
        at = np.array([at for at, _ in case.truth["switchovers"]])
        weight = float(np.mean(at < turn))
        row["f1"] = weight * parts[0].f1 + (1.0 - weight) * parts[1].f1
        if kinds == order:
            row["turn_error"] = abs(cycle.control_spans[1].start_s - turn) / case.truth["half_cycle_s"]
    return row


def mixed_log(seed: int, kind: str, order: tuple[str, str]) -> Drawn:
    """The same dryer under one control and then the other, joined at a switchover."""
    drawn = [second_plant(seed, kind=kind, control=control, days=0.75 * DAYS[kind]) for control in order]
    (before, truth), (after, later) = drawn
    middle = truth["start"] + 0.5 * DAYS[kind] * 86400.0
    leave = next(at for at, _ in truth["switchovers"] if at >= middle)
    at, _ = next(item for item in later["switchovers"] if item[0] >= later["start"] + 0.2 * DAYS[kind] * 86400.0)
    shift = leave - at
    stamps = [pd.to_datetime(table["Time"]) for table in (before, after)]
    zero = [truth["start"] - s.iloc[0].timestamp() for s in stamps]
    first = before[np.array([s.timestamp() for s in stamps[0]]) + zero[0] < leave]
    seconds = np.array([s.timestamp() for s in stamps[1]]) + zero[1]
    second = after[seconds >= at].copy()
    second["Time"] = (stamps[1][seconds >= at] + pd.Timedelta(seconds=round(shift))).dt.strftime("%Y-%m-%d %H:%M:%S")
    switchovers = [item for item in truth["switchovers"] if item[0] < leave]
    switchovers += [[item[0] + shift, item[1]] for item in later["switchovers"] if item[0] >= at]
    log = pd.concat([first, second], ignore_index=True)
    lengths = np.diff([item[0] for item in switchovers])
    return log, truth | {
        "switchovers": switchovers,
        "half_cycle_s": float(np.median(lengths)),
        "turn_s": leave,
        "order": list(order),
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seeds", nargs="?", type=int, default=16)
    parser.add_argument("--first", type=int, default=FIRST_SEED)
    parser.add_argument("--each", action="store_true")
    wanted = parser.parse_args()
    main(wanted.seeds, wanted.first, wanted.each)
