"""Timers that paused and holes of a few half-cycles: ``python -m tests.cycle.study_pauses [SEEDS] [--first SEED]``."""

from __future__ import annotations

import argparse
from collections import defaultdict

import numpy as np

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import Recipe, timer_log
from tests.cycle.scoring import margin_of, score

FIRST_SEED = 9500
HALVES = {"heatless": (240.0, 300.0, 420.0), "heated": (7200.0, 14400.0)}
DAYS = {"heatless": 1.0, "heated": 5.0}
INTERVALS = {"heatless": (10.0, 30.0), "heated": (60.0,)}


def main(seeds: int, first: int) -> None:
    """Print mean, median and lowest F1 by kind and by what broke the rhythm."""
    found = defaultdict(list)
    for seed in range(first, first + seeds):
        for kind in HALVES:
            for what, many in (("pauses", 1), ("pauses", 3), ("gaps", 1), ("gaps", 3)):
                rng = np.random.default_rng([seed, many, len(what), len(kind)])
                found[kind, what, many].append(_f1(rng, seed, kind, what, many))
    for key, values in found.items():
        print(*key, f"mean {np.mean(values):.3f} median {np.median(values):.3f} lowest {min(values):.3f}")


def _f1(rng: np.random.Generator, seed: int, kind: str, what: str, many: int) -> float:
    half, interval_s = float(rng.choice(HALVES[kind])), float(rng.choice(INTERVALS[kind]))
    length = DAYS[kind] * 86400.0
    holes = tuple(zip(np.sort(rng.uniform(0.12, 0.88, many)), rng.uniform(2.0, 7.0, many) * half / length, strict=True))
    made = timer_log(
        Recipe(
            half_cycle_s=half * (1.0 + 0.002 * rng.standard_normal()),
            days=DAYS[kind],
            interval_s=interval_s,
            seed=seed,
            unlike=float(rng.choice([0.0, 0.6])),
            tail_s=half / 2.0,
            spike_s=half / 8.0,
            lag_s=20.0 if kind == "heatless" else 120.0,
            pauses=holes if what == "pauses" else (),
            gaps=holes if what == "gaps" else (),
        )
    )
    time_s = made.screened.log.time_s
    starts = segment(made.screened, made.plant).half_cycles["start_s"].to_numpy(dtype=float)
    true, seen = made.switchovers_s, starts[starts > time_s[0]]
    for i in np.flatnonzero(np.diff(time_s) > 3.0 * interval_s):
        true, seen = (at[(at < time_s[i]) | (at > time_s[i + 1])] for at in (true, seen))
    return score(true, seen, margin_of(interval_s, half)).f1


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seeds", nargs="?", type=int, default=8)
    parser.add_argument("--first", type=int, default=FIRST_SEED)
    wanted = parser.parse_args()
    main(wanted.seeds, wanted.first)
