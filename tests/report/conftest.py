"""One diagnosis of a small log made on the spot, for every test of how it is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnostics import Diagnosis, diagnose, load_plant, read_log
from tests.logs import write_example


@pytest.fixture(scope="session")
def example(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return write_example(tmp_path_factory.mktemp("example"))


@pytest.fixture(scope="session")
def diagnosis(example: tuple[Path, Path]) -> Diagnosis:
    log, plant_file = example
    plant = load_plant(plant_file)
    return diagnose(read_log([log], plant), plant)
