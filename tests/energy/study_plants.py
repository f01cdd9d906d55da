"""Plants for the studies of margin and saving: a timer's log, and what the same dryer does on the same load otherwise.

Half of them come from the lumped second plant, half from the bed model. A case holds the last days of a run under the
timer, which is what the engine gets, and as truth the last days of the run under dew-point control on the same load,
the half-cycle that can be repeated at the log's mean load, and (heated) how long single half-cycles would have lasted.
What the plate says is drawn apart from what the dryer can do, so that reserves span 0.6 to 3.

    python -m tests.energy.study_plants bed 0 14        # makes cases 0 to 13 of the bed model into the cache
    python -m tests.energy.study_plants second 0 60

The cache is the folder in the environment variable DEWSWING_STUDY, else dewswing-study under the temporary folder.
"""

from __future__ import annotations

import argparse
import os
import pickle
import tempfile
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from diagnostics.log.record import Log
from tests.second_plant import second_plant

SEEDS = {"second": 52_000, "bed": 61_000}
"""First seeds, fixed before any of these cases was looked at."""
LEAD_DAYS, LOG_DAYS = {True: 1.5, False: 1.0}, {True: 3.0, False: 2.0}
"""Run before the log so that the control settles, and the log, heated and heatless."""
DETECTION_S = {True: 60.0, False: 20.0}
_CHANNELS = {
    "Dew point [°C]": "dew_point",
    "Flow [m3/min]": "flow",
    "Inlet temperature [°C]": "inlet_temperature",
    "Pressure [bar(g)]": "pressure",
}


@dataclass(frozen=True, eq=False)
class Case:
    """One plant: what the engine gets, and what is true."""

    source: str
    number: int
    kind: str
    tables: dict[str, dict[str, Any]]
    log: Log
    truth: dict[str, Any]

    @property
    def validation(self) -> bool:
        """Whether the case belongs to the half that is only looked at in the end."""
        return self.number % 2 == 1


def folder() -> Path:
    """Where the cases are kept."""
    return Path(os.environ.get("DEWSWING_STUDY") or Path(tempfile.gettempdir()) / "dewswing-study")


def cases(source: str, half: str = "all") -> list[Case]:
    """Cases in the cache, by number; ``half`` is "development", "validation" or "all"."""
    found = [_with_known_plate(Case(*pickle.loads(at.read_bytes()))) for at in sorted(folder().glob(f"{source}-*.pkl"))]
    return [case for case in found if half == "all" or case.validation == (half == "validation")]


def _with_known_plate(case: Case) -> Case:
    """The case with a plate that holds (reserve 1 to 1.5) where no rise of 1 K shows within half-cycles.

    The run does not hang on the plate; and that a plate is wrong cannot be known from a log that shows nothing.
    """
    if shown_rise_k(case) >= 1.0 or 1.0 <= case.truth["reserve"] <= 1.5:
        return case
    reserve = float(np.random.default_rng([case.number, 3]).uniform(1.0, 1.5))
    scale = case.truth["reserve"] / reserve
    dryer = dict(case.tables["dryer"])
    dryer["rated_flow_m3_min"] = round(dryer["rated_flow_m3_min"] * scale, 2)
    if "purge_share" in dryer:
        dryer["purge_share"] = round(dryer["purge_share"] / scale, 4)
    return replace(case, tables={**case.tables, "dryer": dryer}, truth={**case.truth, "reserve": reserve})


def shown_rise_k(case: Case) -> float:
    """Median rise of the logged dew point over the last three quarters of the true half-cycles [K]."""
    time_s, shown = case.log.time_s, case.log.channels["dew_point"]
    rises = []
    for (begin, _), (end, _) in pairwise(case.truth["switchovers"]):
        if begin < time_s[0] or end > time_s[-1]:
            continue
        first, last = np.searchsorted(time_s, (begin + 0.25 * (end - begin), end))
        part = shown[first:last]
        if part.size >= 4:
            few = max(1, part.size // 9)
            means = np.convolve(part, np.ones(few) / few, mode="valid")
            rises.append(means[-1] - means.min())
    return float(np.median(rises))


def second_case(number: int) -> Case:
    """Case of the lumped plant."""
    rng = np.random.default_rng([SEEDS["second"], number])
    kind = ("heatless", "heated")[(number // 2) % 2]
    heated = kind == "heated"
    reserve, use = drawn(rng, (0.75, 1.06))
    settings: dict[str, Any] = {
        "kind": kind,
        "reserve": reserve,
        "load": reserve * use,
        "days": LEAD_DAYS[heated] + LOG_DAYS[heated],
        "interval_s": float(rng.choice([10.0, 30.0])) if not heated else 60.0,
        "swing": float(rng.choice([0.05, 0.12, 0.3])),
    }
    seed = SEEDS["second"] + number
    frame, truth = second_plant(seed, **settings)
    _, switched = second_plant(seed, control="dew_point", detection_s=DETECTION_S[heated], **settings)
    interval = float(truth["interval_s"])
    time_s = truth["start"] + interval * np.arange(len(frame))
    begin = truth["start"] + LEAD_DAYS[heated] * 86400.0
    kept = time_s >= begin
    channels = {_CHANNELS[title]: frame[title].to_numpy(float)[kept] for title in frame.columns[1:]}
    log = Log("second plant", time_s[kept], channels, {}, None, interval)
    timer = float(truth["half_cycle_s"])
    known = {
        "use": use,
        "reserve": reserve,
        "half_cycle_s": timer,
        "sustained_s": truth["sustained_margin_s"] + timer,
        "switchovers": truth["switchovers"],
        "single_margin_s": None,
        **saved(switched["switchovers"], timer, begin),
    }
    return Case("second", number, kind, truth["plant"], log, known)


def drawn(rng: np.random.Generator, shown: tuple[float, float]) -> tuple[float, float]:
    """Reserve, and mean load over what the dryer holds; two thirds are used so far that the log may tell."""
    if rng.random() < 2.0 / 3.0:
        return float(rng.uniform(0.6, 3.0)), float(rng.uniform(*shown))
    return float(rng.uniform(1.0, 1.5)), float(rng.uniform(0.35, 0.9))


def saved(switchovers: list, timer_s: float, begin: float) -> dict[str, Any]:
    """Share of regenerations that dew-point control avoids from ``begin`` on, and its mean half-cycle."""
    times = np.array([time for time, _ in switchovers])
    times = times[times >= begin]
    mean = float((times[-1] - times[0]) / (times.size - 1)) if times.size > 1 else np.nan
    return {"switched_s": mean, "saved_share": 1.0 - timer_s / mean}


def main() -> None:
    """Make cases into the cache."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("source", choices=("bed", "second"))
    parser.add_argument("first", type=int)
    parser.add_argument("end", type=int)
    asked = parser.parse_args()
    from tests.energy.study_bed_plants import bed_case

    folder().mkdir(parents=True, exist_ok=True)
    for number in range(asked.first, asked.end):
        path = folder() / f"{asked.source}-{number:04d}.pkl"
        if path.exists():
            continue
        case = {"bed": bed_case, "second": second_case}[asked.source](number)
        # As a tuple, since a class of the module that runs as the command could not be read elsewhere.
        path.write_bytes(pickle.dumps((case.source, case.number, case.kind, case.tables, case.log, case.truth)))
        told = {name: value for name, value in case.truth.items() if isinstance(value, float)}
        print(path.name, case.kind, " ".join(f"{name}={value:.4g}" for name, value in told.items()), flush=True)


if __name__ == "__main__":
    main()
