"""The front end in a real browser: upload, see, move a setting, take the results away."""

from __future__ import annotations

import gzip
import io
import json
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import load_workbook

from diagnostics import diagnose, load_plant, read_log
from diagnostics.report.figures import METRIC
from diagnostics.what_if import what_if
from tests.browser.moves import choose, go, settled, taken_away, upload
from tests.browser.server import STILL
from tests.logs import saw_tooth

pytestmark = pytest.mark.browser


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


def test_everything_can_be_taken_away_and_read_back(page, example, tmp_path: Path) -> None:
    upload(page, *example)
    go(page, "Report")
    whole = json.loads(taken_away(page, "Diagnosis (JSON)", tmp_path / "d.json").read_text(encoding="utf-8"))
    assert whole["schema"] == "dewswing/diagnosis/1"
    assert whole["log"]["samples"] == 5760
    report = taken_away(page, "Report (HTML)", tmp_path / "r.html").read_text(encoding="utf-8")
    assert "Gannet Quay Joinery" in report
    rows = pd.read_csv(taken_away(page, "Half-cycles (CSV)", tmp_path / "h.csv"))
    assert len(rows) == len(whole["cycle"]["half_cycles"]) > 100
    assert list(rows)[:5] == ["index", "start", "end", "tower", "complete"]
    log = pd.read_parquet(taken_away(page, "Screened log (Parquet)", tmp_path / "l.parquet"))
    assert len(log) == 5760
    assert "half-cycles" in load_workbook(taken_away(page, "Workbook", tmp_path / "w.xlsx")).sheetnames
    assert taken_away(page, "Report (PDF)", tmp_path / "r.pdf").read_bytes().startswith(b"%PDF")


def test_workbook_parquet_and_gzip_are_read(page, tmp_path: Path) -> None:
    table = saw_tooth(days=0.25)
    text = io.BytesIO()
    table.to_csv(text, index=False)
    table.to_excel(tmp_path / "log.xlsx", index=False)
    table.to_parquet(tmp_path / "log.parquet")
    (tmp_path / "log.csv.gz").write_bytes(gzip.compress(text.getvalue()))
    for name in ("log.xlsx", "log.parquet", "log.csv.gz"):
        upload(page, tmp_path / name)
        page.get_by_text("720 readings").wait_for(timeout=20_000)
        page.reload()
        settled(page)


def test_a_wrong_column_is_corrected(page, tmp_path: Path) -> None:
    table = saw_tooth(days=0.25)
    table["Dew point 2 [°C]"] = table["Dew point [°C]"] + 7.0
    table.to_csv(tmp_path / "log.csv", index=False)
    upload(page, tmp_path / "log.csv")
    read = page.get_by_role("table").first
    other = "Dew point [°C]" if "Dew point 2" in read.inner_text() else "Dew point 2 [°C]"
    page.get_by_text("Correct what was guessed").click()
    choose(page, "Column of the dew point", other)
    page.get_by_role("button", name="Read the log again").click()
    read.get_by_text(other, exact=True).wait_for(timeout=20_000)
    settled(page)


def test_a_slider_shows_what_the_engine_reckons(page, example) -> None:
    log, plant_file = example
    upload(page, log, plant_file)
    go(page, "What if")
    slider = page.get_by_role("slider", name="Dew point limit")
    slider.focus()
    for _ in range(5):  # faster than the page can answer
        slider.press("ArrowRight")
    settled(page)
    page.wait_for_function("s => s.value === '-35'", arg=slider.element_handle(), timeout=20_000)
    assert page.get_by_label("Dew point limit [°C] as a number").input_value() == "-35"
    plant = load_plant(plant_file)
    diagnosis = diagnose(read_log([log], plant), plant)
    after = what_if(diagnosis, {"dryer.dew_point_limit_c": -35.0}).after
    expected = METRIC.percent(after.switching.figures.regenerations_saved_share)
    page.get_by_text(expected).first.wait_for(timeout=20_000)


def test_on_a_phone_the_answer_is_in_sight_while_a_thumb_moves_a_slider(address, browser, example) -> None:
    page = browser.new_context(viewport={"width": 400, "height": 700}).new_page()
    page.goto(address)
    page.wait_for_selector(STILL, timeout=60_000)
    upload(page, *example)
    go(page, "What if")
    answer, slider = page.locator(".st-key-answer"), page.get_by_role("slider", name="Cost of the control")
    before = answer.inner_text()
    slider.scroll_into_view_if_needed()
    slider.focus()
    for _ in range(5):
        slider.press("ArrowRight")
    settled(page)
    page.wait_for_function(
        "was => document.querySelector('.st-key-answer').innerText !== was", arg=before, timeout=20_000
    )
    box, thumb = answer.bounding_box(), slider.bounding_box()
    assert 0 <= box["y"] < box["y"] + box["height"] < thumb["y"] < 700
    page.context.close()


def test_visitors_do_not_see_each_other(page, browser, address, example) -> None:
    upload(page, *example)
    other = browser.new_context().new_page()
    other.goto(address)
    other.wait_for_selector(STILL, timeout=60_000)
    other.get_by_role("button", name="Look at an invented plant").wait_for()
    assert other.get_by_text("5,760 readings").count() == 0
    other.context.close()


HOSTILE = "<img src=x onerror=alert(1)> <script>alert(2)</script> [here](javascript:alert(3)) $x^2$"


def test_nothing_from_a_file_is_run(page, tmp_path: Path) -> None:
    dialogs: list[str] = []
    page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
    table = saw_tooth(days=0.25).rename(columns={"Dew point [°C]": f"Dew point {HOSTILE} [°C]"})
    table.to_csv(tmp_path / "<b>log.csv", index=False)
    (tmp_path / "plant.toml").write_text(f"[site]\nname = {json.dumps(HOSTILE)}\n", encoding="utf-8")
    page.locator("input[type=file]").nth(1).set_input_files(str(tmp_path / "plant.toml"))
    settled(page)
    page.locator("input[type=file]").nth(0).set_input_files(str(tmp_path / "<b>log.csv"))
    page.get_by_text("holds no dew point").wait_for(timeout=20_000)
    page.get_by_label("Title of the dew point's column").fill(f"Dew point {HOSTILE} [°C]")
    page.get_by_role("button", name="Try again").click()
    page.get_by_role("heading", name="What was read").wait_for(timeout=60_000)
    settled(page)
    assert HOSTILE in page.get_by_role("table").first.inner_text()
    page.get_by_text("What the reader decided").click()
    for title in ("The log", "The dryer", "The plant", "Payback", "Report", "Before measuring"):
        go(page, title)
        planted = "[data-testid=stMain] :is(img[src=x], script, a[href^='javascript'], .katex)"
        assert page.locator(planted).count() == 0, title
    assert dialogs == []


def test_a_narrow_window_of_time_shows_more_readings(page, example) -> None:
    upload(page, *example)
    choose(page, "Show", "an hour")
    page.get_by_text("1 h in view").wait_for(timeout=20_000)
    start = page.get_by_role("slider", name="From")
    start.focus()
    start.press("ArrowRight")
    settled(page)
    assert start.evaluate("e => e === document.activeElement"), "the keyboard stays where it was"


def test_the_invented_plant_shows_everything_with_one_click(page) -> None:
    page.get_by_role("button", name="Look at an invented plant").click()
    page.get_by_role("heading", name="What was read").wait_for(timeout=90_000)
    settled(page)
    go(page, "Payback")
    page.get_by_role("heading", name="Cash flow").wait_for(timeout=20_000)
