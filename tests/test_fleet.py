"""Many logs: found by name or manifest, ranked, failures listed, resumed, the same on a cluster."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import os
import signal
from pathlib import Path

import pytest

from diagnostics import fleet
from diagnostics.cli import main
from diagnostics.errors import InputError
from diagnostics.measurement_plan import plan_measurement
from diagnostics.plant import plant_from
from diagnostics.report.checklist import checklist_page
from diagnostics.report.fleet_page import fleet_csv, fleet_page
from tests.browser.server import FLAGS, require_chromium
from tests.logs import PLANT, saw_tooth
from tests.report.test_page import fetches


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three dryers by name, one of them in two visits, one broken log, one subfolder with its own plant file."""
    root = tmp_path / "fleet"
    (root / "boiler house").mkdir(parents=True)
    for name, seed in (("north_2026-03", 1), ("north_2026-02", 2), ("south", 3), ("boiler house/log", 4)):
        table = saw_tooth(days=0.3, seed=seed)
        if name == "north_2026-02":
            table["Time"] -= table["Time"].iloc[0] - table["Time"].iloc[0].replace(month=2)
        table.to_csv(root / f"{name}.csv", index=False)
    for name in ("north", "south", "boiler house/plant"):
        (root / f"{name}.toml").write_text(PLANT.replace("Gannet Quay Joinery", name), encoding="utf-8")
    (root / "broken.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0" * 100)
    return root


def test_dryers_are_found_by_name(folder: Path) -> None:
    found = {dryer.name: [log.name for log in dryer.logs] for dryer in fleet.find_dryers(folder)}
    assert found == {
        "north": ["north_2026-02.csv", "north_2026-03.csv"],
        "south": ["south.csv"],
        "broken": ["broken.csv"],
        "boiler house": ["log.csv"],
    }


def test_manifest_decides(folder: Path) -> None:
    (folder / "fleet.toml").write_text(
        '[[dryers]]\nname = "one"\nlogs = ["south.csv"]\nplant = "south.toml"\nheader = "H1"\n'
        '[[dryers]]\nname = "two"\nlogs = ["north_2026-03.csv"]\nplant = "north.toml"\nheader = "H1"\n',
        encoding="utf-8",
    )
    rows = fleet.run_fleet(fleet.find_dryers(folder), workers=2)
    (mixed,) = fleet.headers(rows)
    levels = [row["moisture_mean_dew_point_c"] for row in rows]
    assert sorted(mixed["dryers"]) == ["one", "two"]
    assert min(levels) <= mixed["mixed_dew_point_c"] <= max(levels)


def test_wrong_manifest_and_empty_folder(folder: Path, tmp_path: Path) -> None:
    (folder / "fleet.toml").write_text("[[dryers]]\nlogs = []\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"fleet\.toml.*name"):
        fleet.find_dryers(folder)
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="no logs"):
        fleet.find_dryers(tmp_path / "empty")


def test_failures_are_listed_and_a_restart_resumes(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = folder.parent / "out"
    assert main(["fleet", str(folder), "-o", str(out), "--json", str(out.parent / "rows.json"), "--workers", "2"]) == 0
    rows = json.loads((out.parent / "rows.json").read_text(encoding="utf-8"))["dryers"]
    assert [row["dryer"] for row in rows if row["urgency"] == "failed"] == ["broken"]
    assert "PNG" in rows[-1]["error"]
    assert {"fleet.csv", "fleet.html", "fleet.json"} <= {path.name for path in out.iterdir()}
    assert len(list((out / "documents").iterdir())) == 3
    stamps = {path: path.stat().st_mtime_ns for path in (out / "documents").iterdir()}
    again = fleet.run_fleet(fleet.find_dryers(folder), out=out, workers=1)
    assert again == rows
    assert {path: path.stat().st_mtime_ns for path in (out / "documents").iterdir()} == stamps
    (folder / "south.toml").write_text(PLANT.replace("0.15", "0.30"), encoding="utf-8")
    changed = {row["dryer"]: row for row in fleet.run_fleet(fleet.find_dryers(folder), out=out, workers=1)}
    before = {row["dryer"]: row for row in rows}
    assert changed["south"]["purge_cost_per_year"] == pytest.approx(2 * before["south"]["purge_cost_per_year"])
    assert changed["north"] == before["north"]


def test_a_killed_worker_loses_only_its_own(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fleet, "diagnose_task", deadly)
    rows = {row["dryer"]: row for row in fleet.run_fleet(fleet.find_dryers(folder), workers=2)}
    assert rows["south"]["urgency"] == "failed"
    assert "killed" in rows["south"]["error"]
    assert rows["north"]["urgency"] == rows["boiler house"]["urgency"] == "none"


def test_a_killed_worker_is_tried_again_by_a_restart(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = folder.parent / "out"
    with monkeypatch.context() as patch:
        patch.setattr(fleet, "diagnose_task", deadly)
        first = {row["dryer"]: row for row in fleet.run_fleet(fleet.find_dryers(folder), out=out, workers=2)}
    assert first["south"]["urgency"] == "failed"
    assert sorted(path.stem for path in (out / "rows").iterdir()) == []
    again = {row["dryer"]: row for row in fleet.run_fleet(fleet.find_dryers(folder), out=out, workers=2)}
    assert again["south"]["urgency"] != "failed"


def test_a_run_that_was_stopped_goes_on_where_it_was(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out, dryers = folder.parent / "out", fleet.find_dryers(folder)
    whole = fleet.run_fleet(dryers, workers=2)
    steps: list[str] = []

    def stop(step: str) -> None:
        steps.append(step)
        if len(steps) == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fleet.run_fleet(dryers, out=out, workers=1, progress=stop)
    kept = {path.stem for path in (out / "rows").iterdir()}
    assert 1 <= len(kept) < 3
    done: list[str] = []
    with monkeypatch.context() as patch:
        patch.setattr(fleet, "_keep", lambda _, task, result: done.append(task.file_name))
        assert fleet.run_fleet(dryers, out=out, workers=1) == whole
    assert not kept & set(done), "what was done is not done again"


def test_a_corrupt_visit_costs_that_visit_only(folder: Path) -> None:
    (folder / "north_2026-04.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0" * 100)
    rows = {row["dryer"]: row for row in fleet.run_fleet(fleet.find_dryers(folder), workers=2)}
    assert rows["north"]["urgency"] != "failed"
    assert "north_2026-04.csv was left out" in rows["north"]["error"]
    assert [visit["start"][:7] for visit in rows["north"]["visits"]] == ["2026-02", "2026-03"]
    assert all(visit["p95_dew_point_c"] < -30.0 for visit in rows["north"]["visits"])


def test_missing_files_and_names_that_are_no_file_names(folder: Path) -> None:
    (folder / "fleet.toml").write_text(
        '[[dryers]]\nname = "Hall A/B: north"\nlogs = ["north_*.csv"]\nplant = "north.toml"\n'
        '[[dryers]]\nname = "Hall A_B_ north"\nlogs = ["south.csv"]\nplant = "south.toml"\n'
        '[[dryers]]\nname = "gone"\nlogs = ["gone.csv"]\n',
        encoding="utf-8",
    )
    out = folder.parent / "out"
    rows = {row["dryer"]: row for row in fleet.run_fleet(fleet.find_dryers(folder), out=out, workers=2)}
    assert "gone.csv cannot be read" in rows["gone"]["error"]
    assert len(list((out / "documents").iterdir())) == 2
    assert len(rows["Hall A/B: north"]["visits"]) == 2


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[[dryers]]\nname = "a"\nlogs = "a.csv"\n', "a list of files"),
        ('[[dryers]]\nname = "a"\nlogs = ["a.csv"]\nplants = "p.toml"\n', "unknown key 'plants'"),
        ('[[dryers]]\nname = "a"\nlogs = ["a.csv"]\n[[dryers]]\nname = "a"\nlogs = ["b.csv"]\n', "called 'a'"),
        ("[[dryers\n", "not valid TOML"),
    ],
)
def test_wrong_manifests_name_the_mend(folder: Path, text: str, says: str) -> None:
    (folder / "fleet.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=says):
        fleet.find_dryers(folder)


def test_subfolders_and_results_are_told_apart(folder: Path) -> None:
    (folder / "south").mkdir()
    saw_tooth(days=0.1).to_csv(folder / "south" / "monday.csv", index=False)
    (folder / "results").mkdir()
    for name in ("fleet.csv", "fleet.json"):
        (folder / "results" / name).write_text("x", encoding="utf-8")
    found = {dryer.name: dryer for dryer in fleet.find_dryers(folder)}
    assert {"south", "south (2)", "boiler house", "north", "broken"} == set(found)
    assert found["south"].plant == folder / "south.toml"


def test_an_error_of_ours_costs_one_row_only(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from diagnostics import diagnosis as main_path

    monkeypatch.delenv("DEWSWING_DEBUG", raising=False)

    def broken(*_: object) -> None:
        raise ZeroDivisionError("stands for a mistake in the engine")

    monkeypatch.setattr(main_path, "judge_purity", broken)
    dryer = next(dryer for dryer in fleet.find_dryers(folder) if dryer.name == "north")
    result = fleet.diagnose_task(dryer.task())
    assert result["document"] is None
    assert result["row"]["urgency"] == "failed"
    assert "ZeroDivisionError" in result["row"]["error"]
    assert "north" in result["row"]["error"]


def deadly(task: fleet.Task) -> dict[str, object]:
    """Stands for a worker that runs out of memory on one dryer."""
    if task.name == "south":
        os.kill(os.getpid(), signal.SIGKILL)
    return {"row": {"dryer": task.name, "urgency": "none"}, "document": None}


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_a_dask_cluster_agrees_to_the_bit(folder: Path) -> None:
    from distributed import LocalCluster

    dryers = fleet.find_dryers(folder)
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        far = fleet.run_fleet(dryers, scheduler=cluster.scheduler_address)
    assert far == fleet.run_fleet(dryers, workers=2)


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_a_cluster_that_is_not_there_is_said_in_one_sentence(folder: Path) -> None:
    with pytest.raises(InputError, match="no Dask scheduler answers"):
        fleet.run_fleet(fleet.find_dryers(folder), scheduler="tcp://127.0.0.1:9")


ROW = {
    "urgency": "warning",
    "first": "<b>seen</b>",
    "do": "act",
    "limit_dew_point_c": -40.0,
    "p95_dew_point_c": -41.25,
    "half_cycle_s": 300.0,
    "trend": "rising",
    "days_to_limit": 12.3,
    "purge_cost_per_year": 2000.0,
    "cost_saved_per_year": 1000.0,
    "currency": "EUR",
    "mean_flow_m3_min": 10.0,
    "pressure_bar": 8.0,
    "error": "",
}


def made_rows() -> list[dict[str, object]]:
    visits = [
        {"start": "2026-01-01T00:00:00", "end": "", "p95_dew_point_c": -44.0, "peak_dew_point_c": None},
        {"start": "2026-05-01T00:00:00", "end": "", "p95_dew_point_c": -41.25, "peak_dew_point_c": None},
    ]
    one = ROW | {"dryer": "=one", "header": "H", "moisture_mean_dew_point_c": -40.0, "visits": visits}
    two = ROW | {"dryer": "two", "header": "H", "moisture_mean_dew_point_c": -60.0, "visits": visits[:1]}
    return [one, two, fleet.failed_row("three", "", "three.csv is empty.")]


def test_shared_header_is_mixed_in_moisture() -> None:
    # Equal flows at -40 and -60 degC: saturation pressures over ice 12.84 and 1.081 Pa (IAPWS R14-08, from memory),
    # mean 6.96 Pa, which is -45.3 degC.
    (mixed,) = fleet.headers(made_rows())
    assert mixed["mixed_dew_point_c"] == pytest.approx(-45.3, abs=0.1)
    assert mixed["members"][0]["share_of_water"] == pytest.approx(12.84 / (12.84 + 1.081), abs=0.002)


def test_page_and_table_say_it_and_run_nothing() -> None:
    rows = made_rows()
    page = fleet_page(rows, fleet.headers(rows), today=dt.date(2026, 5, 2))
    assert page == fleet_page(rows, fleet.headers(rows), today=dt.date(2026, 5, 2))
    assert fetches(page) == []
    for told in ("3 dryers: 2 warning, 1 not diagnosed", "2,000 EUR", "limit in 12 days", "−44.0 °C on 2026-01-01"):
        assert told in page, told
    assert "&lt;b&gt;seen" in page
    assert "three.csv is empty." in page
    lines = list(csv.reader(io.StringIO(fleet_csv(rows))))
    assert lines[1][1] == "'=one"
    assert float(lines[1][lines[0].index("p95_dew_point_c")]) == -41.25


@pytest.mark.browser
def test_the_fleet_page_is_accessible(tmp_path: Path) -> None:
    chromium = require_chromium()
    from axe_core_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    rows = made_rows()
    file = tmp_path / "fleet.html"
    file.write_text(fleet_page(rows, fleet.headers(rows)), encoding="utf-8")
    plan = tmp_path / "plan.html"
    plan.write_text(checklist_page(plan_measurement(plant_from({})), None), encoding="utf-8")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        page = browser.new_page(viewport={"width": 400, "height": 900})
        for path in (file, plan):
            page.goto(path.as_uri())
            found = [v["id"] for v in Axe().run(page)["violations"] if v["impact"] in ("serious", "critical")]
            assert found == [], path.name
            assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth + 1"), path.name
        browser.close()


def test_a_mend_that_a_fleet_has_not_is_told_as_one_it_has(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "broken.csv").write_text("when,a,b\n" + "".join(f"2026-01-01 00:{m:02},1,2\n" for m in range(9)))
    rows = fleet.run_fleet(fleet.find_dryers(folder), workers=1)
    told = next(row["error"] for row in rows if row["dryer"] == "broken")
    assert "--column" not in told
    named = 'columns = { dew_point = "HEADER" } under [log] in its plant file'
    assert named in told
    # The mend works: the same folder with that line is diagnosed.
    text = PLANT + '[log]\ncolumns = { dew_point = "a" }\nunits = { dew_point = "degC" }\n'
    (folder / "broken.toml").write_text(text, encoding="utf-8")
    again = fleet.run_fleet(fleet.find_dryers(folder), workers=1)
    assert "no dew point" not in next(str(row["error"]) for row in again if row["dryer"] == "broken")


def test_money_of_a_fleet_bears_its_interval_and_sentences_the_units_chosen(folder: Path) -> None:
    from diagnostics.report.figures import US

    rows = fleet.run_fleet(fleet.find_dryers(folder), workers=1)
    page = fleet_page(rows, fleet.headers(rows), today=dt.date(2026, 1, 1), display=US)
    assert "if all are off the same way" in page
    row = next(row for row in rows if row.get("cost_saved_per_year"))
    interval = f"({US.number(row['cost_saved_low'])} to {US.number(row['cost_saved_high'])})"
    assert interval in page
    assert "°F" in page
    assert "°C" not in page
