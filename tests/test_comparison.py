"""Portable reference against installed transmitter: published formulas, and pairs of logs with a known difference."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diagnostics.agreement import drift_of, independent_number, limits_of_agreement, normalised_error
from diagnostics.air.humidity import change_pressure
from diagnostics.alignment import align, lagged
from diagnostics.comparison import compare
from diagnostics.errors import InputError
from diagnostics.plant import plant_from
from tests.health.cases import screened_log

ROWS = json.loads((Path(__file__).parent / "reference" / "agreement_rows.json").read_text())["rows"]
SURE = plant_from({"measurement": {"uncertainty_c": 0.5}})
USUAL = plant_from({"measurement": {"uncertainty_c": 2.0}})


def _rows(quantity: str) -> list[dict]:
    return [row for row in ROWS if row["quantity"] == quantity]


@pytest.mark.parametrize("row", _rows("E_n"), ids=lambda row: row["id"])
def test_the_normalised_error_is_that_of_iso_13528(row: dict) -> None:
    given = row["inputs"]
    value = normalised_error(given["sensor_c"] - given["reference_c"], given["u_sensor"], given["u_reference"])
    assert value == pytest.approx(row["value"], abs=row["tolerance"])


def test_no_uncertainty_at_all_makes_no_normalised_error() -> None:
    with pytest.raises(ValueError, match="above 0 K"):
        normalised_error(1.0, 0.0, 0.0)


@pytest.mark.parametrize("row", _rows("bland_altman"), ids=lambda row: row["id"])
def test_the_limits_of_agreement_are_those_of_bland_and_altman(row: dict) -> None:
    found = limits_of_agreement(np.array(row["inputs"]["differences_k"]))
    for key, value in row["value"].items():
        assert getattr(found, key) == pytest.approx(value, abs=row["tolerance"])


@pytest.mark.parametrize("row", _rows("n_eff"), ids=lambda row: row["id"])
def test_the_number_of_independent_readings_is_that_of_the_process(row: dict) -> None:
    """The median over 40 seeded series; the tolerance is relative, for the number is estimated from one series."""
    n, r = row["inputs"]["n"], row["inputs"]["lag1"]
    found = [independent_number(_ar1(seed, n, r)) for seed in range(40)]
    assert np.median(found) == pytest.approx(row["value"], rel=row["tolerance"])


def _ar1(seed: int, n: int, r: float) -> np.ndarray:
    from scipy.signal import lfilter

    noise = np.random.default_rng(seed).standard_normal(n + 2000) * np.sqrt(1 - r * r)
    return lfilter([1], [1, -r], noise)[2000:]


def _air(n: int = 2880, seed: int = 0) -> np.ndarray:
    """Dew point of one dryer, a reading a minute: saw-tooth of half an hour, a daily wave, red noise."""
    minutes = np.arange(n)
    saw = 3.0 * ((minutes % 31) / 31)
    return -55 + saw + 2 * np.sin(2 * np.pi * minutes / 1440) + 0.4 * _ar1(seed, n, 0.9)


def _pair(bias=0.0, noise: float = 0.1, shift: int = 0, lag_s: float = 0.0, n: int = 2880):
    air = _air(n + 400)
    rng = np.random.default_rng(7)
    seen = lagged(air, lag_s, 60.0)
    reference = air[200 : 200 + n] + rng.normal(0, noise, n)
    installed = seen[200 - shift : 200 - shift + n] + bias + rng.normal(0, noise, n)
    return screened_log(reference), screened_log(installed)


@pytest.mark.parametrize("bias", [-6.0, -1.0, 0.0, 1.5, 6.0])
def test_a_constant_difference_is_found_and_judged(bias: float) -> None:
    found = compare(*_pair(bias), SURE, USUAL)
    assert found.bias_k.value == pytest.approx(bias, abs=0.1)
    assert found.bias_k.low - 0.05 <= bias <= found.bias_k.high + 0.05
    assert found.verdict == ("agree" if abs(bias) < 2 else "disagree")
    assert found.normalised_error.value == pytest.approx(bias / np.hypot(0.5, 2.0), abs=0.1)
    word = "drier" if bias < 0 else "wetter"
    assert bias == 0.0 or word in found.statement


def test_a_difference_right_at_what_is_allowed_stays_undecided() -> None:
    found = compare(*_pair(np.hypot(0.5, 2.0) + 0.01, noise=0.6), SURE, USUAL)
    assert found.verdict == "undecided"
    assert 0.005 < found.probability_of_agreement < 0.995
    assert "longer" in found.action


@pytest.mark.parametrize("shift", [-60, -7, 0, 3, 60, 120])
def test_the_clocks_difference_is_found(shift: int) -> None:
    """A positive shift: the installed trace comes later, its clock is ahead."""
    found = compare(*_pair(0.5, shift=shift), SURE, USUAL)
    assert found.clock_offset_s is not None
    assert found.clock_offset_s.value == pytest.approx(60.0 * shift, abs=30)
    assert found.clock_offset_s.low - 20 <= 60.0 * shift <= found.clock_offset_s.high + 20
    assert found.bias_k.value == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("lag_s", [0.0, 180.0, 600.0])
def test_a_slower_instrument_is_told_from_a_late_clock(lag_s: float) -> None:
    found = compare(*_pair(0.0, noise=0.05, lag_s=lag_s), SURE, USUAL)
    assert found.lag_s is not None
    assert found.lag_s.low <= lag_s <= found.lag_s.high
    assert abs(found.clock_offset_s.value) < 120


def test_a_drift_has_its_own_slope() -> None:
    reference, installed = _pair(0.0)
    days = np.arange(2880) / 1440
    drifting = replace(installed, dew_point_c=installed.dew_point_c + 0.8 * days)
    found = compare(reference, drifting, SURE, USUAL)
    assert found.drift_k_per_day.low <= 0.8 <= found.drift_k_per_day.high
    assert found.drift_k_per_day.low > 0.3


def test_a_difference_that_grows_towards_dry_air_shows_by_level() -> None:
    reference, installed = _pair(0.0)
    wide = np.linspace(-30, 0, 2880)
    reference = replace(reference, dew_point_c=reference.dew_point_c + wide)
    skewed = installed.dew_point_c + wide + 0.1 * (-40 - (installed.dew_point_c + wide))
    found = compare(reference, replace(installed, dew_point_c=skewed), SURE, USUAL)
    assert len(found.by_level) >= 3
    assert found.by_level[0].bias_k.value > found.by_level[-1].bias_k.value + 1
    assert found.slope.value == pytest.approx(-0.1, abs=0.02)


def test_a_transmitter_left_at_atmospheric_pressure_is_named() -> None:
    reference, installed = _pair(0.0)
    n = installed.dew_point_c.size
    wrong = change_pressure(installed.dew_point_c, np.full(n, 8.01325), np.full(n, 1.01325))
    found = compare(reference, replace(installed, dew_point_c=wrong), SURE, USUAL)
    assert found.verdict == "disagree"
    assert "atmospheric" in found.notes[-1]
    assert "pressure basis" in found.action


def test_line_pressures_that_differ_are_reckoned_out() -> None:
    reference, installed = _pair(0.0)
    n = installed.dew_point_c.size
    lower = change_pressure(installed.dew_point_c, np.full(n, 8.01325), np.full(n, 7.01325))
    conditions = replace(installed.conditions, pressure_bar=np.full(n, 7.01325))
    found = compare(reference, replace(installed, dew_point_c=lower, conditions=conditions), SURE, USUAL)
    assert found.bias_k.value == pytest.approx(0.0, abs=0.05)


def test_logs_at_different_intervals_and_with_gaps_compare() -> None:
    reference, installed = _pair(1.0)
    coarse = slice(None, None, 5)
    log = replace(installed.log, time_s=installed.log.time_s[coarse], interval_s=300.0)
    used = installed.used[coarse].copy()
    used[100:200] = False
    thin = replace(installed, log=log, dew_point_c=installed.dew_point_c[coarse], used=used)
    thin = replace(thin, conditions=replace(thin.conditions, pressure_bar=thin.conditions.pressure_bar[coarse]))
    found = compare(reference, thin, SURE, USUAL)
    assert found.bias_k.value == pytest.approx(1.0, abs=0.2)
    assert found.readings < 480


def test_logs_that_do_not_overlap_are_refused_with_both_spans() -> None:
    reference, installed = _pair()
    later = replace(installed.log, time_s=installed.log.time_s + 10 * 86400.0, source="installed.csv")
    with pytest.raises(InputError, match=r"do not overlap.*installed\.csv from"):
        compare(reference, replace(installed, log=later), SURE, USUAL)


def test_too_few_common_readings_are_refused() -> None:
    reference, installed = _pair(n=200)
    used = np.zeros(200, bool)
    used[:10] = True
    with pytest.raises(InputError, match="usable readings in common"):
        compare(reference, replace(installed, used=used), SURE, USUAL)


def test_flat_traces_tell_no_clock_but_still_a_difference() -> None:
    rng = np.random.default_rng(1)
    flat = [screened_log(-60 + b + rng.normal(0, 0.1, 1000)) for b in (0.0, 1.0)]
    found = compare(*flat, SURE, USUAL)
    assert found.clock_offset_s is None
    assert found.lag_s is None
    assert found.bias_k.value == pytest.approx(1.0, abs=0.05)


def test_the_correlation_is_scipys() -> None:
    """Reference: numpy.corrcoef at the best shift, reckoned without FFT."""
    air = _air(600)
    one, other = air[50:550], air[43:543]
    found = align(one, other, 60.0, 1800.0)
    assert found.offset_s.value == pytest.approx(7 * 60, abs=10)
    assert found.correlation > 0.98


def test_the_statement_has_numbers_and_no_code_words() -> None:
    found = compare(*_pair(-4.0, shift=60), SURE, USUAL)
    assert "4.0 K drier" in found.statement
    assert "hides wet air" in found.statement
    assert "1 h" in found.statement or "60 min" in found.statement
    assert "_" not in found.statement + found.action
    assert found.caution


@pytest.mark.parametrize("seed", [4, 22, 44, 56])
def test_clock_and_lag_hold_where_the_trace_repeats_itself(seed: int) -> None:
    """Air of the second plant, whose half-cycles look alike: the wrong one must not be taken for sure."""
    from tests.study_comparison import PLANT, held, pair

    reference, installed, truth = pair(seed)
    found = held(compare(reference, installed, PLANT, PLANT), truth)
    for name in ("clock_offset_s", "lag_s"):
        assert found[name] is not None
        inside, error, width = found[name]
        assert inside or abs(error) <= 1.2 * width


def test_drift_of_white_differences_is_the_least_squares_line() -> None:
    """Against scipy.stats.linregress on the same series: slope within its error, interval up to a half wider."""
    from scipy.stats import linregress, t

    rng = np.random.default_rng(8)
    days = np.arange(0.0, 3.0, 1.0 / 480.0)
    difference = 0.3 * days + 0.2 * rng.standard_normal(days.size)
    fitted = linregress(days, difference)
    half = float(t.ppf(0.975, days.size - 2) * fitted.stderr)
    found = drift_of(days, difference, least_span_d=0.25)
    assert found is not None
    assert abs(found.value - fitted.slope) < half
    assert half < 0.5 * (found.high - found.low) < 1.6 * half


@pytest.mark.parametrize("memory_h", [0.5, 3.0, 8.0])
def test_drift_interval_holds_under_a_wandering_difference(memory_h: float) -> None:
    """Coverage of simulated first-order wandering: 95 % claimed, at least 55 of 60 asked."""
    from scipy.signal import lfilter

    rng = np.random.default_rng(9)
    days = np.arange(0.0, 3.0, 1.0 / 144.0)
    keep = np.exp(-1.0 / (6.0 * memory_h))
    held = 0
    for _ in range(60):
        drawn = rng.standard_normal(days.size + 1000) * np.sqrt(1.0 - keep**2)
        wandering = np.asarray(lfilter([1.0], [1.0, -keep], drawn))[1000:]
        found = drift_of(days, 0.1 * wandering, least_span_d=0.25)
        assert found is not None
        held += found.low <= 0.0 <= found.high
    assert held >= 55


def test_no_drift_is_told_over_too_short_a_span() -> None:
    assert drift_of(np.linspace(0.0, 0.1, 200), np.zeros(200), least_span_d=0.25) is None
