"""The front end in a real browser: upload, see, move a setting, take the results away."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from diagnostics import diagnose, load_plant, read_log
from diagnostics.report.figures import METRIC
from diagnostics.what_if import what_if
from tests.browser.server import STILL

pytestmark = pytest.mark.browser


def settled(page) -> None:
    page.wait_for_selector(STILL, timeout=60_000)
    page.wait_for_timeout(300)
    page.wait_for_selector(STILL, timeout=60_000)


def upload(page, log: Path, plant: Path | None = None) -> None:
    if plant:
        page.locator("input[type=file]").nth(1).set_input_files(str(plant))
        settled(page)
    page.locator("input[type=file]").nth(0).set_input_files(str(log))
    page.get_by_text("What was read").wait_for(timeout=60_000)
    settled(page)


def go(page, title: str) -> None:
    page.get_by_test_id("stSidebarNav").get_by_role("link", name=title, exact=False).click()
    page.get_by_role("heading", name=title, level=1).wait_for(timeout=60_000)
    settled(page)


def test_a_log_alone_draws_the_curve_and_is_diagnosed(page, example) -> None:
    upload(page, example[0])
    page.locator("[data-testid=stVegaLiteChart] svg, [data-testid=stVegaLiteChart] canvas").first.wait_for()
    go(page, "The dryer")
    page.get_by_text("What to do, most urgent first").wait_for()
    assert page.get_by_text("fixed timer").count() > 0


def test_a_bad_file_is_refused_in_a_sentence_and_the_former_stays(page, example, tmp_path: Path) -> None:
    upload(page, example[0])
    bad = tmp_path / "picture.csv"
    bad.write_bytes(bytes.fromhex("89504e470d0a1a0a") + b"\0" * 500)
    page.locator("input[type=file]").nth(0).set_input_files(str(bad))
    page.get_by_text("picture.csv is a PNG picture").wait_for(timeout=60_000)
    settled(page)
    page.get_by_text("5,760 readings").wait_for()


def test_the_report_and_json_can_be_taken_away(page, example, tmp_path: Path) -> None:
    upload(page, *example)
    go(page, "Report")
    with page.expect_download() as fetched:
        page.get_by_role("button", name="Diagnosis (JSON)").click()
    target = tmp_path / "diagnosis.json"
    fetched.value.save_as(target)
    whole = json.loads(target.read_text(encoding="utf-8"))
    assert whole["schema"] == "dewswing/diagnosis/1"
    assert whole["log"]["samples"] == 5760
    with page.expect_download() as fetched:
        page.get_by_role("button", name="Report (HTML)").click()
    fetched.value.save_as(tmp_path / "report.html")
    assert "Gannet Quay Joinery" in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_a_slider_shows_what_the_engine_reckons(page, example) -> None:
    log, plant_file = example
    upload(page, log, plant_file)
    go(page, "What if")
    slider = page.get_by_role("slider", name="Dew point limit")
    slider.focus()
    for _ in range(5):
        slider.press("ArrowRight")
    settled(page)
    plant = load_plant(plant_file)
    diagnosis = diagnose(read_log([log], plant), plant)
    after = what_if(diagnosis, {"dryer.dew_point_limit_c": -35.0}).after
    expected = METRIC.percent(after.switching.figures.regenerations_saved_share)
    page.get_by_text(expected).first.wait_for(timeout=20_000)


def test_visitors_do_not_see_each_other(page, browser, address, example) -> None:
    upload(page, *example)
    other = browser.new_context().new_page()
    other.goto(address)
    other.wait_for_selector(STILL, timeout=60_000)
    other.get_by_role("button", name="Look at an invented plant").wait_for()
    assert other.get_by_text("5,760 readings").count() == 0
    other.context.close()
