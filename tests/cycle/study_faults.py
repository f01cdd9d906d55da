"""Switchovers in faulty logs of the second plant: ``python -m tests.cycle.study_faults [SEEDS] [--first SEED]``.

Every fault, both kinds, a timer behind the switchovers, at each of `INTERVALS`. The seeds were fixed beforehand.
"""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd

from tests.cycle.second_logs import scored, second_case, true_switchovers
from tests.second_plant import FAULTS

FIRST_SEED = 9300
INTERVALS = {"heatless": (10.0, 30.0, 60.0), "heated": (60.0, 120.0)}
DAYS = {"heatless": 1.0, "heated": 4.0}


def main(seeds: int, first: int) -> None:
    """Print F1 by fault, kind and interval, the share of right control words, and the worst logs."""
    rows = []
    for fault in ("", *FAULTS):
        for kind, intervals in INTERVALS.items():
            for interval_s in intervals:
                for seed in range(first, first + seeds):
                    case = second_case(
                        seed=seed,
                        kind=kind,
                        faults=(fault,) if fault else (),
                        days=DAYS[kind],
                        interval_s=interval_s,
                    )
                    cycle = case.cycle()
                    true = true_switchovers(case.truth)
                    stop = case.truth["onsets"].get("stopped_switching", np.inf)
                    starts = cycle.half_cycles["start_s"].to_numpy(dtype=float)
                    rows.append(
                        {
                            "fault": fault or "none",
                            "at": f"{kind} {interval_s:g} s",
                            "seed": seed,
                            "f1": scored(case, cycle).f1,
                            "word": cycle.control,
                            "right": cycle.control in case.truth["control"],
                            "found": cycle.half_cycle_s.value if cycle.half_cycle_s else np.nan,
                            "true": case.truth["half_cycle_s"],
                            "after_stop": int((starts > stop + 0.5 * case.truth["half_cycle_s"]).sum()),
                            "many": true.size,
                        }
                    )
    table = pd.DataFrame(rows)
    print(table.pivot_table(index="fault", columns="at", values="f1", aggfunc="mean", sort=False).round(3).to_string())
    print("control word right:", round(float(table.right.mean()), 4), "of", len(table))
    print("half-cycles after a stop:", int(table.after_stop.sum()))
    print("mean F1:", round(float(table.f1.mean()), 4), "logs below 0.97:", int((table.f1 < 0.97).sum()))
    print(table.sort_values("f1").head(45).to_string())


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seeds", nargs="?", type=int, default=6)
    parser.add_argument("--first", type=int, default=FIRST_SEED)
    wanted = parser.parse_args()
    main(wanted.seeds, wanted.first)
