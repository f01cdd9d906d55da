"""Logs of the second test plant as the bed's room gets them: screened, cut into half-cycles at the true switchovers."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from diagnostics.cycle.record import HALF_CYCLE_COLUMNS, ControlSpan, Cycle
from diagnostics.estimate import Estimate
from diagnostics.log.record import Log, ScreenedLog
from diagnostics.log.screening import screen
from diagnostics.plant import Plant, plant_from
from tests.second_plant import second_plant

_CHANNELS = {
    "Dew point [°C]": "dew_point",
    "Flow [m3/min]": "flow",
    "Inlet temperature [°C]": "inlet_temperature",
    "Pressure [bar(g)]": "pressure",
}


@dataclass(frozen=True, eq=False)
class PlantLog:
    """One log with its truth."""

    plant: Plant
    screened: ScreenedLog
    cycle: Cycle
    truth: dict[str, Any]


def true_cycle(screened: ScreenedLog, truth: dict[str, Any]) -> Cycle:
    """Half-cycles from the true switchovers, so that a test of the bed does not hang on finding them."""
    time_s, shown = screened.log.time_s, screened.dew_point_c
    edges = [(begin, tower) for begin, tower in truth["switchovers"] if time_s[0] <= begin <= time_s[-1]]
    rows = []
    for (begin, tower), (end, _) in pairwise(edges):
        first, last = np.searchsorted(time_s, (begin, end))
        part = shown[first:last]
        later = part[int(0.4 * part.size) :]
        end_c = float(np.median(part[-3:]))
        rows.append(
            (begin, end, tower, True, later.max(), part.min(), end_c, part.mean(), part[: part.size // 3].max())
        )
    table = pd.DataFrame(rows, columns=list(HALF_CYCLE_COLUMNS))
    usual = float((table["end_s"] - table["start_s"]).median())
    control = truth["control"][0]
    spans = (ControlSpan(float(time_s[0]), float(time_s[-1]), control),)
    return Cycle(control, spans, True, table, Estimate.exact(usual))


def plant_log(
    seed: int, plant_tables: dict[str, dict[str, Any]] | None = None, *, bias_k: float = 0.0, **settings: Any
) -> PlantLog:
    """Make a log with `second_plant` whose probe reads ``bias_k`` too wet; ``plant_tables`` overlay its plant file."""
    frame, truth = second_plant(seed, **settings)
    tables = {name: dict(table) for name, table in truth["plant"].items()}
    for name, table in (plant_tables or {}).items():
        tables.setdefault(name, {}).update(table)
    plant = plant_from(tables)
    time_s = truth["start"] + truth["interval_s"] * np.arange(len(frame))
    channels = {_CHANNELS[title]: frame[title].to_numpy(float) for title in frame.columns[1:]}
    channels["dew_point"] = channels["dew_point"] + bias_k
    log = Log("second test plant", time_s, channels, {}, None, truth["interval_s"])
    screened = screen(log, plant)
    return PlantLog(plant, screened, true_cycle(screened, truth), truth)
