"""Reading a month of readings a few seconds apart, side by side with pandas on the same bytes."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from diagnostics.log.reading import read_log
from diagnostics.plant import plant_from

ROWS = 1_100_000
PLANT = plant_from({"site": {"timezone": "Europe/Berlin"}})


def _values() -> tuple[list[dt.datetime], np.ndarray]:
    k = np.arange(ROWS)
    start = np.datetime64("2026-01-05T07:00:00")
    when = (start + k.astype("timedelta64[s]") * 3).astype(object).tolist()
    channels = np.stack(
        [
            -60.0 + 4.0 * ((k / 200.0) % 1.0),
            20.0 + np.sin(k / 9000.0),
            7.0 + 0.1 * np.sin(k / 500.0),
            10.0 + 2.0 * np.sin(k / 7000.0),
            30.0 + np.cos(k / 20000.0),
        ],
        axis=1,
    )
    return when, channels


TITLES = (
    "Time",
    "Dew point [°C]",
    "Air temperature [°C]",
    "Pressure [bar(g)]",
    "Flow [m3/min]",
    "Inlet temperature [°C]",
)


@pytest.fixture(scope="module")
def plain_csv(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Commas, points, ISO stamps."""
    when, channels = _values()
    path = tmp_path_factory.mktemp("plain") / "log.csv"
    with path.open("w") as out:
        out.write(",".join(TITLES) + "\n")
        out.writelines(
            f"{t},{a:.2f},{b:.1f},{c:.3f},{d:.2f},{e:.1f}\n" for t, (a, b, c, d, e) in zip(when, channels, strict=True)
        )
    return path


@pytest.fixture(scope="module")
def european_csv(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Semicolons, decimal commas, day first."""
    when, channels = _values()
    path = tmp_path_factory.mktemp("european") / "log.csv"
    with path.open("w") as out:
        out.write(";".join(TITLES) + "\n")
        for t, (a, b, c, d, e) in zip(when, channels, strict=True):
            numbers = f"{a:.2f};{b:.1f};{c:.3f};{d:.2f};{e:.1f}".replace(".", ",")
            out.write(f"{t.day:02d}.{t.month:02d}.{t.year} {t.hour:02d}:{t.minute:02d}:{t.second:02d};{numbers}\n")
    return path


@pytest.mark.benchmark(group="plain csv, 1.1 million rows")
def test_plain_by_the_reader(benchmark, plain_csv: Path) -> None:  # type: ignore[no-untyped-def]
    log = benchmark.pedantic(read_log, args=(plain_csv, PLANT), rounds=9, warmup_rounds=2, iterations=1)
    assert log.samples == ROWS


@pytest.mark.benchmark(group="plain csv, 1.1 million rows")
def test_plain_by_pandas(benchmark, plain_csv: Path) -> None:  # type: ignore[no-untyped-def]
    table = benchmark.pedantic(
        pd.read_csv, args=(plain_csv,), kwargs={"parse_dates": ["Time"]}, rounds=9, warmup_rounds=2, iterations=1
    )
    assert len(table) == ROWS


@pytest.mark.benchmark(group="european csv, 1.1 million rows")
def test_european_by_the_reader(benchmark, european_csv: Path) -> None:  # type: ignore[no-untyped-def]
    log = benchmark.pedantic(read_log, args=(european_csv, PLANT), rounds=9, warmup_rounds=2, iterations=1)
    assert log.samples == ROWS


@pytest.mark.benchmark(group="european csv, 1.1 million rows")
def test_european_by_pandas(benchmark, european_csv: Path) -> None:  # type: ignore[no-untyped-def]
    options = {"sep": ";", "decimal": ",", "parse_dates": ["Time"], "date_format": "%d.%m.%Y %H:%M:%S"}
    table = benchmark.pedantic(
        pd.read_csv, args=(european_csv,), kwargs=options, rounds=9, warmup_rounds=2, iterations=1
    )
    assert len(table) == ROWS
