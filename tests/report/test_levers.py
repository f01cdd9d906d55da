"""Other ways to spend less: in the document, in the report, and nowhere where people breathe the air."""

from __future__ import annotations

import datetime as dt
import json

import pytest

from diagnostics import Diagnosis, diagnose, document, load_plant, plant_from, read_log, weigh_levers
from diagnostics.cli import main
from diagnostics.report.content import report_content
from diagnostics.report.levers import lever_rows
from diagnostics.report.summary import worth_lines
from tests.shared_data import shared


@pytest.fixture(scope="module")
def heated() -> Diagnosis:
    folder = shared("examples", "heated_purge")
    plant = load_plant(folder / "plant.toml")
    return diagnose(read_log([folder / "log.csv"], plant), plant)


def test_document_holds_what_was_weighed(heated: Diagnosis) -> None:
    found, told = weigh_levers(heated), document(heated)["levers"]
    assert [lever["key"] for lever in told["levers"]] == [lever.key for lever in found.levers]
    assert told["together_kwh_per_year"]["value"] == found.together_kwh_per_year.value
    assert told["overlap_kwh_per_year"] == found.overlap_kwh_per_year


def test_switching_saves_the_same_wherever_it_is_told(heated: Diagnosis) -> None:
    lever = next(lever for lever in weigh_levers(heated).levers if lever.key == "switch_on_dew_point")
    assert lever.energy_saved_kwh_per_year == heated.switching.figures.energy_saved_kwh_per_year
    assert lever.cost_saved_per_year == heated.switching.figures.cost_saved_per_year


def test_report_tells_each_and_all_together(heated: Diagnosis) -> None:
    content = report_content(heated, today=dt.date(2026, 3, 5))
    assert len(content["levers"]) == len(weigh_levers(heated).levers) + 1
    cautions = {lever.caution for lever in weigh_levers(heated).levers if lever.caution}
    assert cautions <= set(content["lever_notes"])


@pytest.mark.parametrize("use", ["medical", "breathing"])
def test_nothing_is_offered_where_people_breathe(use: str) -> None:
    folder = shared("examples", "heated_purge")
    tables = dict(load_plant(folder / "plant.toml").tables)
    tables["site"] = {**tables.get("site", {}), "air_use": use}
    tables["dryer"] = {**tables["dryer"], "pre_filter_drop_bar": 0.4}
    plant = plant_from(tables)
    diagnosis = diagnose(read_log([folder / "log.csv"], plant), plant)
    told = document(diagnosis)["levers"]
    assert told["levers"] == []
    assert told["together_kwh_per_year"] is None
    assert "responsible person" in told["notes"][0]
    assert lever_rows(diagnosis) == []
    assert "Better still" not in [line.topic for line in worth_lines(diagnosis)]


def test_what_if_tells_them(capsys: pytest.CaptureFixture[str]) -> None:
    folder = shared("examples", "heated_purge")
    arguments = ["what-if", str(folder / "log.csv"), "--plant", str(folder / "plant.toml")]
    arguments += ["--set", "dryer.longest_half_cycle_s=43200"]
    assert main(arguments) == 0
    assert "Other ways to spend less" in capsys.readouterr().out
    assert main([*arguments, "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["levers"]["levers"]
