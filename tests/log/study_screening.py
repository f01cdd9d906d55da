"""How much of what is not the dryer's air is set aside, and how much sound air with it: counts over made logs.

Run ``python -m tests.log.study_screening 200``; ``--settling``, ``--sound``, ``--spoiled`` take one part. Logs come
from the second plant, heatless and heated in turn, seeds from 88000 (or ``--first``) fixed before anything was looked
at. The truth of a settling is the same log without it: it ends where the two come within half a kelvin for good.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
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
    "range_end": "range_end",
    "implausible": "implausible",
}
DEW_POINT = "Dew point [°C]"


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
    """Draw a dryer and a logger, make the log, read and screen it; ``range_end`` and ``implausible`` spoil it here."""
    rng = np.random.default_rng([seed, 3])
    heated = seed % 2 == 1
    table, truth = second_plant(
        seed,
        kind="heated" if heated else "heatless",
        control=control,  # type: ignore[arg-type]
        faults=(fault,) if fault and fault not in SPOILT else (),
        load=float(rng.uniform(0.3, 0.9)),
        days=3.0 if heated else 1.5,
        interval_s=float(rng.choice([60.0, 120.0] if heated else [10.0, 20.0, 30.0, 60.0])),
        half_cycle_s=float(rng.choice([7200.0, 14400.0]) if heated else rng.choice([240.0, 300.0, 420.0])),
        swing=float(rng.uniform(0.02, 0.3)),
        channels=bool(rng.integers(2)),
    )
    if fault in SPOILT:
        truth["spoilt"] = SPOILT[fault](rng, table)
    path = folder / "log.csv"
    table.to_csv(path, index=False)
    plant = plant_from(truth["plant"])
    return Case(table, truth, screen(read_log([path], plant), plant))


def _clipped(rng: np.random.Generator, table: pd.DataFrame) -> np.ndarray:
    """End the range where the instrument's lower end may lie: 5 to 60 % of the readings and half a kelvin go."""
    shown = table[DEW_POINT].to_numpy(float)
    end = round(max(float(np.percentile(shown, rng.uniform(5, 60))), float(shown.min()) + 0.5), 1)
    table[DEW_POINT] = np.maximum(shown, end)
    return shown <= end


def _spiked(rng: np.random.Generator, table: pd.DataFrame) -> np.ndarray:
    """Single readings 20 to 60 K off, as a disturbed signal line makes them."""
    shown = table[DEW_POINT].to_numpy(float).copy()
    rows = rng.choice(np.arange(2, len(shown) - 2, 5), size=int(rng.integers(1, 9)), replace=False)
    shown[rows] = np.clip(shown[rows] + rng.choice([-1.0, 1.0], rows.size) * rng.uniform(20, 60, rows.size), -110, 20)
    table[DEW_POINT] = np.round(shown, 2)
    return np.isin(np.arange(len(shown)), rows)


SPOILT: dict[str | None, Callable[[np.random.Generator, pd.DataFrame], np.ndarray]] = {
    "range_end": _clipped,
    "implausible": _spiked,
}


def settled_s(seed: int, case: Case, folder: Path) -> float:
    """Seconds until the log comes within half a kelvin of the same log without the dry-down."""
    plain = made(seed, None, folder)
    apart = case.table[DEW_POINT].to_numpy(float) - plain.table[DEW_POINT].to_numpy(float)
    smooth = pd.Series(apart).rolling(9, center=True, min_periods=1).median().to_numpy()
    away = np.flatnonzero(smooth > 0.5)
    times = pd.to_datetime(case.table["Time"])
    return 0.0 if away.size == 0 else float((times.iloc[away[-1]] - times.iloc[0]).total_seconds())


def settling(number: int, folder: Path, first: int = FIRST_SEED) -> None:
    """Share of settlings that end within a fifth of their length, or five readings."""
    close, errors = [], []
    for seed in range(first, first + number):
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


def sound(number: int, folder: Path, first: int = FIRST_SEED) -> None:
    """Share of readings, and of logs, that lose what is the dryer's own air."""
    lost, logs = [], []
    for seed in range(first + 10_000, first + 10_000 + number):
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


def spoiled(number: int, folder: Path, first: int = FIRST_SEED) -> None:
    """Overlap (intersection over union) of what is set aside with the truth."""
    for fault, reason in REASON.items():
        overlaps = []
        for seed in range(first + 20_000, first + 20_000 + number):
            case = made(seed, fault, folder)
            time_s = case.screened.log.time_s
            true = np.array(case.truth.get("spoilt", np.zeros(time_s.size, dtype=bool)))
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
    first = int(sys.argv[sys.argv.index("--first") + 1]) if "--first" in sys.argv else FIRST_SEED
    parts = {"--settling": settling, "--sound": sound, "--spoiled": spoiled}
    chosen = [part for flag, part in parts.items() if flag in sys.argv] or list(parts.values())
    with tempfile.TemporaryDirectory() as name:
        for part in chosen:
            part(number // 5 if part is spoiled and len(chosen) > 1 else number, Path(name), first)


if __name__ == "__main__":
    main()
