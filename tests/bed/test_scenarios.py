"""The invented plants load, their recipes name what exists, and the README has a row for each."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import scenarios
from diagnostics.bed.faults import FAULTS
from diagnostics.bed.logger import EXTRA_CHANNELS
from diagnostics.plant import plant_from
from tests.bed.study_scenarios import outcome

FOLDER = Path(scenarios.__file__).parent
RECIPES = scenarios.recipes()


@pytest.mark.parametrize("file", sorted(p.name for p in FOLDER.glob("*.toml") if p.name != "recipes.toml"))
def test_plants_are_valid_and_say_that_they_are_invented(file):
    text = scenarios.plant_text(file)
    plant = plant_from(tomllib.loads(text), source=file)
    assert plant.dryer.rated_flow_m3_min is not None
    assert "(invented)" in (plant.site.name or "")
    assert any(recipe.plant == file for recipe in RECIPES.values())


@pytest.mark.parametrize("recipe", RECIPES.values(), ids=list(RECIPES))
def test_recipes_name_what_exists(recipe):
    assert (FOLDER / recipe.plant).exists()
    assert set(recipe.faults) <= set(FAULTS)
    assert set(recipe.channels) <= set(EXTRA_CHANNELS)
    shown = [FAULTS[name] for name in recipe.faults if FAULTS[name].shows_in in (None, *recipe.channels)]
    due = {fault.finding for fault in shown} - {None}
    assert due <= set(recipe.findings)
    assert recipe.says


def _short(recipe):
    return recipe.name in ("demo", "heated_healthy", "heated_hard_worked", "control_inactive", "regeneration_failure")


@pytest.mark.parametrize("recipe", [r for r in RECIPES.values() if _short(r)], ids=lambda r: r.name)
def test_the_log_shows_what_the_scenario_says(recipe):
    # The long recipes are run by `python -m tests.bed.study_scenarios`.
    missing, beyond, offset_s, half_cycle_s = outcome(recipe)
    assert not missing
    assert not beyond
    assert offset_s <= 0.05 * half_cycle_s


def test_readme_has_a_row_for_each_recipe():
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    missing = [name for name in RECIPES if f"| {name} |" not in text]
    assert not missing
