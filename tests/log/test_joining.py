"""Several logs of one dryer become one record."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diagnostics.errors import InputError
from diagnostics.log.reading import read_log
from diagnostics.plant import plant_from
from tests.log.reencoded import Clean, clean_log, plant_of, text, workbook

CLEAN = clean_log(600, step_s=60)


def _part(first: int, last: int) -> Clean:
    return Clean(CLEAN.rows[first:last], CLEAN.time_s[first:last], CLEAN.timezone)


def _written(folder: Path, **files: bytes) -> list[Path]:
    paths = []
    for name, data in files.items():
        path = folder / name.replace("_", ".")
        path.write_bytes(data)
        paths.append(path)
    return paths


def test_parts_in_any_order_and_format_make_the_whole(tmp_path: Path) -> None:
    paths = _written(tmp_path, c_csv=text(_part(400, 600)), a_xlsx=workbook(_part(0, 200)), b_csv=text(_part(200, 400)))
    log = read_log(paths, plant_of(CLEAN))
    np.testing.assert_allclose(log.time_s, CLEAN.time_s)
    np.testing.assert_allclose(log.channels["dew_point"], CLEAN.dew_point_c)
    assert log.clock_jumps == ()
    assert log.interval_s == 60.0
    assert all(name in log.source for name in ("a.xlsx", "b.csv", "c.csv"))


def test_overlap_counts_once(tmp_path: Path) -> None:
    paths = _written(tmp_path, a_csv=text(_part(0, 400)), b_csv=text(_part(300, 600)))
    log = read_log(paths, plant_of(CLEAN))
    np.testing.assert_array_equal(log.time_s, CLEAN.time_s)
    np.testing.assert_array_equal(log.channels["dew_point"], CLEAN.dew_point_c)
    assert log.rows_repeated == 100
    assert any("covers already" in note for note in log.notes)


def test_different_columns_are_united(tmp_path: Path) -> None:
    first = text(_part(0, 300))
    second = b"\n".join(line.rsplit(b",", 1)[0] + b",7.0" for line in text(_part(300, 600)).split(b"\n") if line)
    second = second.replace(b"7.0", b"Pressure [bar(g)]", 1)
    log = read_log(_written(tmp_path, a_csv=first, b_csv=second), plant_of(CLEAN))
    assert np.isfinite(log.channels["flow"]).sum() == 300
    assert np.isfinite(log.channels["pressure"]).sum() == 300
    assert np.isfinite(log.channels["dew_point"]).all()


def test_a_flow_log_beside_a_dew_point_log(tmp_path: Path) -> None:
    dew_point = text(CLEAN, titles=("Time", "Dew point [°C]", "Counter"))
    lines = ["Time;Flow [m3/min]"] + [f"{t.replace(second=5)};{f}" for t, _, f in CLEAN.rows[::2]]
    log = read_log(_written(tmp_path, a_csv=dew_point, b_csv="\n".join(lines).encode()), plant_of(CLEAN))
    np.testing.assert_array_equal(log.time_s, CLEAN.time_s)
    assert np.isfinite(log.channels["dew_point"]).all()
    np.testing.assert_allclose(log.channels["flow"], [row[2] for row in CLEAN.rows], atol=0.05)
    assert any("holds no moisture" in note for note in log.notes)


def test_no_log_of_several_holds_moisture(tmp_path: Path) -> None:
    data = text(CLEAN, titles=("Time", "Voltage", "Counter"))
    with pytest.raises(InputError, match="no dew point"):
        read_log(_written(tmp_path, a_csv=data, b_csv=data), plant_of(CLEAN))
    with pytest.raises(InputError, match="No log was named"):
        read_log([], plant_from({}))
