"""Length, switchovers and towers of fixed timers in many logs: ``python -m tests.cycle.study_length [LOGS] [FIRST]``.

Half of the logs come from the second plant, half from the textbook shapes of `tests.cycle.invented`; heatless and
heated, eight and more readings a half-cycle and five. Seeds from 7000 or FIRST on, fixed beforehand. Printed are, for
each kind, how many intervals of 95 % hold the true length, quantiles of the error, the mean F1 of the switchovers and
the share of half-cycles with the right tower where the towers differ. The second plant switches on a grid of 5 s: seeds
of heatless timers that drift by fewer than four such steps over the log are passed over, for their logs hold another
length than their truth.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.record import Cycle
from diagnostics.log.reading import read_log
from diagnostics.log.record import ScreenedLog
from diagnostics.log.screening import screen
from diagnostics.plant import Plant, plant_from
from tests.cycle.invented import Recipe, timer_log
from tests.cycle.scoring import margin_of, score
from tests.second_plant import second_plant

FIRST_SEED = 7000
GRID_S, LEAST_STEPS = 5.0, 4.0
KINDS = (
    "invented, heatless, 8 and more",
    "second plant, heatless, 8 and more",
    "invented, heatless, 5",
    "second plant, heatless, 5",
    "invented, heated, 4 days",
    "second plant, heated, 4 days",
    "invented, heated, 10 to 20 half-cycles",
    "second plant, heated, 10 to 20 half-cycles",
)


@dataclass(frozen=True)
class Case:
    """A screened log, its plate and truth."""

    screened: ScreenedLog
    plant: Plant
    half_cycle_s: float
    switchovers_s: np.ndarray
    towers: list[str]
    unlike: bool


def case_of(kind: str, seed: int) -> Case:
    """One log of a kind."""
    if kind.startswith("second"):
        return _second(kind, seed)
    rng = np.random.default_rng(seed)
    shape = {
        "plateau_c": float(rng.uniform(-65.0, -42.0)),
        "load_swing": float(rng.uniform(0.0, 0.4)),
        "noise_k": float(rng.uniform(0.01, 0.06)),
        "unlike": float(rng.choice([0.0, 0.0, 0.6])),
        "seed": seed,
    }
    if "heatless" in kind:
        interval_s = 60.0 if kind.endswith(", 5") else 10.0
        half = rng.uniform(292.0, 330.0) if interval_s == 60.0 else rng.uniform(150.0, 330.0)
        ends = {"spike": float(rng.uniform(0.15, 0.6)), "tail": float(rng.uniform(0.2, 0.6))}
        own = {"half_cycle_s": float(half), "interval_s": interval_s, "days": float(rng.choice([1.0, 2.0]))}
        recipe = Recipe(**shape, **ends, **own, lag_s=float(rng.uniform(10.0, 40.0)))
    else:
        half = float(rng.uniform(9_000.0, 15_000.0))
        days = 4.0 if "days" in kind else float(rng.uniform(11.0, 19.0)) * half / 86400.0
        ends = {"spike": float(rng.uniform(0.5, 3.0)), "tail": float(rng.uniform(0.2, 0.6))}
        times = {"spike_s": float(rng.uniform(400.0, 1200.0)), "tail_s": float(rng.uniform(1000.0, 3000.0))}
        recipe = Recipe(
            **shape,
            **ends,
            **times,
            half_cycle_s=half,
            days=days,
            interval_s=60.0,
            lag_s=90.0,
            regeneration="heated_purge",
        )
    made = timer_log(recipe)
    return Case(made.screened, made.plant, recipe.half_cycle_s, made.switchovers_s, made.towers, recipe.unlike > 0.0)


def _second(kind: str, seed: int) -> Case:
    heated = "heated" in kind
    few = "10 to 20" in kind
    days = (2.0 + 0.1 * (seed % 10) if few else 4.0) if heated else 1.0 + seed % 2
    five = kind.endswith(", 5")
    log, truth = second_plant(
        seed=seed,
        kind="heated" if heated else "heatless",
        days=days,
        interval_s=60.0 if five else None,
        half_cycle_s=300.0 if five else None,
        faults=("tower_imbalance",) if seed % 3 == 0 else (),
    )
    plant = plant_from(truth["plant"])
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "log.csv"
        log.to_csv(file, index=False)
        screened = screen(read_log([file], plant), plant)
    at = np.array([at for at, _ in truth["switchovers"]])
    towers = [tower for _, tower in truth["switchovers"]]
    return Case(screened, plant, truth["half_cycle_s"], at, towers, _differ_by_a_kelvin(truth))


def _next_case(kind: str, seed: int) -> tuple[Case, int]:
    """Next case whose log holds its true length."""
    while True:
        case = case_of(kind, seed)
        half = case.half_cycle_s
        drift = abs(half - GRID_S * np.rint(half / GRID_S)) * case.switchovers_s.size
        if "second plant, heatless" not in kind or drift >= LEAST_STEPS * GRID_S:
            return case, seed
        seed += 1


def _differ_by_a_kelvin(truth: dict) -> bool:
    peaks = [truth["towers"][tower]["peak_dew_point_c"] for tower in "AB"]
    return abs(peaks[0] - peaks[1]) >= 1.0


def right_towers(case: Case, cycle: Cycle) -> float:
    """Share of the named half-cycles with the right tower; the letters may be swapped as a whole."""
    table = cycle.complete
    at = np.searchsorted(case.switchovers_s, table["start_s"].to_numpy() + 0.5 * case.half_cycle_s) - 1
    same = np.array([case.towers[i] == tower for i, tower in zip(at, table["tower"], strict=True) if i >= 0])
    named = np.array([tower is not None for tower in table["tower"]])[at >= 0]
    return float(max(np.mean(same), np.mean(~same & named))) if same.size else 0.0


def main(logs: int, first: int) -> None:
    """Print one line a kind and a line for all."""
    following = dict.fromkeys(KINDS, first)
    rows: dict[str, list[tuple[float, bool, float, float, int]]] = {kind: [] for kind in KINDS}
    for number in range(logs):
        kind = KINDS[number % len(KINDS)]
        case, seed = _next_case(kind, following[kind])
        following[kind] = seed + 1
        cycle = segment(case.screened, case.plant)
        used = case.screened.log.time_s[case.screened.used]
        true = case.switchovers_s[(case.switchovers_s > used[0]) & (case.switchovers_s < used[-1])]
        found = cycle.half_cycles["start_s"].to_numpy()
        margin = margin_of(case.screened.log.interval_s, case.half_cycle_s)
        f1 = score(true, found[found > used[0]], margin).f1
        length = cycle.half_cycle_s
        error = abs(length.value / case.half_cycle_s - 1.0) if length is not None else np.inf
        holds = length is not None and length.low <= case.half_cycle_s <= length.high
        towers = right_towers(case, cycle) if case.unlike else np.nan
        rows[kind].append((error, holds, f1, towers, seed))
        if f1 < 0.97 or error > 3e-3:
            print(
                f"  {kind}, seed {seed}: {cycle.control}, F1 {f1:.3f}, length off by {100.0 * error:.3f} %", flush=True
            )
    print(f"{'logs':>44} {'n':>4} {'holds':>6} {'median, 95th, largest error':>28} {'F1':>7} {'towers':>7}")
    for kind in KINDS:
        _say(kind, rows[kind])
    _say("all", [row for kind in KINDS for row in rows[kind]])


def _say(name: str, rows: list[tuple[float, bool, float, float, int]]) -> None:
    error, holds, f1, towers = (np.array(column, dtype=float) for column in list(zip(*rows, strict=True))[:4])
    middle, high = np.quantile(error, (0.5, 0.95), method="higher")
    told = towers[np.isfinite(towers)]
    share = f"{told.mean():.4f}" if told.size else "-"
    sizes = f"{100 * middle:.4f} {100 * high:.4f} {100 * error.max():.4f} %"
    print(f"{name:>44} {error.size:>4} {int(holds.sum()):>6} {sizes:>28} {f1.mean():>7.4f} {share:>7}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500, int(sys.argv[2]) if len(sys.argv) > 2 else FIRST_SEED)
