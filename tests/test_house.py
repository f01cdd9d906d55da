"""The house's walls: lengths, directions of import, names. Facts about the tree, not wishes."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ENGINE = sorted((ROOT / "diagnostics").rglob("*.py"))
SCREENS = sorted((ROOT / "ui").rglob("*.py"))
SAYS_NOTHING = {"utils", "helpers", "common", "misc", "core"}


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return names


@pytest.mark.parametrize("path", ENGINE + SCREENS, ids=lambda p: str(p.relative_to(ROOT)))
def test_module_is_short_and_named(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400
    assert path.stem not in SAYS_NOTHING


@pytest.mark.parametrize("path", ENGINE, ids=lambda p: str(p.relative_to(ROOT)))
def test_engine_knows_no_screen(path: Path) -> None:
    roots = {name.split(".")[0] for name in imported(path)}
    assert not roots & {"streamlit", "ui", "tests"}


def test_only_the_report_loads_charts() -> None:
    offenders = [p for p in ENGINE if "report" not in p.parts and any(n.startswith("altair") for n in imported(p))]
    assert offenders == []


def test_the_main_path_imports_neither_charts_nor_screens() -> None:
    code = (
        "import sys, diagnostics.diagnosis;"
        "print([m for m in ('altair', 'streamlit', 'vl_convert', 'openpyxl') if m in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert result.stdout.strip() == "[]"


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; from diagnostics.cli import main; main(['--help']);"
        "sys.stderr.write(repr([m for m in ('pandas', 'numpy', 'streamlit', 'pydantic') if m in sys.modules]))"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert "diagnose" in result.stdout
    assert result.stderr == "[]"


def test_public_names_are_those_of_the_guide() -> None:
    import diagnostics

    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = guide.split("## Public names", 1)[1].split("\n## ", 1)[0]
    cells = [line.split("|")[1] for line in table.splitlines() if line.startswith("| `")]
    named = {name for cell in cells for name in re.findall(r"`(\w+)`", cell)}
    assert named == set(diagnostics.__all__)
    assert all(getattr(diagnostics, name) is not None for name in diagnostics.__all__)


def test_visible_top_level() -> None:
    visible = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT)
    if visible.returncode != 0:
        pytest.skip("needs a git checkout to list the project's own files")
    tops = {line.split("/")[0] for line in visible.stdout.splitlines() if not line.startswith(".")}
    assert tops == {"README.md", "DEVELOPERS.md", "pyproject.toml", "diagnostics", "ui", "tests", "scenarios"}
