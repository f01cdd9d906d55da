"""Logs of the second plant and of the bed model, read and screened as a user's log is, and scored against their truth.

Drawing the same log twice costs time: set ``DEWSWING_STUDY_CACHE`` to a folder and the drawn logs are kept there.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.record import Cycle
from diagnostics.log.reading import read_log
from diagnostics.log.record import ScreenedLog
from diagnostics.log.screening import screen
from diagnostics.plant import Plant, plant_from
from tests.cycle.scoring import Score, margin_of, score
from tests.second_plant import second_plant

Drawn = tuple[pd.DataFrame, dict[str, Any]]


@dataclass(frozen=True)
class Case:
    """A log as the engine sees it, and its truth."""

    screened: ScreenedLog
    plant: Plant
    truth: dict[str, Any]

    def cycle(self) -> Cycle:
        return segment(self.screened, self.plant)


def kept(make: Callable[..., Drawn], **settings: Any) -> Drawn:
    """What ``make`` draws, from the cache folder if there is one."""
    folder = os.environ.get("DEWSWING_STUDY_CACHE")
    if folder is None:
        return make(**settings)
    name = hashlib.sha256(repr((make.__name__, sorted(settings.items()))).encode()).hexdigest()[:24]
    file = Path(folder) / f"{name}.pickle"
    if not file.exists():
        Path(folder).mkdir(parents=True, exist_ok=True)
        file.write_bytes(pickle.dumps(make(**settings)))
    drawn: Drawn = pickle.loads(file.read_bytes())
    return drawn


def second_case(**settings: Any) -> Case:
    """A log of the second plant."""
    return case_of(*kept(second_plant, **settings))


def case_of(log: pd.DataFrame, truth: dict[str, Any]) -> Case:
    """Write, read and screen a drawn log."""
    plant = plant_from(truth["plant"])
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "log.csv"
        log.to_csv(file, index=False)
        screened = screen(read_log([file], plant), plant)
    return Case(screened, plant, truth)


def scored(case: Case, cycle: Cycle, within: tuple[float, float] = (-np.inf, np.inf)) -> Score:
    """Score of the switchovers within the used readings, outside spoiled stretches and on the log's own stamps."""
    true = true_switchovers(case.truth)
    true = true[(true >= within[0]) & (true < within[1])]
    found = cycle.half_cycles["start_s"].to_numpy(dtype=float)
    found = found[(found >= within[0]) & (found < within[1])]
    if not case.truth["resolved"]:
        return Score(float(found.size == 0), 1.0)
    used = case.screened.log.time_s[case.screened.used]
    if used.size == 0:
        return Score(float(found.size == 0), 1.0)
    half = float(np.median(np.diff(true))) if true.size > 1 else float(case.truth["plant"]["dryer"]["half_cycle_s"])
    margin = margin_of(case.screened.log.interval_s, half)
    true, found = (_judged(at, case, used, margin) for at in (true, found[found > used[0]]))
    return score(true, found, margin)


def true_switchovers(truth: dict[str, Any]) -> np.ndarray:
    """True instants by the stamps in the log; those that a clock put back covers twice are left out."""
    at = np.array([at for at, _ in truth["switchovers"]], dtype=float)
    if "clock_jump" in truth["faults"]:
        (low, high, _), *_ = (span for span in truth["excluded"] if span[2] == "clock_jump")
        return np.concatenate([at[at < low], at[at > 2.0 * high - low] - (high - low)])
    return at


def _judged(at: np.ndarray, case: Case, used: np.ndarray, margin: float) -> np.ndarray:
    at = at[(at > used[0] + margin) & (at < used[-1] - margin)]
    keep = np.ones(at.size, dtype=bool)
    for low, high, reason in case.truth["excluded"]:
        # a clock put back by so much shows each stamp of the span twice
        edge = margin if reason != "clock_jump" else 2.0 * margin
        keep &= (at < low - edge) | (at > high + edge)
    for low, high in _holes(case.screened, used):
        keep &= (at < low) | (at > high)
    return at[keep]


def _holes(screened: ScreenedLog, used: np.ndarray) -> list[tuple[float, float]]:
    wide = np.flatnonzero(np.diff(used) > 3.0 * screened.log.interval_s)
    return [(float(used[i]), float(used[i + 1])) for i in wide]
