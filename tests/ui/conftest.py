"""The front end without a browser: one fresh visit for each test."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from tests.logs import PLANT, saw_tooth

ROOT = Path(__file__).resolve().parents[2]
SCREENS = ("the_log", "the_dryer", "the_plant", "what_if", "payback", "report", "measuring", "spot_check")


@pytest.fixture(autouse=True)
def _forget() -> None:
    st.cache_data.clear()


@pytest.fixture(scope="session")
def log_bytes() -> bytes:
    stream = io.BytesIO()
    saw_tooth(days=0.5).to_csv(stream, index=False)
    return stream.getvalue()


@pytest.fixture
def visit() -> AppTest:
    return AppTest.from_file(str(ROOT / "ui" / "app.py"), default_timeout=60).run()


@pytest.fixture
def upload(visit: AppTest) -> Callable[[bytes, str], AppTest]:
    def put(content: bytes, name: str = "log.csv") -> AppTest:
        visit.file_uploader(key="log_files").set_value([(name, content, "text/csv")])
        return visit.run()

    return put


@pytest.fixture
def good(visit: AppTest, upload, log_bytes: bytes) -> AppTest:
    visit.file_uploader(key="plant_file").set_value(("plant.toml", PLANT.encode(), "application/toml"))
    visit.run()
    return upload(log_bytes)


def words(visit: AppTest) -> str:
    """All that a visitor reads on the page."""
    parts = []
    for kind in ("title", "subheader", "markdown", "text", "caption", "info", "warning"):
        parts += [str(element.value) for element in getattr(visit, kind)]
    return "\n".join(parts)
