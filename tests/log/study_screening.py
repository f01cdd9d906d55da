"""How much of what is not the dryer's air is set aside, and how much sound air with it: counts over made logs.

Run ``python -m tests.log.study_screening 200``. Logs come from the second plant, heatless and heated in turn, seeds
from 88000 fixed before anything was looked at. The truth of a settling is the same log without it: it ends where the
two come within half a kelvin for good.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from diagnostics.log.reading import read_log
from diagnostics.log.record import ScreenedLog
from diagnostics.log.screening import screen
from diagnostics.plant import plant_from
from tests.second_plant import second_plant

FIRST_SEED = 88000
SOUND = (None, None, None, "overload", "tower_imbalance", "liquid_carryover", "dead_heater", "bypass_leak")
CONTROLS = ("fixed", "dew_point", "stopped")
REASON = {
    "removal": "removal",
    "frozen_sensor": "frozen",
    "stagnant_sample": "stagnant",
    "lost_rows": "gap",
    "clock_jump": "clock_jump",
}


@dataclass(frozen=True)
class Case:
    """A made log, its truth, and what screening makes of it."""

    table: pd.DataFrame
    truth: dict[str, Any]
    screened: ScreenedLog

    def set_aside(self, *reasons: str) -> np.ndarray:
        """Rows set aside, for these reasons or for any."""
        time_s = self.screened.log.time_s
        rows = np.zeros(time_s.size, dtype=bool)
        for item in self.screened.exclusions:
            if item.reason != "gap" and (not reasons or item.reason in reasons):
                rows |= (time_s >= item.start_s) & (time_s <= item.end_s)
        return rows


def made(seed: int, fault: str | None, folder: Path, control: str = "fixed") -> Case:
    """Draw a dryer and a logger, make the log, read and screen it."""
    rng = np.random.default_rng([seed, 3])
    heated = seed % 2 == 1
    table, truth = second_plant(
        seed,
        kind="heated" if heated else "heatless",
        control=control,  # type: ignore[arg-type]
        faults=(fault,) if fault else (),
        load=float(rng.uniform(0.3, 0.9)),
        days=3.0 if heated else 1.5,
        interval_s=float(rng.choice([60.0, 120.0] if heated else [10.0, 20.0, 30.0, 60.0])),
        half_cycle_s=float(rng.choice([7200.0, 14400.0]) if heated else rng.choice([240.0, 300.0, 420.0])),
        swing=float(rng.uniform(0.02, 0.3)),
        channels=bool(rng.integers(2)),
    )
    path = folder / "log.csv"
    table.to_csv(path, index=False)
    plant = plant_from(truth["plant"])
    return Case(table, truth, screen(read_log([path], plant), plant))


def settled_s(seed: int, case: Case, folder: Path) -> float:
    """Seconds until the log comes within half a kelvin of the same log without the dry-down."""
    plain = made(seed, None, folder)
    apart = case.table["Dew point [°C]"].to_numpy(float) - plain.table["Dew point [°C]"].to_numpy(float)
    smooth = pd.Series(apart).rolling(9, center=True, min_periods=1).median().to_numpy()
    away = np.flatnonzero(smooth > 0.5)
    times = pd.to_datetime(case.table["Time"])
    return 0.0 if away.size == 0 else float((times.iloc[away[-1]] - times.iloc[0]).total_seconds())


def settling(number: int, folder: Path) -> None:
    """Share of settlings that end within a fifth of their length, or five readings."""
    close, errors = [], []
    for seed in range(FIRST_SEED, FIRST_SEED + number):
        case = made(seed, "settling", folder)
        true_s = settled_s(seed, case, folder)
        log = case.screened.log
        ends = [e.end_s for e in case.screened.exclusions if e.reason == "settling"]
        found_s = (ends[0] - log.time_s[0]) if ends else 0.0
        errors.append((found_s - true_s) / max(true_s, 1.0))
        close.append(abs(found_s - true_s) <= max(0.2 * true_s, 5.0 * log.interval_s))
        if "-v" in sys.argv and not close[-1]:
            print(f"  {seed} true {true_s:.0f} s found {found_s:.0f} s, every {log.interval_s:g} s")
    print(f"settling: within a fifth in {np.mean(close):.1%} of {number}, median error {np.median(errors):+.1%}")


def sound(number: int, folder: Path) -> None:
    """Share of readings, and of logs, that lose what is the dryer's own air."""
    lost, logs = [], []
    for seed in range(FIRST_SEED + 10_000, FIRST_SEED + 10_000 + number):
        fault = SOUND[seed // 2 % len(SOUND)]
        control = CONTROLS[seed // 2 % len(CONTROLS)] if fault is None else "fixed"
        case = made(seed, fault, folder, control)
        share = float(case.set_aside().mean())
        lost.append(share)
        logs.append(share > 0)
        if "-v" in sys.argv and share > 0:
            reasons = sorted({e.reason for e in case.screened.exclusions})
            print(f"  {seed} {fault} {control} lost {share:.1%}: {reasons}")
    print(f"sound: {np.mean(lost):.3%} of the readings and {np.mean(logs):.1%} of {number} logs lose any")


def spoiled(number: int, folder: Path) -> None:
    """Overlap (intersection over union) of what is set aside with the truth."""
    for fault, reason in REASON.items():
        overlaps = []
        for seed in range(FIRST_SEED + 20_000, FIRST_SEED + 20_000 + number):
            case = made(seed, fault, folder)
            time_s = case.screened.log.time_s
            true = np.zeros(time_s.size, dtype=bool)
            for start, end, _ in case.truth["excluded"]:
                true |= (time_s >= start) & (time_s <= end)
            if reason == "gap":
                spans = [(e.start_s, e.end_s) for e in case.screened.exclusions if e.reason == "gap"]
                start, end, _ = case.truth["excluded"][0]
                both = sum(max(0.0, min(b, end) - max(a, start)) for a, b in spans)
                overlaps.append(both / (sum(b - a for a, b in spans) + (end - start) - both))
                continue
            found = case.set_aside(reason)
            union = (true | found).sum()
            overlaps.append(float((true & found).sum() / union) if union else 1.0)
            if "-v" in sys.argv and overlaps[-1] < 0.9:
                print(f"  {seed} {fault} overlap {overlaps[-1]:.2f}")
        held = np.mean(np.array(overlaps) >= 0.9)
        print(f"{reason:11} overlap 0.9 or more in {held:.0%} of {number}, median {np.median(overlaps):.2f}")


def main() -> None:
    """Print the counts."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with tempfile.TemporaryDirectory() as name:
        settling(number, Path(name))
        if "--settling" in sys.argv:
            return
        sound(number, Path(name))
        spoiled(number // 5, Path(name))


if __name__ == "__main__":
    main()
