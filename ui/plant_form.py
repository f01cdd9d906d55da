"""Fields of the plant settings, made from the same model that checks the plant file."""

from __future__ import annotations

import datetime as dt
from typing import Any, get_args, get_origin

import streamlit as st
from pydantic.fields import FieldInfo

from diagnostics.plant_file import Compressor, Dryer, Economics, Measurement, Operation, Site
from diagnostics.report.figures import Display
from ui import gate

TABLES = {
    "site": ("Site", Site),
    "dryer": ("Dryer", Dryer),
    "operation": ("Operation", Operation),
    "measurement": ("Instrument", Measurement),
    "compressor": ("Compressor", Compressor),
    "economics": ("Prices", Economics),
}
UNSET = "not given"


def field_of(table: str, name: str, info: FieldInfo, present: Any, display: Display, assumed: str) -> Any:
    """Draw one field and return its value in the plant file's units, None where nothing is given.

    Parameters
    ----------
    table, name : str
    info : FieldInfo
        From the plant file's model: type, range, description.
    present : object
        Value in force, None if not given.
    display : Display
        Units to show.
    assumed : str
        What is taken while nothing is given, for the placeholder.
    """
    key = f"plant_{table}_{name}_{display.temperature}"
    label = label_of(name, display)
    hint = f"{info.description}. Key in the plant file: {table}.{name}"
    choices = _choices(info)
    if choices:
        options = [UNSET, *choices]
        chosen = st.selectbox(
            label,
            options,
            index=options.index(present) if present in options else 0,
            format_func=lambda word: str(word).replace("_", " "),
            help=hint,
            key=key,
        )
        return None if chosen == UNSET else chosen
    if _holds(info, dt.date):
        return st.date_input(label, value=_date(present), help=hint, key=key)
    if _holds(info, float) or _holds(info, int):
        if isinstance(present, list):
            st.caption(f"{label}: a table in the plant file; change it there.")
            return present
        to_shown, to_kept = _turns(name, display)
        shown = st.number_input(
            label,
            value=None if present is None else to_shown(float(present)),
            format="%g",
            step=None,
            placeholder=assumed,
            help=hint,
            key=key,
        )
        if shown is None:
            return None
        kept = to_kept(float(shown))
        return int(kept) if _holds(info, int) and not _holds(info, float) else kept
    text = st.text_input(label, value=present or "", placeholder=assumed, help=hint, key=key)
    return text.strip() or None


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
    if name == "specific_power_kw_per_m3_min":
        return "Specific power [kW per m³/min]"
    for suffix, unit in units.items():
        if name.endswith(suffix):
            return name.removesuffix(suffix).replace("_", " ").capitalize() + unit
    return name.replace("_", " ").capitalize()


def _turns(name: str, display: Display) -> tuple[Any, Any]:
    if name == "uncertainty_c":
        scale = display.kelvins(1.0)
        return (lambda x: x * scale), (lambda x: x / scale)
    if name.endswith("_c"):
        offset, scale = display.level(0.0), display.kelvins(1.0)
        return (lambda x: round(x * scale + offset, 6)), (lambda x: round((x - offset) / scale, 6))
    scale = 1.0
    if name.endswith("_m3_min") and name != "specific_power_kw_per_m3_min":
        scale = display.volume_flow(1.0)
    elif name.endswith(("_bar", "_bar_g")):
        scale = display.line_pressure(1.0)
    if scale == 1.0:
        return (lambda x: x), (lambda x: x)
    return (lambda x: round(x * scale, 6)), (lambda x: round(x / scale, 6))


def _parts(annotation: Any) -> list[Any]:
    found = [annotation]
    for part in get_args(annotation):
        found += _parts(part)
    return found


def _choices(info: FieldInfo) -> list[Any]:
    from typing import Literal

    for part in _parts(info.annotation):
        if get_origin(part) is Literal:
            return list(get_args(part))
    return []


def _holds(info: FieldInfo, kind: type) -> bool:
    return kind in _parts(info.annotation)


def _date(present: Any) -> dt.date | None:
    if isinstance(present, str):
        return dt.date.fromisoformat(present)
    return present if isinstance(present, dt.date) else None


def trouble_at(sentence: str, key: str) -> None:
    """Show a refusal at the field it speaks of."""
    if f" {key} " in f"{sentence} " or f"{key} =" in sentence:
        st.markdown(f":red[{gate.plain(sentence.split(': ', 1)[-1])}]")
