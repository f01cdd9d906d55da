"""Many logs: found by name or manifest, ranked, failures listed, resumed, the same on a cluster."""

from __future__ import annotations

import json
import os
import signal
from pathlib import Path

import pytest

from diagnostics import fleet
from diagnostics.cli import main
from diagnostics.errors import InputError
from tests.logs import PLANT, saw_tooth


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


def test_an_error_of_ours_costs_one_row_only(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from diagnostics import diagnosis as main_path

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
