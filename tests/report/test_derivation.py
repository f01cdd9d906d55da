"""Every figure of the report can be followed back; a wrong key is answered with the known ones."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import pytest

from diagnostics import Diagnosis, UsageError, document
from diagnostics.cli import main
from diagnostics.report.derivation import derivation, explanation
from diagnostics.report.summary import seen_lines, worth_lines
from tests.shared_data import shared


def at(whole: dict, key: str) -> object:
    value: object = whole
    for name in key.split("."):
        value = value[name] if isinstance(value, dict) and name in value else None
    return value["value"] if isinstance(value, dict) and "value" in value else value


def test_steps_give_the_document_s_figures(diagnosis: Diagnosis) -> None:
    whole = document(diagnosis)
    compared = 0
    for step in derivation(diagnosis):
        told = at(whole, step.key)
        if isinstance(told, int | float):
            assert step.value == pytest.approx(told, rel=1e-9), step.key
            compared += 1
        assert step.formula, step.key
        assert step.source, step.key
        assert all(origin and (isinstance(v, str) or math.isfinite(v)) for _, v, origin in step.inputs), step.key
    assert compared > 25


def test_every_headline_estimate_has_a_derivation(diagnosis: Diagnosis) -> None:
    whole, traced = document(diagnosis), {step.key for step in derivation(diagnosis)}
    contract = {
        "purity": "p95_dew_point_c p99_dew_point_c max_dew_point_c time_above_limit_share exceedances"
        " longest_exceedance_s dew_point_at_use_c frost_reserve_k",
        "cycle": "half_cycle_s",
        "trend": "peak_dew_point_c_per_day days_to_limit",
        "breakthrough": "margin_s margin_share sustained_margin_s margin_at_peak_load_s recommended_half_cycle_s",
        "purge": "average_m3_min share_of_rated share_of_inlet energy_kwh_per_year cost_per_year",
        "switching": "half_cycle_s regenerations_saved_share purge_saved_m3_min energy_saved_kwh_per_year"
        " cost_saved_per_year co2_saved_kg_per_year",
        "payback": "simple_payback_years npv irr",
    }
    for part, keys in contract.items():
        for key in keys.split():
            if whole[part][key] is not None:
                assert f"{part}.{key}" in traced


def numbers(value: object, key: str) -> Iterator[str]:
    if isinstance(value, dict) and not {"value", "low", "high"} <= value.keys():
        for name, inner in value.items():
            yield from numbers(inner, f"{key}.{name}" if key else name)
    elif isinstance(value, dict) or (isinstance(value, int | float) and not isinstance(value, bool)):
        yield key


def test_every_number_of_the_document_explains_itself(diagnosis: Diagnosis) -> None:
    whole = document(diagnosis)
    keys = list(numbers(whole, ""))
    assert len(keys) > 80
    for key in keys:
        steps = explanation(diagnosis, key)
        assert steps, key
        assert steps[-1].key == key
        assert steps[-1].value == pytest.approx(at(whole, key), rel=1e-9), key
        assert steps[-1].formula, key
        assert steps[-1].source, key


def test_a_row_of_a_list_explains_itself(diagnosis: Diagnosis) -> None:
    first = document(diagnosis)["cycle"]["half_cycles"][0]["peak_dew_point_c"]
    (step,) = explanation(diagnosis, "cycle.half_cycles.0.peak_dew_point_c")
    assert (step.value, step.unit) == (first, "°C")


def test_sustained_margin_follows_from_its_inputs(diagnosis: Diagnosis) -> None:
    (step,) = explanation(diagnosis, "breakthrough.sustained_margin_s")
    inputs = {name: value for name, value, _ in step.inputs}
    by_hand = inputs["reserve"] * inputs["nameplate half-cycle [s]"] / inputs["load / rating"]
    assert step.value == pytest.approx(by_hand - inputs["today's half-cycle [s]"], rel=1e-6)


def test_uncertainty_follows_from_its_inputs(diagnosis: Diagnosis) -> None:
    # JCGM 100:2008, 5.1: independent causes add as squares; k = 2
    (step,) = explanation(diagnosis, "instrument.uncertainty_c")
    assert step.value == pytest.approx(2.0 * math.hypot(*(value for _, value, _ in step.inputs)))


def test_a_wrong_key_is_told_the_known_ones(diagnosis: Diagnosis) -> None:
    with pytest.raises(UsageError, match=r"did you mean purity\.p95_dew_point_c\?.*purge\.average_m3_min"):
        explanation(diagnosis, "purity.p95_dew_pint_c")


def test_a_figure_this_log_cannot_tell_is_no_wrong_key(diagnosis: Diagnosis) -> None:
    assert diagnosis.purity.frost_reserve_k is None
    assert explanation(diagnosis, "purity.frost_reserve_k") == []


@pytest.mark.parametrize("key", ["purity.p95_dew_point_c", "breakthrough", "payback.npv", "levers"])
def test_the_command_explains(key: str, capsys: pytest.CaptureFixture[str]) -> None:
    folder = shared("examples", "heated_purge")
    status = main(["diagnose", str(folder / "log.csv"), "--plant", str(folder / "plant.toml"), "--explain", key])
    told = capsys.readouterr()
    assert (status, told.err) == (0, "")
    assert key in told.out
    assert "source: " in told.out


def test_the_command_refuses_a_wrong_key(capsys: pytest.CaptureFixture[str]) -> None:
    folder = shared("examples", "heated_purge")
    status = main(["diagnose", str(folder / "log.csv"), "--plant", str(folder / "plant.toml"), "--explain", "wet"])
    told = capsys.readouterr()
    assert status == 2
    assert told.err.count("\n") == 1
    assert "known: " in told.err


def test_no_brace_is_left_in_a_sentence(diagnosis: Diagnosis) -> None:
    for line in (*seen_lines(diagnosis), *worth_lines(diagnosis)):
        assert not re.search(r"[{}]", line.text)
