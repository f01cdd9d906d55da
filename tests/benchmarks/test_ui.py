"""How long a visitor waits: a log on screen, a slider answered."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from diagnostics.log.reading import read_log
from diagnostics.log.record import Upload
from diagnostics.plant import plant_from
from diagnostics.report.curve import bare_curve
from tests.logs import PLANT, saw_tooth

APP = Path(__file__).resolve().parents[2] / "ui" / "app.py"


def content(rows: int) -> bytes:
    stream = io.BytesIO()
    saw_tooth(days=rows * 30.0 / 86400.0).to_csv(stream, index=False)
    return stream.getvalue()


@pytest.mark.parametrize("rows", [2_880, 1_100_000])
def test_log_to_first_curve(benchmark, rows: int) -> None:
    """Bytes to the curve that is drawn before anything is judged."""
    upload, plant = Upload("log.csv", content(rows)), plant_from({})
    chart = benchmark.pedantic(lambda: bare_curve(read_log(upload, plant)), rounds=3)
    assert len(chart.data) <= 4_004


@pytest.mark.parametrize("rows", [2_880, 1_100_000])
def test_upload_to_judged_curve(benchmark, rows: int) -> None:
    """The whole run of The log after an upload: read, diagnosed, drawn with towers, limit and what was set aside."""
    visit = AppTest.from_file(str(APP), default_timeout=120).run()
    file = ("log.csv", content(rows), "text/csv")

    def put() -> None:
        visit.file_uploader(key="log_files").set_value([file])
        visit.run()

    benchmark.pedantic(put, rounds=1)
    assert not visit.exception
    (chart,) = visit.get("vega_lite_chart")
    assert f"{rows:,} readings" in "\n".join(text.value for text in visit.text)
    assert len(chart.proto.SerializeToString()) < 1_000_000


def test_slider(benchmark) -> None:
    """One whole run of the What if page after a slider was moved."""
    visit = AppTest.from_file(str(APP), default_timeout=60).run()
    visit.file_uploader(key="plant_file").set_value(("plant.toml", PLANT.encode(), "application/toml"))
    visit.run()
    visit.file_uploader(key="log_files").set_value([("log.csv", content(2_880), "text/csv")])
    visit.run()
    visit.switch_page("screens/what_if.py").run()
    limits = iter(range(-60, -20))

    def move() -> None:
        visit.slider(key="try_slider_dryer.dew_point_limit_c_C").set_value(float(next(limits))).run()

    benchmark.pedantic(move, rounds=10)
    assert not visit.exception
