"""Every verb with every mistake a stranger makes: one sentence, the right exit status, nothing half-written."""

from __future__ import annotations

import os
import shlex
from pathlib import Path

import pytest

from diagnostics.cli import VERBS, dewswing, main
from tests.logs import PLANT, saw_tooth

LOGS = {
    "diagnose": ["diagnose", "log.csv", "--plant", "plant.toml"],
    "what-if": ["what-if", "log.csv", "--plant", "plant.toml"],
    "compare": ["compare", "log.csv", "log.csv", "--plant", "plant.toml"],
    "verify": ["verify", "log.csv", "log.csv", "--plant", "plant.toml"],
    "plan": ["plan", "--plant", "plant.toml", "--log", "log.csv"],
}
"""Verbs that read a log, and how they are called."""
PLANTS = LOGS | {"simulate": ["simulate", "plant.toml", "--days", "0.05", "-o", "made.csv"]}
WRITERS = PLANTS | {"fleet": ["fleet", "logs"], "demo": ["demo", "-o", "first"]}
ALL = WRITERS | {
    "convert": ["convert", "-40", "degC", "--pressure-bar-g", "7"],
    "serve": ["serve"],
}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a log, a plant file and a folder of logs, where the user stands."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DEWSWING_DEBUG", raising=False)
    saw_tooth(days=0.2).to_csv("log.csv", index=False)
    Path("plant.toml").write_text(PLANT, encoding="utf-8")
    Path("logs").mkdir()
    saw_tooth(days=0.2).to_csv("logs/one.csv", index=False)
    return tmp_path


def refused(capsys: pytest.CaptureFixture[str], desk: Path, arguments: list[str], status: int, *told: str) -> None:
    before = sorted(desk.rglob("*"))
    assert main(arguments) == status, arguments
    out, err = capsys.readouterr()
    assert out == "", arguments
    assert err.startswith("dewswing: "), err
    assert err.count("\n") == 1, err
    assert "Traceback" not in err
    assert "an error in dewswing itself" not in err
    for words in told:
        assert words in err, err
    assert sorted(desk.rglob("*")) == before, "nothing is left behind"


def swapped(arguments: list[str], old: str, new: str) -> list[str]:
    return [new if argument == old else argument for argument in arguments]


def test_no_verb_is_forgotten() -> None:
    assert set(ALL) == set(VERBS)


@pytest.mark.parametrize("verb", ALL)
def test_unknown_flag(verb: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # `convert` takes what it does not know for a value, as a negative number looks like a flag.
    told = () if verb == "convert" else ("--colour",)
    refused(capsys, desk, [*ALL[verb], "--colour", "blue"], 2, *told)


@pytest.mark.parametrize("verb", LOGS)
def test_missing_log_and_folder(verb: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    refused(capsys, desk, swapped(LOGS[verb], "log.csv", "nowhere.csv"), 3, "nowhere.csv")
    refused(capsys, desk, swapped(LOGS[verb], "log.csv", "logs"), 3, "folder")


@pytest.mark.parametrize("verb", LOGS)
def test_unreadable_log(verb: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (desk / "picture.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0" * 100)
    (desk / "empty.csv").write_bytes(b"")
    for name in ("picture.csv", "empty.csv"):
        refused(capsys, desk, swapped(LOGS[verb], "log.csv", name), 3, name)


@pytest.mark.parametrize("verb", PLANTS)
def test_missing_or_senseless_plant(verb: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    refused(capsys, desk, swapped(PLANTS[verb], "plant.toml", "nowhere.toml"), 3, "nowhere.toml")
    (desk / "key.toml").write_text(PLANT.replace("half_cycle_s", "halfcycle_s"), encoding="utf-8")
    refused(capsys, desk, swapped(PLANTS[verb], "plant.toml", "key.toml"), 3, "dryer.halfcycle_s")
    (desk / "broken.toml").write_text("[dryer\n", encoding="utf-8")
    refused(capsys, desk, swapped(PLANTS[verb], "plant.toml", "broken.toml"), 3, "broken.toml")
    (desk / "value.toml").write_text("[dryer]\nrated_flow_m3_min = -3.0\n", encoding="utf-8")
    refused(capsys, desk, swapped(PLANTS[verb], "plant.toml", "value.toml"), 3, "dryer.rated_flow_m3_min")


@pytest.mark.parametrize("verb", WRITERS)
def test_target_that_cannot_be_written(verb: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    refused(capsys, desk, [*WRITERS[verb], "--json", "nowhere/out.json"], 3, "nowhere")
    refused(capsys, desk, [*WRITERS[verb], "--json", "logs"], 3, "folder")


@pytest.mark.skipif(os.geteuid() == 0, reason="the administrator may write everywhere")
@pytest.mark.parametrize("verb", WRITERS)
def test_target_without_permission(verb: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (desk / "closed").mkdir(mode=0o500)
    refused(capsys, desk, [*WRITERS[verb], "--json", "closed/out.json"], 3, "closed")


@pytest.mark.parametrize(
    "option",
    ["--report x/out.html", "--half-cycles x/a.csv", "--findings x/a.csv", "--workbook x/a.xlsx", "--screened x/a"],
)
def test_every_export_is_checked_before_the_work(option: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    refused(capsys, desk, [*LOGS["diagnose"], *option.split()], 3, "there is no folder x")


def test_other_targets(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    refused(capsys, desk, ["plan", "--checklist", "x/plan.html"], 3, "there is no folder x")
    refused(capsys, desk, ["plan", "--checklist", "plan.docx"], 2, "plan.docx")
    refused(capsys, desk, swapped(PLANTS["simulate"], "made.csv", "x/made.csv"), 3, "there is no folder x")
    refused(capsys, desk, [*PLANTS["simulate"], "--truth", "x/t.json"], 3, "there is no folder x")
    refused(capsys, desk, ["fleet", "logs", "-o", "log.csv"], 3, "log.csv")
    refused(capsys, desk, ["demo", "-o", "log.csv"], 3, "log.csv")


def test_fleet_without_a_folder(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    refused(capsys, desk, ["fleet", "nowhere"], 3, "nowhere")
    refused(capsys, desk, ["fleet", "log.csv"], 3, "is a file", "dewswing diagnose")
    (desk / "empty").mkdir()
    refused(capsys, desk, ["fleet", "empty"], 3, "holds no logs")


@pytest.mark.parametrize(
    ("arguments", "status", "told"),
    [
        ("diagnose log.csv --column dew_point=Taupunkt", 3, "Taupunkt"),
        ("diagnose log.csv --column colour=x", 2, "colour"),
        ("diagnose log.csv --rhythm-from Ventil", 3, "Ventil"),
        ("diagnose log.csv --explain purity.p96", 2, "p96"),
        ("diagnose log.csv --report out.docx", 2, "out.docx"),
        ("diagnose log.csv --numbers 1'000", 2, "--numbers"),
        ("diagnose log.csv --units imperial", 2, "--units"),
        ("what-if log.csv --plant plant.toml --set dryer.colour=3", 3, "dryer.colour"),
        ("what-if log.csv --plant plant.toml --set dryer.purge_share=2", 3, "purge_share"),
        ("what-if log.csv --plant plant.toml --set purge", 2, "--set"),
        ("what-if log.csv --plant plant.toml --column flow=Durchfluss", 3, "Durchfluss"),
        ("simulate plant.toml --days 0.05 --fault rust -o made.csv", 2, "rust"),
        ("simulate plant.toml --days 0 -o made.csv", 2, "--days"),
        ("convert -40 furlong --pressure-bar-g 7", 2, "furlong"),
        ("convert wet degC --pressure-bar-g 7", 2, "wet"),
        ("convert -40 degC", 2, "--pressure-bar-g"),
        ("convert -40 degC --pressure-bar-g -3", 3, "pressure"),
        ("convert -300 degC --pressure-bar-g 7", 3, "-300"),
        ("convert -40 degC --pressure-bar-g 7 --over steam", 2, "steam"),
        ("convert -40 degC --pressure-bar-g 7 --basis vacuum", 2, "vacuum"),
        ("convert -40 degC --pressure-bar-g 7 --to -60", 2, "--step"),
        ("convert -40 degC --pressure-bar-g 7 --to -60 --step 0", 3, "step"),
        ("plan --memory 3", 2, "--memory"),
        ("plan --battery-h 0", 2, "--battery-h"),
        ("fleet logs --workers 0", 2, "--workers"),
        ("serve --port 99999999", 2, "--port"),
        ("serve --address 192.0.2.1", 3, "no address of this computer"),
        ("diagnose plant.toml", 3, "give it with --plant"),
        ("diagnose log.csv --half-cycles out.json", 2, "end the name in .csv"),
        ("diagnose log.csv --workbook out.csv", 2, "end the name in .xlsx"),
        ("diagnose log.csv --plant log.csv", 3, "is it a plant file?"),
        ("convert -40 --limit-c --pressure-bar-g 7", 2, "--limit-c"),
        ("convert nan degC --pressure-bar-g 7", 3, "give a number"),
    ],
)
def test_wrong_words(arguments: str, status: int, told: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    refused(capsys, desk, arguments.split(), status, told)


@pytest.mark.parametrize("verb", sorted(set(VERBS) - {"serve"}))
def test_the_example_of_the_help_works_when_pasted(verb: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("monday", "tuesday", "portable", "installed", "january", "march"):
        table = saw_tooth(days=1.0 if name in ("january", "march") else 0.2)
        if name in ("tuesday", "march"):
            table["Time"] += (
                table["Time"].iloc[-1] - table["Time"].iloc[0] + (table["Time"].iloc[1] - table["Time"].iloc[0])
            )
        if verb == "verify":
            table["Flow [m3/min]"], table["Power [kW]"] = 5.0, 40.0 if name == "january" else 36.0
            table["Flow [m3/min]"] += 0.5 * (table.index % 97) / 97.0
        table.to_csv(f"{name}.csv", index=False)
    command = dewswing.get_command(None, verb)  # type: ignore[arg-type]
    assert command is not None
    example = (command.epilog or "").removeprefix("Example: ")
    words = shlex.split(example)
    assert words[:2] == ["dewswing", verb]
    if verb == "simulate":
        words[words.index("--days") + 1] = "0.2"
        words += ["--interval-s", "60"]
    assert main(words[1:]) == 0, capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ("nonsense", "There is no verb 'nonsense'"),
        ("diagnos log.csv", "There is no verb 'diagnos' (did you mean diagnose?)"),
        ("convert -40 degC --pressure-bar-g 7 --limit-c", "'--limit-c' needs a value behind it; see dewswing convert"),
        ("convert -40 degC --pressure-bar-g 7 --limit-c dry", "'dry' is not a number"),
        ("fleet logs --workers 0", "0 is less than 1"),
        ("serve --port 70000", "70000 is not within 0 to 65535"),
    ],
)
def test_what_the_parser_refuses_is_said_in_words(
    desk: Path, arguments: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(shlex.split(arguments)) == 2
    assert said in capsys.readouterr().err
