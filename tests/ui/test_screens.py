"""Every screen with no log, a good log and a bad one."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from tests.ui.conftest import SCREENS, words

NEEDS_A_LOG = ("the_dryer", "what_if", "payback", "report")


@pytest.mark.parametrize("screen", SCREENS)
def test_without_a_log_the_screen_teaches(visit: AppTest, screen: str) -> None:
    visit.switch_page(f"screens/{screen}.py").run()
    assert not visit.exception
    if screen in NEEDS_A_LOG:
        assert "No log yet" in words(visit)
        assert visit.button(key="invented").label == "Look at an invented plant"


@pytest.mark.parametrize("screen", SCREENS)
def test_with_a_good_log_the_screen_shows_it(good: AppTest, screen: str) -> None:
    good.switch_page(f"screens/{screen}.py").run()
    assert not good.exception
    text = words(good)
    assert "cannot be used" not in text
    assert "No log yet" not in text
    assert "_c" not in text
    expected = {
        "the_log": "1,440 readings",
        "the_dryer": "half-cycle",
        "the_plant": "These settings are in use.",
        "what_if": "Move a slider",
        "payback": "In one minute",
        "report": "To read and hand on",
        "measuring": "A reading every",
        "spot_check": "water class",
    }
    assert expected[screen] in text


@pytest.mark.parametrize("screen", SCREENS)
def test_a_bad_log_is_told_and_nothing_breaks(upload, screen: str) -> None:
    visit = upload(b"\x89PNG\r\n\x1a\n" + bytes(400), "picture.csv")
    assert "picture.csv is a PNG picture" in words(visit)
    visit.switch_page(f"screens/{screen}.py").run()
    assert not visit.exception


def test_a_bad_log_leaves_the_former(good: AppTest) -> None:
    good.file_uploader(key="log_files").set_value([("picture.csv", b"\x89PNG\r\n\x1a\n" + bytes(400), "text/csv")])
    good.run()
    text = words(good)
    assert not good.exception
    assert "picture.csv is a PNG picture" in text
    assert "1,440 readings" in text


def test_a_log_that_breaks_the_engine_gets_a_sentence(good: AppTest, monkeypatch: pytest.MonkeyPatch) -> None:
    from ui import cached

    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(cached, "diagnose", fail)
    cached.diagnosis_work.clear()
    good.run()
    assert not good.exception
    assert "something in this log that it does not know" in words(good)
    cached.diagnosis_work.clear()
