"""Logs with known truth from outside the project, read and screened as a user's log is."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.record import Cycle
from diagnostics.log.reading import read_log
from diagnostics.log.record import ScreenedLog
from diagnostics.log.screening import screen
from diagnostics.plant import Plant, load_plant
from tests.shared_data import shared


@dataclass(frozen=True)
class Example:
    """A log, its plant, its truth and the cycle found in it."""

    screened: ScreenedLog
    plant: Plant
    truth: dict[str, Any]
    cycle: Cycle

    @property
    def true_s(self) -> np.ndarray:
        return np.array([at for at, _ in self.truth["switchovers"]])

    @property
    def found_s(self) -> np.ndarray:
        starts = self.cycle.half_cycles["start_s"].to_numpy()
        return starts[starts > self.screened.log.time_s[self.screened.used][0]]


@lru_cache(maxsize=4)
def example(name: str) -> Example:
    """Example by the name of its folder."""
    folder = shared("examples", name)
    plant = load_plant(folder / "plant.toml")
    screened = screen(read_log([folder / "log.csv"], plant), plant)
    truth = json.loads((folder / "truth.json").read_text())
    return Example(screened, plant, truth, segment(screened, plant))
