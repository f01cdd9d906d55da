"""Imbalance and failed regeneration on half-cycles made by hand."""

from __future__ import annotations

import re

import numpy as np
import pytest

from diagnostics.health.record import Finding
from diagnostics.health.towers import find_faults_of_towers
from tests.health.cases import START_S, case_of, cycle_of, drawn_from, half_cycles


def _found(peaks_a: np.ndarray, peaks_b: np.ndarray, *, length_s: float = 300.0, control: str = "fixed", **more):
    rows = half_cycles(peaks_a, peaks_b, length_s=length_s)
    screened = drawn_from(rows, interval_s=length_s / 10, **more)
    return find_faults_of_towers(case_of(rows, screened, cycle=cycle_of(rows, control)))


def _noise(seed: int, n: int, size: float = 0.2) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, size, n)


def _only(found: list[Finding], code: str) -> Finding:
    assert [f.code for f in found] == [code]
    return found[0]


@pytest.mark.parametrize("difference", [1.5, 3.0, 8.0])
def test_a_lasting_difference_names_the_wetter_tower(difference: float) -> None:
    finding = _only(_found(-58 + _noise(1, 60), -58 + difference + _noise(2, 60)), "tower_imbalance")
    assert finding.tower == "B"
    told = float(re.search(r"by ([\d.]+) K", finding.statement)[1])
    assert told == pytest.approx(difference, abs=0.15)
    assert finding.confidence > 0.9


def test_the_first_tower_may_be_the_worse_one() -> None:
    assert _only(_found(-55 + _noise(1, 40), -58 + _noise(2, 40)), "tower_imbalance").tower == "A"


@pytest.mark.parametrize("difference", [0.0, 0.3, 0.6])
def test_towers_that_differ_by_less_than_a_kelvin_are_healthy(difference: float) -> None:
    assert _found(-58 + _noise(3, 80), -58 + difference + _noise(4, 80)) == []


def test_a_shared_drift_is_no_difference() -> None:
    drift = 6 * np.sin(np.arange(60) / 9.0)
    assert _found(-58 + drift + _noise(5, 60), -58 + drift + _noise(6, 60)) == []


def test_a_difference_that_changes_sign_is_no_imbalance() -> None:
    """An alias of the towers with the load drifts from one sign to the other."""
    alias = 2.5 * np.cos(np.linspace(0, 2 * np.pi, 60))
    assert [f.code for f in _found(-58 + alias + _noise(7, 60), -58 - alias + _noise(8, 60))] != ["tower_imbalance"]


def test_a_load_that_always_falls_to_one_tower_explains_a_difference() -> None:
    n, length_s = 24, 14400.0
    rng = np.random.default_rng(9)
    load = np.empty(2 * n)
    load[0::2], load[1::2] = 8 + rng.normal(0, 1.0, n), 10 + rng.normal(0, 1.0, n)
    peaks = -64 + 1.2 * load + rng.normal(0, 0.1, 2 * n)
    rows = half_cycles(peaks[0::2], peaks[1::2], length_s=length_s)
    per_reading = np.repeat(load, 10)
    screened = drawn_from(rows, interval_s=1440.0, flow=per_reading, moisture_load_g_min=per_reading)
    assert find_faults_of_towers(case_of(rows, screened)) == []


def test_long_half_cycles_without_a_load_ask_for_more_and_say_so() -> None:
    assert _found(-58 + _noise(10, 20), -56.6 + _noise(11, 20), length_s=14400.0) == []
    finding = _only(_found(-58 + _noise(10, 20), -54 + _noise(11, 20), length_s=14400.0), "tower_imbalance")
    assert any("flow" in cause for cause in finding.other_causes)


def test_under_dew_point_control_equal_peaks_say_nothing_and_floors_decide() -> None:
    assert _found(-45 + _noise(12, 30), -45 + _noise(13, 30), control="dew_point") == []
    assert [f.code for f in _found(-45 + _noise(12, 30), -42 + _noise(13, 30), control="dew_point")] == [
        "tower_imbalance"
    ]


@pytest.mark.parametrize("wet_from", [5, 12, 20])
@pytest.mark.parametrize("length_s", [300.0, 14400.0])
def test_a_tower_that_comes_back_wet_is_dated_to_the_regeneration_before(wet_from: int, length_s: float) -> None:
    peaks_b = np.full(24, -60.0) + _noise(14, 24)
    peaks_b[wet_from:] += np.minimum(10.0 * np.arange(1, 24 - wet_from + 1), 60.0)
    finding = _only(_found(-60 + _noise(15, 24), peaks_b, length_s=length_s), "regeneration_failure")
    first_wet_s = START_S + (2 * wet_from + 1) * length_s
    assert finding.tower == "B"
    assert finding.start_s == pytest.approx(first_wet_s - length_s, abs=length_s / 2)
    assert finding.severity == "critical"
    assert finding.caution


def test_wetness_carried_over_into_the_other_tower_does_not_hide_the_failure() -> None:
    peaks_a, peaks_b = -60 + _noise(16, 24), -60 + _noise(17, 24)
    peaks_b[10:] += 40
    peaks_a[10:] += 5
    assert _only(_found(peaks_a, peaks_b), "regeneration_failure").tower == "B"


def test_both_towers_getting_wet_is_no_failure_of_one() -> None:
    climb = np.r_[np.zeros(12), np.full(12, 15.0)]
    assert _found(-60 + climb + _noise(18, 24), -60 + climb + _noise(19, 24)) == []


def test_a_tower_that_gets_better_is_no_failure() -> None:
    better = np.r_[np.full(12, 12.0), np.zeros(12)]
    assert [f.code for f in _found(-60 + _noise(20, 24), -60 + better + _noise(21, 24))] != ["regeneration_failure"]


def test_too_few_half_cycles_say_nothing() -> None:
    assert _found(np.full(3, -60.0), np.full(3, -50.0)) == []


def test_a_failure_is_dated_by_the_end_of_a_half_cycle_whose_mean_shows_nothing_yet() -> None:
    """A bed that was not heated dries as before until its front arrives: the end of the half-cycle shows it first."""
    peaks_b = np.full(16, -60.0) + _noise(31, 16, 0.05)
    peaks_b[11:] += 8.0
    rows = half_cycles(-60 + _noise(32, 16, 0.05), peaks_b, length_s=14400.0)
    rows.loc[2 * 10 + 1, ["peak_dew_point_c", "end_dew_point_c"]] += 1.5
    screened = drawn_from(rows, interval_s=1440.0)
    finding = _only(
        find_faults_of_towers(case_of(rows, screened, cycle=cycle_of(rows, "fixed"))), "regeneration_failure"
    )
    assert finding.start_s == pytest.approx(START_S + 2 * 10 * 14400.0)


@pytest.mark.parametrize("sound_half_cycles", [0, 2])
def test_a_tower_that_no_longer_dries_has_failed_though_no_level_before_is_known(sound_half_cycles: int) -> None:
    """Peaks of 25 degC under an inlet saturated at 30 degC; the log begins after the failure, or just before it."""
    peaks_b = np.full(7, 25.0) + _noise(41, 7)
    peaks_b[:sound_half_cycles] = -60.0
    rows = half_cycles(-58 + _noise(42, 7), peaks_b, length_s=14400.0)
    screened = drawn_from(rows, interval_s=1440.0, inlet_temperature=np.full(10 * len(rows), 30.0))
    finding = _only(
        find_faults_of_towers(case_of(rows, screened, cycle=cycle_of(rows, "fixed"))), "regeneration_failure"
    )
    assert (finding.tower, finding.severity) == ("B", "critical")
    assert ("before it began" in finding.statement) == (sound_half_cycles == 0)
    first_wet = 2 * sound_half_cycles + 1
    assert finding.start_s == pytest.approx(START_S + (first_wet - 1) * 14400.0)


def test_two_towers_that_no_longer_dry_are_no_failure_of_one() -> None:
    found = _found(20 + _noise(43, 7), 25 + _noise(44, 7), length_s=14400.0, inlet_temperature=np.full(140, 30.0))
    assert "regeneration_failure" not in [f.code for f in found]
