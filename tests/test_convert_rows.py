"""``dewswing convert`` against every carried row on humidity that a command line can put, source beside each value.

The rows stand in ``reference/humidity_rows.json``; each names where its value is from and how far it may be off.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from diagnostics.cli import main

ATMOSPHERE_BAR = 1.01325
ROWS = json.loads((Path(__file__).parent / "reference" / "humidity_rows.json").read_text("utf-8"))["rows"]
STATE_KEYS = {
    "e_Pa": "vapour_pressure_pa",
    "ppmv_moist": "ppmv_moist",
    "ppmv_dry": "ppmv",
    "ppmw_dry": "ppmw",
    "w_gkg": "mixing_ratio_g_kg",
    "gm3_actual": "absolute_humidity_g_m3",
    "gm3_20C_1bar_dry": "reference_humidity_g_m3",
}
DECISIONS = {"undecided": "undecided", "not conform": "fail", "conform (on the limit)": "pass"}

Line = tuple[list[str], dict[str, Any]]
"""Arguments of the command, and the values that are due under its keys."""


def line(value: float, *options: object, unit: str = "degC", gauge: float = 0.0) -> list[str]:
    return [repr(value), unit, "--pressure-bar-g", repr(gauge), *map(str, options)]


def _temperature(inputs: dict[str, Any]) -> float:
    return inputs["t_C"] if "t_C" in inputs else round(inputs["T_K"] - 273.15, 6)


def _state(row: dict[str, Any], *flags: str) -> Line:
    i = row["inputs"]
    gauge = i["P_bar_abs"] - ATMOSPHERE_BAR
    arguments = line(i["dew_or_frost_point_C"], "--gas-temperature-c", i["gas_T_C"], *flags, gauge=gauge)
    return arguments, {STATE_KEYS[name]: value for name, value in row["value"].items() if name in STATE_KEYS}


def _atmospheric(row: dict[str, Any], *flags: str) -> Line:
    i = row["inputs"]
    barometer = ("--barometer-bar", i.get("p_atm_bar", ATMOSPHERE_BAR))
    return line(i["PDP_C"], *barometer, *flags, gauge=i["P_bar_gauge"]), {"atmospheric_dew_point_c": row["value"]}


def _at_pressure(row: dict[str, Any]) -> Line:
    i = row["inputs"]
    options = ("--basis", "atmospheric", "--barometer-bar", i["p_atm_bar"], "--ideal")
    return line(i["ADP_C"], *options, gauge=i["P_bar_gauge"]), {"pressure_dew_point_c": row["value"]}


def _enhancement(row: dict[str, Any]) -> Line | None:
    i = row["inputs"]
    expected = "ice" if i["t_C"] < 0.01 else "water"
    if i["phase"] != expected or i["P_bar_abs"] < ATMOSPHERE_BAR:
        return None
    return line(i["t_C"], gauge=i["P_bar_abs"] - ATMOSPHERE_BAR), {"enhancement_factor": row["value"]}


def _pure_water(row: dict[str, Any]) -> Line | None:
    t = _temperature(row["inputs"])
    if t >= 60.0 or "formulation" in row["inputs"]:
        return None  # near the boiling point, or another formulation than the one that is used
    return line(t, "--ideal"), {"vapour_pressure_pa": row["value"]}


def _supercooled(row: dict[str, Any]) -> Line:
    return line(row["inputs"]["t_C"], "--ideal", "--over", "water"), {"vapour_pressure_pa": row["value"]}


def _relative(row: dict[str, Any]) -> Line:
    i = row["inputs"]
    dew_point = i.get("dew_or_frost_point_C", i.get("dew_point_C"))
    arguments = line(dew_point, "--gas-temperature-c", i["gas_T_C"], "--ideal")
    return arguments, {"relative_humidity_percent": row["value"]}


def _class_moisture(row: dict[str, Any]) -> Line:
    flags = ("--ideal",) if row["source"].startswith("ideal") else ()
    value = row["value"]
    due = {
        "ppmv_moist": value["ppmv_moist"],
        "reference_humidity_g_m3": value["mg_per_m3_20C_1bar_dry"] / 1000.0,
        "atmospheric_dew_point_c": value["ADP_C"],
        "purity_class": int(row["inputs"]["class"]),
    }
    return line(row["inputs"]["PDP_C"], *flags, gauge=7.0), due


def _class_of(row: dict[str, Any]) -> Line:
    number = str(row["value"]).split()[0]
    due = int(number) if number.isdigit() else None
    return line(row["inputs"]["PDP_C"], gauge=7.0), {"purity_class": due}


def _probability(row: dict[str, Any]) -> Line:
    i = row["inputs"]
    options = ("--limit-c", i["upper_limit_C"], "--uncertainty-c", 2.0 * i["u_C"])
    return line(i["measured_C"], *options, gauge=7.0), {"probability_of_conformity": row["value"]}


def _decision(row: dict[str, Any]) -> Line:
    i = row["inputs"]
    options = ("--limit-c", i["upper_limit_C"], "--uncertainty-c", i["U_k2_C"])
    return line(i["measured_C"], *options, gauge=7.0), {"conformity": DECISIONS[row["value"]]}


COMMANDS: dict[str, Callable[[dict[str, Any]], Line | None]] = {
    "p_sat_ice": _pure_water,
    "p_sat_water": _pure_water,
    "p_sat_water_triple_point": _pure_water,
    "p_sat_supercooled_water": _supercooled,
    "dew_point_over_supercooled_water_from_frost_point": lambda r: (
        line(r["inputs"]["frost_point_C"], "--ideal"),
        {"dew_point_over_water_c": r["value"]},
    ),
    "frost_point_from_dew_point_over_supercooled_water": lambda r: (
        line(r["inputs"]["dew_point_C"], "--ideal", "--over", "water"),
        {"pressure_dew_point_c": r["value"]},
    ),
    "enhancement_factor": _enhancement,
    "ADP_from_PDP_ideal": lambda r: _atmospheric(r, "--ideal"),
    "ADP_from_PDP_real": _atmospheric,
    "ADP_from_PDP_trade_pair": lambda r: _atmospheric(r, "--ideal"),
    "PDP_from_ADP_ideal_trade_pair": _at_pressure,
    "ADP_from_ppmv_trade_pair": lambda r: (
        line(r["inputs"]["ppmv"], unit="ppmv"),
        {"atmospheric_dew_point_c": r["value"]},
    ),
    "ADP_from_mg_m3": lambda r: (
        line(r["inputs"]["mg_per_m3"] / 1000.0, "--gas-temperature-c", r["inputs"]["t_ref_C"], "--ideal", unit="g_m3"),
        {"atmospheric_dew_point_c": r["value"]},
    ),
    "humidity_state_ideal": lambda r: _state(r, "--ideal"),
    "humidity_state_real": _state,
    "ppmv_from_ADP_trade_table": lambda r: (line(r["inputs"]["ADP_C"], "--ideal"), {"ppmv_moist": r["value"]}),
    "gm3_20C_101kPa_from_ADP_trade_table": lambda r: (
        line(r["inputs"]["ADP_C"], "--gas-temperature-c", 20.0, "--ideal"),
        {"absolute_humidity_g_m3": r["value"]},
    ),
    "relative_humidity": _relative,
    "relative_humidity_trade_example": _relative,
    "class_limit_moisture_at_7barg": _class_moisture,
    "iso8573_1_class_of_PDP": _class_of,
    "probability_of_conformity": _probability,
    "decision_three_way_U": _decision,
}
PUT = [(row, made) for row in ROWS if row["quantity"] in COMMANDS and (made := COMMANDS[row["quantity"]](row))]


def test_most_rows_can_be_put_as_a_command() -> None:
    assert len(PUT) > 200
    assert {row["quantity"] for row, _ in PUT} == set(COMMANDS)


@pytest.mark.parametrize(("row", "made"), PUT, ids=[f"{row['id']}-{row['quantity']}" for row, _ in PUT])
def test_row(row: dict[str, Any], made: Line, capsys: pytest.CaptureFixture[str]) -> None:
    arguments, due = made
    assert main(["convert", *arguments, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert row["source"]
    tolerance = row["tolerance"] if isinstance(row["tolerance"], dict) else {}
    bounds = {name: tolerance[name] for name in ("rel", "abs") if name in tolerance}
    assert due
    for key, value in due.items():
        if isinstance(value, float) or (isinstance(value, int) and key != "purity_class"):
            assert told[key] == pytest.approx(value, **bounds), (key, row["source"])
        else:
            assert told[key] == value, (key, row["source"])
