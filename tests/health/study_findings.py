"""How well findings name what is wrong: made logs with one fault each, counted as a table of confusions.

Run ``python -m tests.health.study_findings --logs 112``. Logs come from the lumped second plant, or with
``--plant bed`` from the bed model (slow; kept in a folder and used again). The detectors know nothing of either, and
the seeds were fixed before any threshold was looked at.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from diagnostics.diagnosis import diagnose
from diagnostics.health.record import Finding
from diagnostics.log.reading import read_log
from diagnostics.plant import plant_from
from tests.second_plant import second_plant

FIRST_SEED = 4200
DUE = {
    "tower_imbalance": "tower_imbalance",
    "dead_heater": "regeneration_failure",
    "stopped_switching": "switching_stopped",
    "control_fallback": "control_inactive",
    "liquid_carryover": "carryover",
    "bypass_leak": "bypass_leak",
    "overload": "overload",
    "hot_inlet": "overload",
    "lost_capacity": "desiccant_decay",
    "settling": "unsettled",
    "ambient_ingress": "ambient_ingress",
    "stagnant_sample": "sample_stagnant",
    "frozen_sensor": "sensor_frozen",
    "clock_jump": "clock_jump",
}
"""Fault of the made log, and the finding that is due."""
FAULTS = (None, *DUE)
OPEN = {"breakthrough", "excess_regeneration", "log_too_short", "interval_too_long", "calibration_overdue"}
"""Facts of load, limit and log rather than of one fault; not counted."""


class Made(NamedTuple):
    """A log on disk, its plant's tables and its truth."""

    seed: int
    fault: str | None
    heated: bool
    tables: dict[str, Any]
    path: Path
    truth: dict[str, Any]


@dataclass(frozen=True)
class Judged:
    """What was found in one log."""

    made: Made
    found: tuple[Finding, ...]

    @property
    def codes(self) -> set[str]:
        """Codes that count."""
        return {finding.code for finding in self.found} - OPEN

    @property
    def due(self) -> str | None:
        """Code that is due."""
        return DUE.get(self.made.fault or "")


def invented_plant(seed: int, fault: str | None, heated: bool) -> dict[str, Any]:
    """Plant file of an invented dryer; healthy ones hold their limit with 20 to 60 % of load to spare."""
    rng = np.random.default_rng([seed, 11])
    rated = float(np.round(rng.uniform(4, 60), 1))
    load = rng.uniform(0.5, 0.75)
    half_cycle_s = 14400 if heated else int(rng.choice([240, 300, 300]))
    dryer: dict[str, Any] = {
        "regeneration": "heated_purge" if heated else "heatless",
        "rated_flow_m3_min": rated,
        "half_cycle_s": half_cycle_s,
        "purge_share": 0.075 if heated else 0.16,
        "desiccant": str(rng.choice(["activated_alumina", "silica_gel"])),
        "control": "dew_point" if fault == "control_fallback" else "fixed",
    }
    operation = {
        "flow_m3_min": float(np.round(load * rated, 2)),
        "inlet_temperature_c": float(np.round(rng.uniform(26, 33), 1)),
        "ambient_temperature_c": 22.0,
        "pressure_bar_g": 7.0,
    }
    return {"site": {"name": "invented", "timezone": "Europe/Lisbon"}, "dryer": dryer, "operation": operation}


def _turn(k: int) -> tuple[int, str | None, bool]:
    """Seed, fault and kind of the k-th log: every fault once before any comes again, heatless and heated in turn."""
    return FIRST_SEED + k, FAULTS[k % len(FAULTS)], (k + k // len(FAULTS)) % 2 == 1


def logs_of_the_bed(number: int, keep: Path) -> Iterator[Made]:
    """Logs of the bed model, made where the folder does not hold them yet."""
    from diagnostics.bed.simulation import simulate

    for seed, fault, heated in map(_turn, range(number)):
        tables = invented_plant(seed, fault, heated)
        path, truth_path = keep / f"{seed}.csv", keep / f"{seed}.json"
        if not truth_path.exists():
            days = (4.0 if heated else 1.5) * (2 if fault == "lost_capacity" else 1)
            table, truth = simulate(plant_from(tables), days=days, faults=[fault] if fault else [], seed=seed)
            table.to_csv(path, index=False)
            truth_path.write_text(json.dumps(truth))
        yield Made(seed, fault, heated, tables, path, json.loads(truth_path.read_text()))


def logs_of_the_second_plant(number: int, keep: Path) -> Iterator[Made]:
    """Logs of the lumped plant; healthy ones have some reserve, as a dryer that nobody complains of has."""
    for seed, fault, heated in map(_turn, range(number)):
        days = (4.0 if heated else 1.5) * (3 if fault == "lost_capacity" else 1)
        table, truth = second_plant(
            seed,
            kind="heated" if heated else "heatless",
            control="stopped" if fault == "stopped_switching" else "fixed",
            faults=(fault,) if fault else (),
            reserve=float(np.random.default_rng([seed, 3]).uniform(1.15, 1.6)),
            days=days,
            onset_share=0.5,
        )
        path = keep / f"second_{seed}.csv"
        table.to_csv(path, index=False)
        yield Made(seed, fault, heated, truth["plant"], path, truth)


def judge(made: Iterator[Made]) -> Iterator[Judged]:
    """Diagnose the logs."""
    for item in made:
        plant = plant_from(item.tables)
        yield Judged(item, diagnose(read_log([item.path], plant), plant).findings)


def scores(judged: list[Judged]) -> tuple[dict[str, tuple[int, int, int]], float, float]:
    """Hits, false alarms and misses by code, macro F1, and the share of healthy logs with a warning."""
    counts: dict[str, tuple[int, int, int]] = {}
    for code in sorted(set(DUE.values())):
        due = [j.due == code for j in judged]
        called = [code in j.codes for j in judged]
        hits = sum(d and c for d, c in zip(due, called, strict=True))
        counts[code] = (hits, sum(called) - hits, sum(due) - hits)
    f1 = [2 * h / (2 * h + a + m) for h, a, m in counts.values() if h + m > 0]
    healthy = [j for j in judged if j.made.fault is None]
    warned = [j for j in healthy if any(f.severity != "info" and f.code not in OPEN for f in j.found)]
    return counts, float(np.mean(f1)), len(warned) / max(len(healthy), 1)


def main() -> None:
    """Print each log's findings and the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=2 * len(FAULTS))
    parser.add_argument("--plant", choices=["second", "bed"], default="second")
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "study_findings")
    args = parser.parse_args()
    args.keep.mkdir(parents=True, exist_ok=True)
    source = logs_of_the_bed if args.plant == "bed" else logs_of_the_second_plant
    judged = []
    for j in judge(source(args.logs, args.keep)):
        judged.append(j)
        mark = " " if (j.due is None or j.due in j.codes) and j.codes <= {j.due} else "*"
        kind = "heated" if j.made.heated else "heatless"
        said = ", ".join(f"{f.code} ({f.severity}, {f.confidence:.2f})" for f in j.found) or "nothing"
        print(f"{mark} {j.made.seed} {j.made.fault or 'healthy':18} {kind:9} {said}", flush=True)
    counts, macro, warned = scores(judged)
    print(f"\n{'code':24}{'hits':>6}{'false':>6}{'missed':>7}")
    for code, (hits, false, missed) in counts.items():
        print(f"{code:24}{hits:6}{false:6}{missed:7}")
    sure = [(f.confidence, f.code == j.due) for j in judged for f in j.found if f.code not in OPEN]
    if sure:
        said, right = np.mean([c for c, _ in sure]), np.mean([r for _, r in sure])
        print(f"mean confidence {said:.2f}, share that is right {right:.2f}, of {len(sure)} findings")
    extra = Counter(c for j in judged for c in j.codes if c not in counts)
    print(f"macro F1 {macro:.3f}; healthy logs with a warning {100 * warned:.1f} %; other codes {dict(extra)}")


if __name__ == "__main__":
    main()
