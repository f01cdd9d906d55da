"""What a figure of the document is, where it is read off and no step of its own derives it.

Question: what is the number under this key? Input: a diagnosis and a key. Output: steps, one a number. Formulas and
sources stand in the language file of figures; the closest start of the key speaks for it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import cache
from importlib import resources
from typing import Any

from diagnostics.diagnosis import Diagnosis
from diagnostics.energy.record import Step
from diagnostics.report.texts import LANGUAGE

_MOST = 40
_UNITS = {
    "c": "°C",
    "k": "K",
    "s": "s",
    "h": "h",
    "kw": "kW",
    "share": "-",
    "min": "m³/min",
    "day": "K/d",
    "year": "a year",
    "years": "years",
    "kwh": "per kWh",
    "kg": "kg",
}


def plain_steps(diagnosis: Diagnosis, key: str) -> list[Step]:
    """Numbers of the document under a key, each with what it is.

    Parameters
    ----------
    diagnosis : Diagnosis
    key : str
        A figure's place in the document; rows of a list count from nought, e.g. ``findings.0.confidence``.

    Returns
    -------
    list of Step
        At most forty; empty where the document has no number there.
    """
    from diagnostics.report.document import document

    found: Any = document(diagnosis)
    for name in key.split("."):
        if isinstance(found, dict) and name in found:
            found = found[name]
        elif isinstance(found, list) and name.isdigit() and int(name) < len(found):
            found = found[int(name)]
        else:
            return []
    steps: list[Step] = []
    for name, value in _numbers(found, key):
        if len(steps) == _MOST:
            break
        formula, source = _about(name)
        steps.append(Step(name, value, _unit(name), formula, (), source))
    return steps


def _numbers(found: Any, key: str) -> Iterator[tuple[str, float]]:
    if isinstance(found, dict) and {"value", "low", "high"} <= found.keys():
        yield key, float(found["value"])
    elif isinstance(found, dict):
        for name, value in found.items():
            yield from _numbers(value, f"{key}.{name}")
    elif isinstance(found, list):
        for row, value in enumerate(found):
            yield from _numbers(value, f"{key}.{row}")
    elif isinstance(found, int | float) and not isinstance(found, bool):
        yield key, float(found)


def _unit(key: str) -> str:
    """Unit from the last word of the key, or of what stands above it where the key's own name has none."""
    for name in reversed(key.split(".")):
        if name.endswith("kwh_per_year"):
            return "kWh a year"
        unit = _UNITS.get(name.rpartition("_")[2])
        if unit is not None and name != "min":
            return unit
    return "-"


def _about(key: str) -> tuple[str, str]:
    while key:
        if key in _figures():
            formula, source = _figures()[key]
            return formula, source
        key = key.rpartition(".")[0]
    return "as the document's schema says (dewswing diagnose --schema)", "the document"


@cache
def _figures() -> dict[str, list[str]]:
    file = resources.files("diagnostics.report").joinpath(f"figures_{LANGUAGE}.toml")
    return tomllib.loads(file.read_text(encoding="utf-8"))
