"""Logs with known truth are read whole: stamps, span, interval and statistics."""

from __future__ import annotations

import json

import numpy as np
import pytest

from diagnostics.log.reading import read_log
from diagnostics.plant import load_plant
from tests.shared_data import shared

FOLDERS = (
    "atmospheric_basis",
    "control_inactive",
    "dew_point_control_heatless",
    "heated_purge",
    "heatless",
    "heatless_minute",
    "reserve_heatless",
    "settling",
)


@pytest.mark.parametrize("name", FOLDERS)
def test_example_log_reads_to_its_truth(name: str) -> None:
    folder = shared("examples", name)
    truth = json.loads((folder / "truth.json").read_text())
    log = read_log(folder / "log.csv", load_plant(folder / "plant.toml"))
    assert log.samples == truth["samples"]
    assert log.time_s[0] == truth["start"]
    assert log.time_s[-1] == truth["end"]
    assert log.interval_s == truth["interval_s"]
    assert log.clock_jumps == ()
    expected = truth.get("statistics")
    if expected:
        dew_point = log.channels["dew_point"]
        assert np.nanmean(dew_point) == pytest.approx(expected["mean"], abs=0.005)
        assert np.nanmax(dew_point) == pytest.approx(expected["max"], abs=0.005)
