"""Invented plants as TOML and recipes of what is wrong with them; `recipes.toml` names the ingredients."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib import resources


@dataclass(frozen=True)
class Recipe:
    """One simulated log: which plant, how long, what is wrong, which findings are due.

    Attributes
    ----------
    name, plant, says : str
    days : float
    seed : int
    interval_s : float or None
        None takes the simulation's default.
    faults, findings : tuple of str
    also : tuple of str
        Findings that are right as well and need not be made.
    channels : tuple of str
        Channels the log has beside the usual ones.
    """

    name: str
    plant: str
    says: str
    days: float
    seed: int
    interval_s: float | None
    faults: tuple[str, ...]
    findings: tuple[str, ...]
    also: tuple[str, ...] = ()
    channels: tuple[str, ...] = ()


def recipes() -> dict[str, Recipe]:
    """All recipes by name, in the order of the file."""
    text = resources.files("scenarios").joinpath("recipes.toml").read_text(encoding="utf-8")
    found = {}
    for name, table in tomllib.loads(text).items():
        found[name] = Recipe(
            name=name,
            plant=table["plant"],
            says=table["says"],
            days=float(table["days"]),
            seed=int(table.get("seed", 1)),
            interval_s=table.get("interval_s"),
            faults=tuple(table.get("faults", ())),
            findings=tuple(table.get("findings", ())),
            also=tuple(table.get("also", ())),
            channels=tuple(table.get("channels", ())),
        )
    return found


def plant_text(plant: str) -> str:
    """TOML of an invented plant, by file name."""
    return resources.files("scenarios").joinpath(plant).read_text(encoding="utf-8")
