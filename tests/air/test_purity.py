"""Purity, conformity and what is said beside them, on logs whose answer can be read off."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from diagnostics.air.purity import judge_purity
from diagnostics.air.record import Purity
from diagnostics.plant import Plant, plant_from
from tests.air.made import no_cycle, screened_log, timer_cycle


def plant(**tables: dict) -> Plant:
    return plant_from(tables)


def judge(dew_point, tables: dict | None = None, **arguments) -> Purity:
    return judge_purity(screened_log(dew_point), no_cycle(), plant(**(tables or {})), **arguments)


class TestClassAndConformity:
    @pytest.mark.parametrize(
        ("level", "number", "low", "high", "verdict"),
        [
            (-75.0, 1, 1, 1, "pass"),
            (-70.0, 1, 1, 2, "pass"),
            (-69.9, 2, 1, 2, "pass"),
            (-42.0, 2, 2, 2, "pass"),
            (-41.0, 2, 2, 3, "undecided"),
            (-39.0, 3, 2, 3, "undecided"),
            (-37.9, 3, 3, 3, "fail"),
            (9.0, 6, 5, None, "fail"),
            (10.1, None, 6, None, "fail"),
            (25.0, None, None, None, "fail"),
        ],
    )
    def test_constant_log(
        self, level: float, number: int | None, low: int | None, high: int | None, verdict: str
    ) -> None:
        # ISO 8573-1:2010 table 2 (read on public pages); U = 2 K where the plant file says nothing.
        found = judge(np.full(500, level))
        assert (found.purity_class, found.class_low, found.class_high) == (number, low, high)
        assert found.conformity == verdict
        assert found.p95_dew_point_c == found.max_dew_point_c == level
        assert found.uncertainty_c == pytest.approx(2.0)
        assert found.standard == "ISO 8573-1:2010"

    def test_class_goes_by_the_95th_percentile(self) -> None:
        # 4 % of readings wetter than the limit leave the percentile below it, 6 % do not.
        few = judge(np.r_[np.full(960, -50.0), np.full(40, -30.0)])
        many = judge(np.r_[np.full(940, -50.0), np.full(60, -30.0)])
        assert (few.purity_class, few.conformity) == (2, "pass")
        assert (many.purity_class, many.conformity) == (3, "fail")
        assert few.time_above_limit_share == pytest.approx(0.04)
        assert few.class_shares == pytest.approx({"1": 0, "2": 0.96, "3": 0.04, "4": 0, "5": 0, "6": 0, "none": 0})

    def test_a_pass_with_exceedances_says_so(self) -> None:
        found = judge(np.r_[np.full(960, -50.0), np.full(40, -30.0)])
        assert any("40 min" in note and "once" in note and "-30.0" in note for note in found.notes)
        clean = judge(np.full(1000, -50.0))
        assert not any("passed" in note for note in clean.notes)

    def test_by_maximum(self) -> None:
        values = np.r_[np.full(999, -50.0), -30.0]
        found = judge(values, conformity_by="maximum")
        assert found.conformity == "fail"
        assert found.conformity_by == "maximum"
        assert found.probability_of_conformity == pytest.approx(0.5 * math.erfc(10.0 / math.sqrt(2.0)))
        assert judge(values).conformity == "pass"

    @pytest.mark.parametrize(
        ("minutes", "allowed", "verdict"), [(5, 600.0, "pass"), (15, 600.0, "fail"), (15, 900.0, "pass")]
    )
    def test_by_longest_exceedance(self, minutes: int, allowed: float, verdict: str) -> None:
        values = np.full(2000, -50.0)
        values[700 : 700 + minutes] = -30.0
        found = judge(values, conformity_by="longest_exceedance", allowed_exceedance_s=allowed)
        assert found.conformity == verdict
        assert found.longest_exceedance_s == minutes * 60.0
        assert found.probability_of_conformity is None

    def test_by_longest_exceedance_within_the_uncertainty(self) -> None:
        values = np.full(2000, -50.0)
        values[700:715] = -39.0
        assert judge(values, conformity_by="longest_exceedance", allowed_exceedance_s=600.0).conformity == "undecided"

    def test_probability_at_the_limit_is_a_half(self) -> None:
        assert judge(np.full(100, -40.0)).probability_of_conformity == 0.5


class TestExcursions:
    def test_runs_are_counted_and_timed(self) -> None:
        values = np.full(1000, -50.0)
        values[100:103] = -30.0
        values[200] = -39.9
        values[300:310] = -35.0
        found = judge(values)
        assert found.exceedances == 3
        assert found.longest_exceedance_s == 600.0
        assert found.time_above_limit_share == pytest.approx(14 / 1000)

    def test_readings_at_the_limit_keep_it(self) -> None:
        assert judge(np.full(100, -40.0)).exceedances == 0

    def test_set_aside_readings_do_not_count(self) -> None:
        values = np.full(1000, -50.0)
        values[:50] = 15.0
        used = np.arange(1000) >= 50
        found = judge_purity(screened_log(values, used=used), no_cycle(), plant())
        assert found.exceedances == 0
        assert found.max_dew_point_c == -50.0

    def test_a_hole_ends_a_run(self) -> None:
        values = np.full(400, -50.0)
        values[100:300] = -30.0
        used = np.ones(400, dtype=bool)
        used[150:250] = False
        found = judge_purity(screened_log(values, used=used), no_cycle(), plant())
        assert found.exceedances == 2
        assert found.longest_exceedance_s == 3000.0

    def test_log_that_is_wet_throughout(self) -> None:
        found = judge(np.full(60, -10.0))
        assert found.exceedances == 1
        assert found.time_above_limit_share == 1.0
        assert found.longest_exceedance_s == 3600.0


class TestPointOfUse:
    def test_expansion_lowers_the_dew_point(self) -> None:
        # Ideal gas by hand: e falls from 8.013 to 7.013 bar by 12.5 %, 1.2 K at -40 degC (0.113 per K).
        tables = {"operation": {"pressure_at_use_bar_g": 6.0, "lowest_pipe_temperature_c": 2.0}}
        found = judge(np.full(100, -40.0), tables)
        assert found.dew_point_at_use_c == pytest.approx(-41.15, abs=0.1)
        assert found.frost_reserve_k == pytest.approx(2.0 - found.dew_point_at_use_c)
        assert any("above the dew point at the point of use" in note for note in found.notes)

    def test_wet_pipe(self) -> None:
        found = judge(np.full(100, 5.0), {"operation": {"lowest_pipe_temperature_c": 2.0}})
        assert found.dew_point_at_use_c is None
        assert found.frost_reserve_k == pytest.approx(-3.0)
        assert any("water or frost can form" in note for note in found.notes)

    def test_nothing_known_nothing_said(self) -> None:
        found = judge(np.full(100, -50.0))
        assert found.dew_point_at_use_c is None
        assert found.frost_reserve_k is None

    def test_class_at_the_standards_pressure(self) -> None:
        # The same air is drier by dew point at 7 bar gauge than at 12: -39.5 degC at 12 bar meets class 2 at 7 bar.
        screened = screened_log(np.full(100, -39.5), pressure_bar=13.01325)
        found = judge_purity(screened, no_cycle(), plant())
        assert found.purity_class == 3
        assert any("7 bar gauge" in note and "class 2" in note for note in found.notes)


class TestUses:
    def test_instrument_air(self) -> None:
        # ANSI/ISA-7.0.01-1996: 10 K below the lowest temperature, at most 4 degC (read second-hand).
        tables = {"site": {"air_use": "instrument"}, "operation": {"lowest_pipe_temperature_c": -30.0}}
        assert any("-40 °C" in note and "keeps it" in note for note in judge(np.full(100, -50.0), tables).notes)
        assert any("does not keep it" in note for note in judge(np.full(100, -30.0), tables).notes)
        unknown = judge(np.full(100, -50.0), {"site": {"air_use": "instrument"}})
        assert any("lowest_pipe_temperature_c" in note for note in unknown.notes)

    def test_breathing_air(self) -> None:
        # EN 12021:2014: 5 K below the lowest temperature, -11 degC if unknown (read second-hand).
        known = {"site": {"air_use": "breathing"}, "operation": {"lowest_pipe_temperature_c": 3.0}}
        assert any("-2 °C" in note for note in judge(np.full(100, -50.0), known).notes)
        notes = judge(np.full(100, -50.0), {"site": {"air_use": "breathing"}}).notes
        assert any("-11 °C" in note for note in notes)
        assert any("person responsible" in note for note in notes)

    def test_medical_air(self) -> None:
        # European Pharmacopoeia: 67 ppm by volume (read second-hand), -45.5 degC at 1.013 bar; ideal gas at 8.013 bar:
        # 53.7 Pa, -26.7 degC.
        notes = judge(np.full(100, -50.0), {"site": {"air_use": "medical"}}).notes
        assert any("67 ppm" in note and "-27." in note and "keeps it" in note for note in notes)
        assert any("person responsible" in note for note in notes)

    @pytest.mark.parametrize("use", ["food", "pharma"])
    def test_product(self, use: str) -> None:
        assert any("particles and oil" in note for note in judge(np.full(100, -50.0), {"site": {"air_use": use}}).notes)


class TestNothingToJudge:
    @pytest.mark.parametrize("values", [[], [math.nan, math.nan]])
    def test_no_reading(self, values: list[float]) -> None:
        found = judge(values)
        assert found.purity_class is None
        assert found.p95_dew_point_c is None
        assert found.exceedances is None
        assert found.conformity == "undecided"
        assert found.uncertainty_c == 2.0
        assert any("No reading could be used" in note for note in found.notes)

    def test_one_reading(self) -> None:
        found = judge([-50.0])
        assert found.purity_class == 2
        assert found.p95 is None
        assert any("too short" in note for note in found.notes)


class TestPercentileInterval:
    def test_repeatable_and_ordered(self) -> None:
        rng = np.random.default_rng(3)
        screened = screened_log(-50.0 + rng.normal(0.0, 1.0, 2880))
        cycle = timer_cycle(screened, 1800.0)
        one, two = (judge_purity(screened, cycle, plant()) for _ in range(2))
        assert one == two
        assert one.p95 is not None
        assert one.p99 is not None
        assert one.p95.low < one.p95.value < one.p95.high
        assert one.p95.value < one.p99.value

    @pytest.mark.parametrize("memory", [0.0, 0.8, 0.95])
    def test_holds_the_truth_as_often_as_it_says(self, memory: float) -> None:
        # 200 logs of a process whose 95th percentile is known (normal, AR(1) from reading to reading, cycles of 20):
        # the interval must hold it in about 95 % of them, 90 % at least.
        rng = np.random.default_rng(17)
        held = 0
        for _ in range(200):
            noise = rng.normal(0.0, math.sqrt(1.0 - memory**2), 2000)
            values = lfilter([1.0], [1.0, -memory], noise, zi=[memory * rng.normal()])[0]
            screened = screened_log(-50.0 + values)
            found = judge_purity(screened, timer_cycle(screened, 600.0), plant()).p95
            assert found is not None
            held += found.low <= -50.0 + 1.6448536 <= found.high
        assert held >= 180

    def test_memory_over_days_widens_it(self) -> None:
        rng = np.random.default_rng(5)
        time_h = np.arange(4 * 1440) / 60.0
        quick = -50.0 + 3.0 * rng.standard_normal(time_h.size)
        slow = -50.0 + 3.0 * np.sin(2 * np.pi * time_h / 24.0) + 0.5 * rng.standard_normal(time_h.size)
        widths = []
        for values in (quick, slow):
            screened = screened_log(values)
            found = judge_purity(screened, timer_cycle(screened, 300.0), plant()).p95
            widths.append(math.inf if found is None else found.high - found.low)
        assert widths[1] > 2.0 * widths[0]

    def test_a_verdict_that_hangs_on_the_length_says_so(self) -> None:
        values = np.full(2000, -60.0)
        values[::500] = -30.0
        values[1000:1095] = -35.0
        found = judge(values)
        assert found.conformity == "pass"
        assert any("longer log" in note for note in found.notes)
