"""Order and wording of findings, and the codes that are due or wrong for every outside log with known truth."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diagnostics.diagnosis import Diagnosis, diagnose
from diagnostics.energy.record import Purge
from diagnostics.estimate import Estimate
from diagnostics.health.findings import find
from diagnostics.health.record import Finding, Trend
from diagnostics.log.reading import read_log
from diagnostics.log.record import Sign
from diagnostics.plant import load_plant
from tests.examples import EXAMPLES
from tests.health.cases import START_S, case_of, cycle_of, drawn_from, half_cycles, screened_log
from tests.health.test_faults_of_measurement import SIGNS
from tests.shared_data import shared


def diagnosis_of(folder: Path) -> Diagnosis:
    plant = load_plant(folder / "plant.toml")
    logs = [p for p in folder.iterdir() if p.name not in ("plant.toml", "truth.json")]
    return diagnose(read_log(logs, plant), plant)


@pytest.mark.parametrize("name", EXAMPLES)
def test_codes_due_are_found_and_wrong_ones_are_not(name: str) -> None:
    folder = shared("examples", name)
    truth = json.loads((folder / "truth.json").read_text())
    found = diagnosis_of(folder).findings
    codes = {finding.code for finding in found}
    assert set(truth["finding_codes_due"]) <= codes
    assert not codes & set(truth["finding_codes_wrong"])
    if truth.get("finding_codes_one_of"):
        assert codes & set(truth["finding_codes_one_of"])
    for code, (low, high) in truth["onsets"].items():
        half_cycle_s = truth["half_cycle_s"]
        [onset] = [f.start_s for f in found if f.code == code]
        assert low - half_cycle_s <= onset <= high + half_cycle_s


def _found_in(case) -> tuple[Finding, ...]:
    return find(
        case.screened,
        case.cycle,
        case.purity,
        case.trend,
        case.breakthrough,
        case.purge,
        case.switching,
        case.plant,
    )


def _every_finding() -> dict[str, Finding]:
    """One of each code, from cases made by hand."""
    n = 40
    rng = np.random.default_rng(0)
    noise = [rng.normal(0, 0.2, n) for _ in range(2)]
    quiet = half_cycles(-60 + noise[0], -60 + noise[1])
    wet = np.r_[np.zeros(20), np.full(20, 30.0)]
    minutes = np.arange(2880.0)
    waves = -60 + rng.normal(0, 0.05, 2880) + (minutes % 5) / 5
    dryer = {"rated_flow_m3_min": 10.0, "purge_share": 0.15}
    purge = Purge(
        "measured", Estimate(2.2, 2.1, 2.3), None, None, None, Estimate.exact(900.0), None, Estimate.exact(1.5)
    )
    stopped = replace(cycle_of(quiet, "stopped"), stopped_s=START_S + 80 * 300)
    signs = tuple(Sign(code, START_S, START_S + 60, 0.8, "Seen at 08:00 for 60 s.") for code in SIGNS)
    inactive = {"dryer": {"control": "dew_point", "half_cycle_s": 300}}
    slug = np.where(minutes >= 900, 25 * np.exp(-np.clip(minutes - 900, 0, None) / 200), 0.0)
    inlet = 30 + 2 * np.sin(minutes / 229)
    cases = [
        case_of(quiet, replace(drawn_from(quiet), signs=signs)),
        case_of(None, replace(screened_log(waves), signs=signs), {"dryer": {"half_cycle_s": 300}}),
        case_of(half_cycles(-60 + noise[0], -57 + noise[1]), drawn_from(quiet)),
        case_of(half_cycles(-60 + noise[0], -60 + noise[1] + wet), drawn_from(quiet)),
        case_of(
            quiet,
            drawn_from(quiet, inlet_temperature=30.0),
            trend=Trend(Estimate(0.3, 0.2, 0.4), True, "rising", Estimate(40, 30, 60)),
        ),
        case_of(half_cycles(noise[0] - 38, noise[1] - 38), drawn_from(quiet)),
        case_of(quiet, screened_log(np.r_[np.full(400, -60.0), np.linspace(-60, 0, 600)]), cycle=stopped),
        case_of(quiet, drawn_from(quiet), inactive),
        case_of(None, screened_log(waves + slug), {"dryer": {"half_cycle_s": 300}}),
        case_of(None, screened_log(-38 + 0.53 * (inlet - 30), inlet_temperature=inlet)),
        case_of(quiet, drawn_from(quiet, flow=13.0), {"dryer": dryer}),
        case_of(quiet, drawn_from(quiet), load_ratio=0.3, reserve=Estimate(1.25, 1.0, 1.5)),
        case_of(quiet, drawn_from(quiet), {"dryer": dryer}, purge=purge),
        case_of(quiet, drawn_from(quiet), {"dryer": {"regenerating_pressure_bar_g": 0.6}}),
        case_of(quiet, drawn_from(quiet), {"measurement": {"calibrated_on": "2020-01-01"}}),
        case_of(None, screened_log(np.full(60, -60.0), interval_s=600.0), {"dryer": {"half_cycle_s": 300}}),
        case_of(half_cycles(np.full(2, -60.0), np.full(1, -60.0)), drawn_from(quiet.iloc[:3])),
    ]
    return {finding.code: finding for case in cases for finding in _found_in(case)}


CODES = {
    "tower_imbalance",
    "desiccant_decay",
    "breakthrough",
    "regeneration_failure",
    "switching_stopped",
    "control_inactive",
    "carryover",
    "bypass_leak",
    "overload",
    "excess_regeneration",
    "purge_excess",
    "purge_short",
    "sample_stagnant",
    "ambient_ingress",
    "sensor_frozen",
    "sensor_range_end",
    "calibration_overdue",
    "pressure_mismatch",
    "unsettled",
    "interval_too_long",
    "log_too_short",
    "clock_jump",
    "inlet_wetter_than_saturated",
}


@pytest.fixture(scope="module")
def every() -> dict[str, Finding]:
    return _every_finding()


def test_every_code_of_the_contract_can_be_found_and_no_other(every: dict[str, Finding]) -> None:
    assert set(every) == CODES


@pytest.mark.parametrize("code", sorted(CODES))
def test_a_finding_speaks_plainly(every: dict[str, Finding], code: str) -> None:
    finding = every[code]
    words = [finding.statement, finding.action, finding.caution, *finding.evidence, *finding.other_causes]
    for text in words:
        assert not re.search(r"[a-zA-Z]+_[a-zA-Z]", text), f"code word in {text!r}"
        assert "None" not in text
        assert "nan" not in re.findall(r"\w+", text.lower())
        assert "  " not in text
    assert re.search(r"\d", finding.statement), "a statement carries numbers"
    assert finding.statement.endswith(".")
    assert finding.action.endswith(".")
    assert finding.other_causes
    assert finding.evidence
    assert 0 < finding.confidence < 1
    assert finding.start_s <= finding.end_s
    if finding.severity == "critical":
        assert finding.caution
    if code in ("tower_imbalance", "regeneration_failure", "purge_short", "purge_excess", "desiccant_decay"):
        assert "isolate" in finding.caution


def test_the_most_urgent_comes_first() -> None:
    rng = np.random.default_rng(1)
    peaks_b = -60 + rng.normal(0, 0.2, 40) + np.r_[np.zeros(20), np.full(20, 30.0)]
    rows = half_cycles(-60 + rng.normal(0, 0.2, 40), peaks_b)
    signs = (Sign("unsettled", START_S, START_S + 60, 0.9, "The probe dried down for 60 s."),)
    found = _found_in(case_of(rows, replace(drawn_from(rows), signs=signs)))
    assert [f.severity for f in found] == sorted((f.severity for f in found), key=["critical", "warning", "info"].index)
    assert found[0].code == "regeneration_failure"


def test_what_follows_from_a_cause_is_not_called_beside_it() -> None:
    rng = np.random.default_rng(2)
    peaks_b = -60 + rng.normal(0, 0.2, 40) + np.r_[np.zeros(20), np.full(20, 30.0)]
    rows = half_cycles(-60 + rng.normal(0, 0.2, 40), peaks_b)
    trend = Trend(Estimate(0.3, 0.2, 0.4), False, "rising", None)
    codes = [f.code for f in _found_in(case_of(rows, drawn_from(rows), trend=trend))]
    assert codes == ["regeneration_failure"]


def test_a_rise_of_one_tower_alone_is_no_decay_of_the_desiccant() -> None:
    rng = np.random.default_rng(4)
    rows = half_cycles(-60 + rng.normal(0, 0.2, 40), -56 + rng.normal(0, 0.2, 40))
    slopes = {"A": Estimate(0.01, -0.1, 0.1), "B": Estimate(0.6, 0.4, 0.8)}
    one = Trend(Estimate(0.3, 0.2, 0.4), True, "rising", None, per_tower=slopes)
    both = replace(one, per_tower={"A": Estimate(0.5, 0.3, 0.7), "B": Estimate(0.6, 0.4, 0.8)})
    screened = drawn_from(rows, inlet_temperature=30.0)
    assert [f.code for f in _found_in(case_of(rows, screened, trend=one))] == ["tower_imbalance"]
    codes = [f.code for f in _found_in(case_of(rows, screened, trend=both))]
    assert sorted(codes) == ["desiccant_decay", "tower_imbalance"]


@pytest.mark.parametrize("use", ["medical", "breathing"])
def test_air_that_people_breathe_is_referred_to_the_responsible_person(use: str) -> None:
    rows = half_cycles(np.full(30, -38.0), np.full(30, -38.0))
    case = case_of(rows, drawn_from(rows), {"site": {"air_use": use}}, load_ratio=0.2, reserve=Estimate(1.2, 1, 1.5))
    found = _found_in(case)
    assert found
    for finding in found:
        assert "responsible person" in finding.caution
        assert "longer" not in finding.action


def test_a_healthy_dryer_has_nothing_to_report() -> None:
    rng = np.random.default_rng(3)
    rows = half_cycles(-60 + rng.normal(0, 0.3, 60), -60 + rng.normal(0, 0.3, 60))
    assert _found_in(case_of(rows, drawn_from(rows, flow=8.0))) == ()
