"""Frozen readings against labels that others made."""

from __future__ import annotations

import numpy as np
import pandas as pd

from diagnostics.log.stuck import find_frozen
from tests.shared_data import shared


def test_stuck_readings_of_a_real_logger() -> None:
    """Open data set of the pvanalytics project (MIT): 15-minute readings, stuck runs labelled by hand, zeros by night.

    Every labelled reading has to be found, and no other: a value the signal rests at each night is no hang.
    """
    table = pd.read_csv(shared("data", "messy", "17_stuck_values.csv"))
    values = table["value_normalized"].to_numpy(dtype=float)
    rows = np.flatnonzero(np.isfinite(values))
    found = np.zeros(values.size, dtype=bool)
    for run in find_frozen(values[rows], 0.0):
        found[rows[run.first] : rows[run.last] + 1] = True
    labelled = table["stale_data_mask"].to_numpy(dtype=bool)
    assert labelled.sum() == 245
    assert (found & labelled).sum() >= 0.99 * labelled.sum()
    assert (found & ~labelled).sum() <= 0.01 * labelled.sum()
