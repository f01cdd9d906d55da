"""Settings of the plant as people call them, where the plant file has keys: words, unit, and how a value is turned.

The same names stand on the fields of the browser's form, in the report and in sentences.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from diagnostics.plant_file import Compressor, Dryer, Economics, Measurement, Operation, Site, Table
from diagnostics.report.figures import Display
from diagnostics.report.texts import words

MODELS: dict[str, type[Table]] = {
    "site": Site,
    "dryer": Dryer,
    "operation": Operation,
    "measurement": Measurement,
    "compressor": Compressor,
    "economics": Economics,
}
_KEY = re.compile(rf"\b({'|'.join(MODELS)})\.([a-z0-9_]+)")
_BARE_KEY = re.compile(r" \(\[\[[a-z]+\]\]\)")


def title_of(table: str) -> str:
    """Title of one table of the plant file."""
    return words("setting_tables")[table]


def label_of(name: str, display: Display) -> str:
    """Words and unit of a key, e.g. ``Half cycle [s]``."""
    units = {
        "_m3_min": f" [{display.flow_unit}]",
        "_bar_g": f" [{display.pressure_unit} gauge]",
        "_bar": f" [{display.pressure_unit}]",
        "_kwh": " [per kWh]",
        "_kw": " [kW]",
        "_kg": " [kg]",
        "_m3": " [m³]",
        "_mm": " [mm]",
        "_s": " [s]",
        "_c": f" [{display.temperature_unit}]",
    }
    if name == "specific_power_kw_per_m3_min" and display.flow == "cfm":
        name = "specific_power_kw_per_100_cfm"
    special = words("setting_labels").get(name)
    if special is not None:
        difference = display.difference_unit
        return special.format(pressure=display.pressure_unit, difference=difference)
    for suffix, unit in units.items():
        if name.endswith(suffix):
            return name.removesuffix(suffix).replace("_", " ").capitalize() + unit
    return name.replace("_", " ").capitalize()


def turns(name: str, display: Display) -> tuple[Callable[[float], float], Callable[[float], float]]:
    """From the plant file's unit of a key to the reader's, and back."""
    if name == "uncertainty_c":
        scale = display.kelvins(1.0)
        return (lambda x: x * scale), (lambda x: x / scale)
    if name.endswith("_c"):
        offset, scale = display.level(0.0), display.kelvins(1.0)
        return (lambda x: round(x * scale + offset, 6)), (lambda x: round((x - offset) / scale, 6))
    scale = 1.0
    if name == "specific_power_kw_per_m3_min":
        scale = 1.0 if display.flow == "m3_min" else 100.0 / display.volume_flow(1.0)
    elif name.endswith("_m3_min"):
        scale = display.volume_flow(1.0)
    elif name.endswith(("_bar", "_bar_g")):
        scale = display.line_pressure(1.0)
    if scale == 1.0:
        return (lambda x: x), (lambda x: x)
    return (lambda x: round(x * scale, 6)), (lambda x: round(x / scale, 6))


def spaced(word: object) -> str:
    """Word of the plant file as people write it."""
    return str(word).replace("_", " ")


def named(text: str, display: Display, *, tab: bool = True) -> str:
    """Text in which keys of the plant file are called by the names of their fields, with the form's tab if wanted."""

    def name_of(found: re.Match[str]) -> str:
        table, name = found[1], found[2]
        known = name in MODELS[table].model_fields
        place = f" ({title_of(table)})" if tab else ""
        return f"“{label_of(name, display)}”{place}" if known else found[0]

    return _KEY.sub(name_of, _BARE_KEY.sub("", text))


def settings_in(text: str) -> list[str]:
    """Keys of the plant file that a text names, each once."""
    found = dict.fromkeys(found[0] for found in _KEY.finditer(text))
    return [key for key in found if key.partition(".")[2] in MODELS[key.partition(".")[0]].model_fields]


def named_setting(key: str, display: Display) -> str:
    """One key as a table names it: ``Dryer: Purge share``; a key that is no setting stays as it is."""
    table, _, name = key.partition(".")
    if table not in MODELS or name not in MODELS[table].model_fields:
        return key
    return f"{title_of(table)}: {label_of(name, display)}"


def turned_setting(key: str, value: Any, display: Display) -> Any:
    """Value of a key in the reader's unit; words of the plant file spaced."""
    if isinstance(value, str):
        return spaced(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    to_shown, _ = turns(key.rpartition(".")[2], display)
    return to_shown(value)
