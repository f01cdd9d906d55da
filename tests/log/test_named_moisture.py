"""A moisture that the user names or gives a unit is read in that unit, as the sentences promise."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diagnostics.errors import InputError
from diagnostics.log.reading import read_log
from diagnostics.plant import plant_from
from diagnostics.spot_check import spot_check

UNITS = [("ppmv", "ppmv", 17.0), ("g/kg", "g_kg", 0.0105), ("g/m3", "g_m3", 0.1)]


def written(folder: Path, title: str, value: float) -> Path:
    rows = "".join(f"2026-03-02 08:{minute:02}:00;{value * (1 + 0.01 * minute):.6g}\n" for minute in range(10))
    path = folder / "log.csv"
    path.write_text(f"Time;{title}\n{rows}", encoding="utf-8")
    return path


@pytest.mark.parametrize(("unit", "key", "value"), UNITS)
def test_a_named_column_may_hold_any_moisture(unit: str, key: str, value: float, tmp_path: Path) -> None:
    plant = plant_from({"measurement": {"pressure_bar_g": 7.0}})
    log = read_log([written(tmp_path, f"W1 [{unit}]", value)], plant, columns={"dew_point": f"W1 [{unit}]"})
    # the spot check turns the same reading on its own way
    assert log.channels["dew_point"][0] == pytest.approx(spot_check(value, key, 7.0).pressure_dew_point_c, abs=0.05)


@pytest.mark.parametrize(("unit", "key", "value"), UNITS)
@pytest.mark.parametrize(("title", "columns"), [("Water content", {}), ("W1", {"dew_point": "W1"})])
def test_a_unit_that_is_told_reaches_the_moisture(
    unit: str, key: str, value: float, title: str, columns: dict[str, str], tmp_path: Path
) -> None:
    plant = plant_from({"measurement": {"pressure_bar_g": 7.0}, "log": {"units": {"dew_point": unit}}})
    log = read_log([written(tmp_path, title, value)], plant, columns=columns)
    assert log.channels["dew_point"][0] == pytest.approx(spot_check(value, key, 7.0).pressure_dew_point_c, abs=0.05)
    assert np.isfinite(log.channels["dew_point"]).all()


def test_a_relative_humidity_still_needs_its_temperature(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="temperature"):
        read_log([written(tmp_path, "W1 [%RH]", 2.0)], plant_from({}), columns={"dew_point": "W1 [%RH]"})


def test_a_unit_of_something_else_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no unit of dew point"):
        read_log([written(tmp_path, "W1 [kW]", 2.0)], plant_from({}), columns={"dew_point": "W1 [kW]"})
