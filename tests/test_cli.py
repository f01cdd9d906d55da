"""The command line as a stranger uses it: exit statuses, one-sentence errors, nothing half-written."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from diagnostics.cli import VERBS, main
from tests.logs import PLANT, write_example

PNG = bytes.fromhex("89504e470d0a1a0a0000000d4948445200000001000000010806000000") + b"\0" * 200


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    status = main(list(arguments))
    told = capsys.readouterr()
    return status, told.out, told.err


def assert_sentence(err: str) -> None:
    assert err.startswith("dewswing: ")
    assert err.count("\n") == 1, "one sentence on one line"
    assert "Traceback" not in err
    assert "an error in dewswing itself" not in err


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_help_with_an_example(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, verb, "--help")
    assert status == 0
    assert f"dewswing {verb}" in out
    assert "Example:" in out


@pytest.mark.parametrize(
    "arguments",
    [
        ["nonsense"],
        ["diagnose"],
        ["diagnose", "log.csv", "--nonsense"],
        ["diagnose", "log.csv", "--column", "colour=x"],
        ["diagnose", "log.csv", "--column", "dew_point"],
        ["diagnose", "log.csv", "--report", "report.docx"],
        ["convert", "-40", "furlong", "--pressure-bar-g", "7"],
        ["convert", "wet", "degC", "--pressure-bar-g", "7"],
        ["convert", "-40", "degC"],
        ["what-if", "log.csv", "--plant", "p.toml", "--set", "nonsense"],
    ],
    ids=" ".join,
)
def test_wrong_usage_is_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    status, _, err = run(capsys, *arguments)
    assert status == 2
    assert_sentence(err)


UNUSABLE = {
    "empty.csv": (b"", "empty.csv"),
    "picture.csv": (PNG, "picture.csv"),
    "no_moisture.csv": (b"time,colour\n2026-01-01 00:00,red\n2026-01-01 00:01,blue\n", "no_moisture.csv"),
    "noise.csv": (bytes(range(256)) * 40, "noise.csv"),
    "words.csv": (b"dear reader, this is a letter\nwith lines\n", "words.csv"),
}


@pytest.mark.parametrize("name", UNUSABLE)
def test_unusable_log_is_3_and_leaves_nothing(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    content, place = UNUSABLE[name]
    log = tmp_path / name
    log.write_bytes(content)
    before = set(tmp_path.iterdir())
    outs = [str(tmp_path / f"out{suffix}") for suffix in (".json", ".html", ".csv")]
    status, out, err = run(
        capsys, "diagnose", str(log), "--json", outs[0], "--report", outs[1], "--half-cycles", outs[2]
    )
    assert status == 3
    assert out == ""
    assert_sentence(err)
    assert place in err
    assert set(tmp_path.iterdir()) == before


def test_unknown_plant_key_is_3(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log, plant = write_example(tmp_path)
    plant.write_text(PLANT.replace("half_cycle_s", "halfcycle_s"), encoding="utf-8")
    status, _, err = run(capsys, "diagnose", str(log), "--plant", str(plant))
    assert status == 3
    assert_sentence(err)
    assert "plant.toml" in err
    assert "dryer.halfcycle_s" in err
    assert "half_cycle_s" in err


def test_missing_log_folder_and_target(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log, _ = write_example(tmp_path)
    for arguments in (
        ["diagnose", str(tmp_path / "nowhere.csv")],
        ["diagnose", str(tmp_path)],
        ["diagnose", str(log), "--json", str(tmp_path / "nowhere" / "out.json")],
        ["diagnose", str(log), "--plant", str(tmp_path / "nowhere.toml")],
        ["fleet", str(tmp_path / "nowhere")],
    ):
        status, _, err = run(capsys, *arguments)
        assert status == 3, arguments
        assert_sentence(err)


@pytest.mark.skipif(os.geteuid() == 0, reason="the administrator may write everywhere")
def test_folder_without_permission_is_3(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log, _ = write_example(tmp_path)
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o500)
    status, _, err = run(capsys, "diagnose", str(log), "--json", str(closed / "out.json"))
    assert status == 3
    assert_sentence(err)


def test_diagnose_writes_all_it_is_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log, plant = write_example(tmp_path)
    names = {
        "--json": "out.json",
        "--report": "out.html",
        "--half-cycles": "half.csv",
        "--findings": "findings.csv",
        "--workbook": "out.xlsx",
        "--screened": "out.parquet",
    }
    options = [part for flag, name in names.items() for part in (flag, str(tmp_path / name))]
    status, out, err = run(capsys, "diagnose", str(log), "--plant", str(plant), *options)
    assert (status, err) == (0, "")
    assert "What was seen" in out
    assert all((tmp_path / name).stat().st_size > 0 for name in names.values())
    whole = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert whole["schema"] == "dewswing/diagnosis/1"
    assert run(capsys, "diagnose", "--schema")[0] == 0
    from diagnostics.report.schema import json_schema

    jsonschema.validate(whole, json_schema())


def test_schema_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "diagnose", "--schema")
    assert status == 0
    jsonschema.Draft202012Validator.check_schema(json.loads(out))


def test_json_on_the_screen_is_json_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log, plant = write_example(tmp_path)
    status, out, _ = run(capsys, "diagnose", str(log), "--plant", str(plant), "--json", "-")
    assert status == 0
    assert json.loads(out)["log"]["samples"] == 5760


def test_convert_takes_a_negative_value_as_it_stands(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "convert", "-40", "degC", "--pressure-bar-g", "7", "--limit-c", "-40", "--json")
    result = json.loads(out)
    assert status == 0
    assert result["pressure_dew_point_c"] == pytest.approx(-40.0, abs=1e-6)
    # -40 degC at 7 bar g is -56.67 degC at 1.01325 bar, real gas: computed with CoolProp 8.0.0 (RP-1485 virial model)
    assert result["atmospheric_dew_point_c"] == pytest.approx(-56.67, abs=0.01)
    assert result["purity_class"] == 2
    assert result["conformity"] == "undecided"


def test_module_runs_like_the_command(tmp_path: Path) -> None:
    result = subprocess.run(
        [sys.executable, "-m", "diagnostics", "convert", "3", "degC", "--pressure-bar-g", "7", "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(result.stdout)["purity_class"] == 4
