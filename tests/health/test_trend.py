"""Trend of the peaks: checked by statsmodels and scipy, by peaks drawn from a known trend, and by things that only look
like one."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.stats import theilslopes

from diagnostics.cycle.record import Cycle
from diagnostics.estimate import Estimate
from diagnostics.health.trend import peak_trend
from diagnostics.health.trend_forecast import days_to_limit
from diagnostics.health.trend_regression import fit_line, is_step, median_slope
from diagnostics.health.trend_series import PeakSeries, peak_series
from tests.health.peak_logs import DAY_S, START_S, autocorrelated, cycle_of, peak_log, plant_of, screened_of


def series_of(time_d: np.ndarray, peak_c: np.ndarray) -> PeakSeries:
    step = float(np.median(np.diff(time_d)))
    return PeakSeries(time_d, peak_c, {}, step, np.zeros(time_d.size, int), time_d.size)


class TestOutsideReferences:
    def test_slope_and_error_meet_statsmodels_glsar(self):
        from statsmodels.regression.linear_model import GLSAR

        rng = np.random.default_rng(4)
        time_d = np.arange(-400, 0) / 6.0
        peaks = -60.0 + 0.02 * time_d + autocorrelated(rng, 400, 4.0, 9.0)
        ours = fit_line(series_of(time_d, peaks), {})
        design = np.column_stack([np.ones_like(time_d), time_d])
        theirs = GLSAR(peaks, design, rho=1).iterative_fit(maxiter=20)
        assert ours.correlation == pytest.approx(float(np.squeeze(theirs.model.rho)), abs=0.06)
        assert ours.slope == pytest.approx(theirs.params[1], abs=0.5 * theirs.bse[1])
        assert ours.error >= 0.85 * theirs.bse[1]

    def test_error_is_not_below_the_hac_error_of_statsmodels(self):
        from statsmodels.regression.linear_model import OLS

        rng = np.random.default_rng(6)
        time_d = np.arange(-240, 0) / 6.0
        peaks = -60.0 + autocorrelated(rng, 240, 4.0, 8.0)
        hac = OLS(peaks, np.column_stack([np.ones_like(time_d), time_d])).fit(cov_type="HAC", cov_kwds={"maxlags": 12})
        plain = OLS(peaks, np.column_stack([np.ones_like(time_d), time_d])).fit()
        ours = fit_line(series_of(time_d, peaks), {})
        assert hac.bse[1] > plain.bse[1]
        assert ours.error > 0.9 * hac.bse[1]

    def test_median_slope_is_theil_sen(self):
        rng = np.random.default_rng(8)
        time_d = np.sort(rng.uniform(0.0, 30.0, 300))
        values = 0.3 * time_d + rng.standard_t(2, 300)
        assert median_slope(time_d, values) == pytest.approx(theilslopes(values, time_d)[0], rel=1e-9)


class TestTrendsThatAreThere:
    @pytest.mark.parametrize(
        ("days", "slope", "half_cycle_s"), [(5.0, 1.0, 14400.0), (14.0, 0.3, 14400.0), (7.0, 0.6, 300.0)]
    )
    def test_a_rise_at_equal_load_is_seen_through_a_changing_load(self, days: float, slope: float, half_cycle_s: float):
        right = []
        for seed in range(5):
            log = peak_log(seed, days=days, slope_k_d=slope, half_cycle_s=half_cycle_s, load_k=5.0, noise_k=0.3)
            trend = peak_trend(*log)
            found = trend.peak_dew_point_c_per_day
            right.append(trend.verdict == "rising" and found.low <= slope <= found.high)
            assert trend.load_adjusted is True
        assert sum(right) >= 4

    def test_days_to_the_limit_count_from_the_end_of_the_log(self):
        trend = peak_trend(*peak_log(1, days=20.0, slope_k_d=0.4, level_c=-60.0, noise_k=0.2))
        assert trend.verdict == "rising"
        assert trend.days_to_limit.value == pytest.approx((-40.0 - (-60.0 + 20.0 * 0.4)) / 0.4, rel=0.12)
        assert trend.days_to_limit.low < trend.days_to_limit.value < trend.days_to_limit.high

    def test_the_probe_widens_the_days_to_the_limit(self):
        time_d = np.arange(-120, 0) / 6.0
        peaks = -50.0 + 0.3 * time_d + 0.2 * np.random.default_rng(2).standard_normal(120)
        line = fit_line(series_of(time_d, peaks), {})
        coarse, fine = days_to_limit(line, -40.0, 2.0), days_to_limit(line, -40.0, 0.1)
        assert coarse.value == fine.value
        assert coarse.low < fine.low
        assert coarse.high > fine.high

    def test_a_fall_is_a_fall(self):
        trend = peak_trend(*peak_log(3, days=10.0, slope_k_d=-0.5, noise_k=0.3))
        assert trend.verdict == "falling"
        assert trend.days_to_limit is None

    def test_both_towers_are_told_apart(self):
        trend = peak_trend(*peak_log(5, days=14.0, slope_k_d=0.4, noise_k=0.2))
        assert set(trend.per_tower) == {"A", "B"}
        for slope in trend.per_tower.values():
            assert slope.low <= 0.4 <= slope.high

    def test_visits_months_apart_make_one_trend(self):
        starts, peaks, loads = [], [], []
        rng = np.random.default_rng(9)
        for day, level in ((0.0, -60.0), (90.0, -57.0), (180.0, -54.0)):
            begin = START_S + day * DAY_S + 14400.0 * np.arange(12)
            starts.append(begin)
            peaks.append(level + 0.2 * rng.standard_normal(12))
            loads.append(0.1 * rng.standard_normal(12))
        start, peak, load = (np.concatenate(x) for x in (starts, peaks, loads))
        screened = screened_of(start, 14400.0, peak, load, True)
        trend = peak_trend(screened, cycle_of(start, 14400.0, peak), plant_of(14400.0))
        assert trend.verdict == "rising"
        assert trend.peak_dew_point_c_per_day.low <= 6.0 / 180.0 <= trend.peak_dew_point_c_per_day.high
        assert trend.days_to_limit.value == pytest.approx(14.0 / (6.0 / 180.0), rel=0.15)


class TestThingsThatOnlyLookLikeATrend:
    def test_a_load_that_grows_is_named(self):
        log = peak_log(2, days=10.0, load_k=8.0, load_drift=0.06, noise_k=0.2, memory_h=1.0)
        trend = peak_trend(*log)
        assert trend.raw_c_per_day.value == pytest.approx(0.48, abs=0.15)
        assert trend.verdict == "steady"
        assert "load" in trend.explained_by
        assert any("accounts for it" in note for note in trend.notes)

    @pytest.mark.parametrize("days", [2.0, 3.0, 7.0, 14.0])
    def test_noise_and_day_alone_rise_in_no_more_than_three_of_a_hundred(self, days: float):
        rng = np.random.default_rng(int(days))
        rising = 0
        for seed in range(100):
            trend = peak_trend(
                *peak_log(
                    seed,
                    days=days,
                    half_cycle_s=14400.0,
                    memory_h=float(rng.choice([0.0, 1.0, 3.0, 8.0, 24.0])),
                    noise_k=float(rng.choice([0.5, 1.0, 2.0])),
                    daily_k=float(rng.choice([0.0, 1.0, 2.5])),
                    load_k=float(rng.choice([0.0, 5.0])),
                    logged=bool(rng.random() < 0.6),
                )
            )
            rising += trend.verdict == "rising"
        assert rising <= 3

    def test_a_settling_tail_is_no_falling_trend(self):
        tail = 8.0 * np.exp(-np.linspace(0.0, 60.0, 400))
        trend = peak_trend(*peak_log(4, days=8.0, extra_k=tail, noise_k=0.2))
        assert trend.verdict in ("steady", "too_short")

    def test_a_step_is_no_decay(self):
        step = np.where(np.linspace(0.0, 1.0, 400) > 0.6, 6.0, 0.0)
        trend = peak_trend(*peak_log(4, days=8.0, extra_k=step, noise_k=0.2))
        assert trend.verdict == "steady"
        assert any("one stretch" in note for note in trend.notes)

    def test_a_step_is_told_from_a_line(self):
        rng = np.random.default_rng(1)
        time_d = np.linspace(-10.0, 0.0, 200)
        noise = 0.3 * rng.standard_normal(200)
        assert is_step(time_d, noise + 3.0 * (time_d > -4.0))
        assert not is_step(time_d, noise + 0.3 * time_d)
        assert not is_step(time_d, noise)


class TestTooShort:
    def test_one_day_is_too_short(self):
        trend = peak_trend(*peak_log(1, days=1.0, half_cycle_s=300.0, slope_k_d=3.0))
        assert trend.verdict == "too_short"
        assert trend.peak_dew_point_c_per_day is None
        assert any("two days" in note for note in trend.notes)

    def test_a_scatter_that_could_hide_kelvins_is_too_short(self):
        trend = peak_trend(*peak_log(1, days=3.0, noise_k=6.0, memory_h=6.0))
        assert trend.verdict == "too_short"
        assert trend.days_to_limit is None

    def test_no_half_cycles(self):
        screened, _, plant = peak_log(1, days=3.0)
        trend = peak_trend(screened, Cycle("unresolved", (), False), plant)
        assert trend.verdict == "too_short"
        assert trend.notes


def test_peaks_pinned_by_dew_point_control_are_said_to_tell_nothing():
    screened, cycle, plant = peak_log(6, days=10.0, noise_k=0.05, memory_h=0.0)
    pinned = dataclasses.replace(cycle, control="dew_point", set_point_c=Estimate.exact(-60.0))
    trend = peak_trend(screened, pinned, plant)
    assert trend.verdict == "steady"
    assert any("pinned" in note and "load of a half-cycle" in note for note in trend.notes)


def test_half_cycles_after_the_switching_stopped_do_not_count():
    climb = np.where(np.linspace(0.0, 1.0, 200) > 0.8, 25.0, 0.0)
    screened, cycle, plant = peak_log(2, days=10.0, extra_k=climb, noise_k=0.2)
    stop = float(cycle.half_cycles["start_s"].quantile(0.78))
    series = peak_series(screened, dataclasses.replace(cycle, stopped_s=stop), plant)
    assert series.peak_c.max() < -55.0
    assert peak_trend(screened, dataclasses.replace(cycle, stopped_s=stop), plant).verdict == "steady"


def test_minutes_are_gathered_into_hours_and_hours_stand_alone():
    short = peak_series(*peak_log(1, days=3.0, half_cycle_s=300.0))
    long = peak_series(*peak_log(1, days=3.0, half_cycle_s=14400.0))
    assert short.step_d == pytest.approx(1.0 / 24.0)
    assert short.time_d.size == 72
    assert long.time_d.size == 18
    assert long.half_cycles == 18
