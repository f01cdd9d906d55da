"""How many two-day logs a fleet run does in a second, and where one log's time goes.

Run ``python -m tests.benchmarks.study_fleet --logs 1000 --workers 2``, or with ``--stages`` for the processor time of
each step of the main path in one process. Logs come from the lumped second plant at a reading a minute, seeds from 9000
on: heatless and heated, timer and dew-point control, a third of them with a fault. They are kept in ``--folder`` and
used again.
"""

from __future__ import annotations

import argparse
import importlib
import os
import tempfile
import time
import tomllib
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import tomli_w

from diagnostics import fleet
from diagnostics.report.document import document
from tests.second_plant import second_plant

FIRST_SEED = 9000
FAULTS = ("tower_imbalance", "settling", "overload", "stopped_switching", "lost_rows", "removal", "dead_heater")
STAGES = {
    "screen": ("diagnostics.log.screening", "screen"),
    "half-cycles": ("diagnostics.cycle.half_cycles", "segment"),
    "purity": ("diagnostics.air.purity", "judge_purity"),
    "trend": ("diagnostics.health.trend", "peak_trend"),
    "margin": ("diagnostics.bed.breakthrough", "margin_to_breakthrough"),
    "purge": ("diagnostics.energy.purge", "account_purge"),
    "switching": ("diagnostics.energy.switching", "switch_on_dew_point"),
    "payback": ("diagnostics.energy.payback", "reckon_payback"),
    "findings": ("diagnostics.health.findings", "find"),
}


def make(folder: Path, logs: int, interval_s: float) -> None:
    """Write the logs that are not there yet."""
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(FIRST_SEED, FIRST_SEED + logs):
        path = folder / f"dryer_{seed}.csv"
        if path.exists():
            continue
        place = seed - FIRST_SEED
        fault = (FAULTS[place // 6 % len(FAULTS)],) if place % 3 == 2 else ()
        log, truth = second_plant(
            seed,
            kind="heatless" if place % 2 else "heated",
            control="dew_point" if place % 4 > 1 and fault != ("stopped_switching",) else "fixed",
            faults=fault,
            interval_s=interval_s,
        )
        path.with_suffix(".toml").write_text(tomli_w.dumps(truth["plant"]), encoding="utf-8")
        log.to_csv(path, index=False)


def timed(folder: Path, logs: int, workers: int) -> None:
    """Diagnose them all as ``dewswing fleet`` does, with documents written."""
    dryers = fleet.find_dryers(folder)[:logs]
    fleet.diagnose_task = measured
    with tempfile.TemporaryDirectory() as out:
        began, own = time.perf_counter(), time.process_time()
        rows = fleet.run_fleet(dryers, out=Path(out), workers=workers)
        wall, own = time.perf_counter() - began, time.process_time() - own
    failed = sum(row["urgency"] == "failed" for row in rows)
    spent = sum(row.get("processor_s", 0.0) for row in rows)
    print(f"{len(rows)} logs ({failed} failed), {workers} workers: {wall:.1f} s, {len(rows) / wall:.1f} a second")
    print(
        f"processor time a log: {1e3 * spent / len(rows):.1f} ms in workers, {1e3 * own / len(rows):.1f} in the parent"
    )
    print(f"with {workers} cores to itself: {workers * len(rows) / (spent + own):.1f} a second")
    print(f"other work on the machine meanwhile: load {os.getloadavg()[0]:.1f}")


def measured(task: fleet.Task) -> dict[str, Any]:
    """Diagnose, and note the processor time in the row."""
    from diagnostics.fleet_work import work

    began = time.process_time()
    result = work(task)
    result["row"]["processor_s"] = time.process_time() - began
    return result


def stages(folder: Path, logs: int) -> None:
    """Print the processor time of each step, one process, the first log left out."""
    from diagnostics import diagnosis as main_path
    from diagnostics.log.reading import read_log
    from diagnostics.log.record import Upload
    from diagnostics.plant import plant_from

    spent: dict[str, float] = defaultdict(float)

    def watched(name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def run(*given: Any, **named: Any) -> Any:
            began = time.process_time()
            try:
                return function(*given, **named)
            finally:
                spent[name] += time.process_time() - began

        return run

    for name, (module, function) in STAGES.items():
        setattr(main_path, function, watched(name, getattr(importlib.import_module(module), function)))
    read, build = watched("read", read_log), watched("document", document)
    load = watched("plant", plant_from)
    dryers = fleet.find_dryers(folder)[: logs + 1]
    for place, dryer in enumerate(dryers):
        task = dryer.task()
        plant = load(tomllib.loads(task.plant_text.decode()), source=task.plant_name)
        log = read([Upload(name, content) for name, content in task.logs], plant)
        build(main_path.diagnose(log, plant))
        if place == 0:
            spent.clear()
    for name, seconds in sorted(spent.items(), key=lambda item: -item[1]):
        print(f"{name:12}{1e3 * seconds / (len(dryers) - 1):8.2f} ms")
    print(f"{'all':12}{1e3 * sum(spent.values()) / (len(dryers) - 1):8.2f} ms")


def main() -> None:
    """Make the logs, then time the fleet or the stages."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "dewswing-fleet")
    parser.add_argument("--logs", type=int, default=1000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--interval-s", type=float, default=60.0)
    parser.add_argument("--stages", action="store_true")
    given = parser.parse_args()
    make(given.folder, given.logs, given.interval_s)
    if given.stages:
        stages(given.folder, given.logs)
    else:
        timed(given.folder, given.logs, given.workers)


if __name__ == "__main__":
    main()
