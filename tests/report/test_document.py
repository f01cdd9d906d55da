"""The diagnosis document: its shape against its own published schema, its numbers against the records."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import jsonschema
import pytest

from diagnostics import Diagnosis, diagnose, document, json_schema, load_plant, read_log
from tests.examples import EXAMPLES
from tests.report.test_page import assert_told_on_paper_and_page
from tests.shared_data import shared


def estimates(value: Any) -> list[dict[str, float]]:
    if isinstance(value, dict):
        own = [value] if {"value", "low", "high"} <= set(value) else []
        return own + [found for item in value.values() for found in estimates(item)]
    if isinstance(value, list):
        return [found for item in value for found in estimates(item)]
    return []


def test_document_is_valid_and_estimates_are_in_order(diagnosis: Diagnosis) -> None:
    whole = json.loads(json.dumps(document(diagnosis), allow_nan=False))
    jsonschema.validate(whole, json_schema())
    found = estimates(whole)
    assert len(found) > 5
    assert all(e["low"] <= e["value"] <= e["high"] for e in found)


def test_contract_keys_are_there(diagnosis: Diagnosis) -> None:
    whole = document(diagnosis)
    wanted = {
        "log": "source start end duration_h interval_s samples used_samples columns statistics used_statistics"
        " excluded",
        "instrument": "time_constant_s peak_lowered_c uncertainty_c",
        "cycle": "control control_spans resolved half_cycle_s half_cycle_spread_s counted_in towers half_cycles phases",
        "purity": "standard class class_low class_high limit_dew_point_c conformity conformity_by p95_dew_point_c"
        " p99_dew_point_c max_dew_point_c time_above_limit_share exceedances longest_exceedance_s dew_point_at_use_c"
        " frost_reserve_k",
        "trend": "peak_dew_point_c_per_day load_adjusted verdict days_to_limit",
        "breakthrough": "limit_dew_point_c reached censored margin_s margin_share sustained_margin_s"
        " margin_at_peak_load_s recommended_half_cycle_s method",
        "purge": "basis average_m3_min share_of_rated share_of_inlet energy_kwh_per_year cost_per_year",
        "switching": "half_cycle_s regenerations_saved_share purge_saved_m3_min energy_saved_kwh_per_year"
        " cost_saved_per_year co2_saved_kg_per_year limited_by already_saved_share cautious",
        "payback": "retrofit_cost simple_payback_years npv irr currency",
    }
    for part, keys in wanted.items():
        assert set(keys.split()) <= set(whole[part]), part
    assert {"findings", "notes", "assumptions"} <= set(whole)
    assert {"min", "max", "mean", "median", "p05", "p95"} <= set(whole["log"]["statistics"]["dew_point_c"])
    assert "moisture_mean_dew_point_c" in whole["log"]["used_statistics"]["dew_point_c"]


def test_times_carry_the_site_s_offset(diagnosis: Diagnosis) -> None:
    whole = document(diagnosis)
    assert dt.datetime.fromisoformat(whole["log"]["start"]) == dt.datetime(2026, 3, 2, 8, tzinfo=dt.UTC)
    offsets = {dt.datetime.fromisoformat(row["start"]).utcoffset() for row in whole["cycle"]["half_cycles"]}
    assert offsets == {dt.timedelta(0)}, "Lisbon is on UTC in early March"


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_make_valid_documents_and_reports(name: str) -> None:
    folder = shared("examples", name)
    plant = load_plant(folder / "plant.toml")
    diagnosis = diagnose(read_log([folder / "log.csv"], plant), plant)
    whole = document(diagnosis)
    assert_told_on_paper_and_page(diagnosis)
    jsonschema.validate(json.loads(json.dumps(whole, allow_nan=False)), json_schema())
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    assert whole["log"]["samples"] == truth["samples"]
    assert whole["cycle"]["control"] in truth["control"]
    assert whole["cycle"]["resolved"] == truth["resolved"]
    if not truth["resolved"]:
        assert whole["cycle"]["half_cycles"] == whole["cycle"]["phases"] == []
        assert whole["cycle"]["half_cycle_s"] is None
    for key, value in truth.get("statistics", {}).items():
        assert whole["log"]["statistics"]["dew_point_c"][key] == pytest.approx(value, abs=0.05)
    rank = 7 if whole["purity"]["class"] is None else whole["purity"]["class"]
    assert rank in truth["class"]
    if truth.get("conformity"):
        assert whole["purity"]["conformity"] in truth["conformity"]
