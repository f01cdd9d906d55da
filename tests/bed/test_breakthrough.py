"""Margin to breakthrough against published front curves and against a plant that shares nothing with the engine."""

from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from diagnostics.bed.breakthrough import margin_to_breakthrough
from diagnostics.bed.heated import repeated
from diagnostics.bed.purge_balance import Balance, faded, lagged
from diagnostics.bed.record import Breakthrough
from diagnostics.bed.reserve import PRIOR, PRIOR_RESERVE, Evidence, prior_above, rated_moisture_load_g_min, weigh
from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.record import Cycle
from diagnostics.estimate import Estimate
from diagnostics.log.reading import read_log
from diagnostics.log.screening import screen
from diagnostics.plant import load_plant, plant_from
from tests.bed.front_logs import HALF_CYCLE_S, FrontLog, front_log, thomas
from tests.bed.plant_logs import PlantLog, plant_log
from tests.shared_data import shared


def of(log: FrontLog | PlantLog) -> Breakthrough:
    return margin_to_breakthrough(log.screened, log.cycle, log.plant)


@pytest.mark.parametrize(
    ("n", "nt", "r", "expected"),
    # Thomas solution evaluated with scipy and confirmed by an independent finite-difference solution to 0.2 %.
    [(10, 6, 0.3, 0.051342), (10, 10, 0.3, 0.504035), (20, 14, 0.1, 0.004495), (20, 22, 0.1, 0.858151)],
)
def test_the_curves_of_these_tests_meet_the_published_closed_form(n: float, nt: float, r: float, expected: float):
    value = thomas(np.array([float(n)]), np.array([nt / n]), r)[0]
    assert value == pytest.approx(expected, abs=2e-6)


@pytest.fixture(scope="module")
def judged() -> list[tuple[FrontLog, Breakthrough]]:
    """Logs from Langmuir fronts of all steepnesses, and from linear isotherms."""
    logs = [front_log(seed, use=0.8 + 0.02 * seed) for seed in range(10)]
    logs += [front_log(seed, separation=1.0, use=0.9) for seed in range(10, 13)]
    return [(log, of(log)) for log in logs]


class TestPublishedFronts:
    """Thomas 1944: the time to the limit is known from the curve that made the log."""

    def test_time_to_the_limit_is_met(self, judged: list[tuple[FrontLog, Breakthrough]]):
        shown = [(log, found) for log, found in judged if not found.censored]
        assert len(shown) >= 8
        true = np.array([HALF_CYCLE_S + log.margin_s for log, _ in shown])
        found = np.array([HALF_CYCLE_S + b.margin_s.value for _, b in shown])
        formula = np.array([1.1 * HALF_CYCLE_S / log.load_ratio for log, _ in shown])
        error = np.median(np.abs(found / true - 1.0))
        assert error <= 0.05
        assert error <= 0.5 * np.median(np.abs(formula / true - 1.0))

    def test_intervals_hold_the_truth(self, judged: list[tuple[FrontLog, Breakthrough]]):
        shown = [(log, found) for log, found in judged if not found.censored]
        inside = [b.margin_s.low <= log.margin_s <= b.margin_s.high for log, b in shown]
        assert np.mean(inside) >= 0.85

    def test_what_is_shown_is_consistent(self, judged: list[tuple[FrontLog, Breakthrough]]):
        for _, found in judged:
            assert found.margin_share.value == pytest.approx(found.margin_s.value / HALF_CYCLE_S)
            assert found.load_ratio < found.peak_load_ratio
            assert found.margin_at_peak_load_s.value < found.sustained_margin_s.value
            held = found.sustained_margin_s.value + HALF_CYCLE_S
            assert found.reserve.value == pytest.approx(held * found.load_ratio / HALF_CYCLE_S, rel=1e-6)

    def test_the_weaker_tower_is_named_and_counts(self):
        even, uneven = (front_log(3, separation=0.6, use=0.82, weaker=weaker) for weaker in (1.0, 0.88))
        found = of(uneven)
        ends = uneven.cycle.complete.groupby("tower")["end_dew_point_c"].median()
        assert found.weaker_tower == ends.idxmax()
        assert found.margin_s.value < of(even).margin_s.value
        assert abs(found.margin_s.value - uneven.margin_s) < 0.06 * HALF_CYCLE_S

    def test_a_biased_probe_is_covered_by_its_uncertainty(self):
        for bias_k in (-1.5, 1.5):
            log = front_log(1, use=0.9, bias_k=bias_k)
            found = of(log)
            assert found.margin_s.low <= log.margin_s <= found.margin_s.high

    def test_a_limit_reached_inside_half_cycles_is_a_negative_margin(self):
        log = front_log(2, use=1.12, swing=0.05)
        found = of(log)
        assert log.margin_s < -600.0
        assert found.reached is True
        assert found.censored is False
        assert found.margin_s.value == pytest.approx(log.margin_s, abs=0.04 * HALF_CYCLE_S)
        assert found.recommended_half_cycle_s < HALF_CYCLE_S

    def test_shifting_the_clock_changes_nothing(self):
        log = front_log(4, use=0.9)
        shift = 86400.0 * 37
        moved_log = dataclasses.replace(log.screened.log, time_s=log.screened.log.time_s + shift)
        table = log.cycle.half_cycles.copy()
        table[["start_s", "end_s"]] += shift
        moved = margin_to_breakthrough(
            dataclasses.replace(log.screened, log=moved_log),
            dataclasses.replace(log.cycle, half_cycles=table),
            log.plant,
        )
        here = of(log)
        assert moved.margin_s.value == pytest.approx(here.margin_s.value, abs=60.0)
        assert moved.sustained_margin_s.value == pytest.approx(here.sustained_margin_s.value, rel=1e-4)

    def test_without_flow_a_visible_tail_still_tells_in_time(self):
        log = front_log(5, use=0.93, swing=0.0)
        bare = dataclasses.replace(
            log.screened.conditions, flow_m3_min=None, moisture_load_g_min=None, logged=frozenset()
        )
        found = margin_to_breakthrough(dataclasses.replace(log.screened, conditions=bare), log.cycle, log.plant)
        assert found.reserve is None
        assert found.load_ratio is None
        assert found.margin_s.value == pytest.approx(log.margin_s, abs=0.12 * HALF_CYCLE_S)


def test_a_front_that_never_shows_leaves_the_rating_to_speak():
    for seed in range(4):
        log = front_log(seed, separation=0.1, reserve=1.05 + 0.12 * seed, use=0.5)
        found = of(log)
        assert found.censored is True
        assert found.reserve_from == "prior"
        assert found.reserve.low >= 0.95 * PRIOR_RESERVE.low
        assert found.reserve.high <= 1.1 * PRIOR_RESERVE.high
        truth = (1.05 + 0.12 * seed) * HALF_CYCLE_S / log.load_ratio - HALF_CYCLE_S
        assert 0.0 <= found.sustained_margin_s.low <= truth
        assert any("rating" in note for note in found.notes)


def test_an_unseen_tail_and_an_unknown_load_yield_nothing_but_a_reason():
    log = front_log(0, separation=0.1, use=0.5)
    bare = dataclasses.replace(log.screened.conditions, flow_m3_min=None, moisture_load_g_min=None, logged=frozenset())
    found = margin_to_breakthrough(dataclasses.replace(log.screened, conditions=bare), log.cycle, log.plant)
    assert found.margin_s is None
    assert found.sustained_margin_s is None
    assert found.recommended_half_cycle_s is None
    assert any("flow" in note for note in found.notes)


class TestSecondPlant:
    """A lumped plant with a truth of its own; reserves from 0.6 to 3."""

    @pytest.mark.parametrize("kind", ["heated", "heatless"])
    def test_the_half_cycle_that_can_be_repeated(self, kind: str):
        found, true, formula, inside = [], [], [], []
        for seed, (reserve, use) in enumerate(
            [(0.6, 0.85), (0.8, 0.8), (1.2, 0.8), (1.6, 0.9), (2.2, 0.9), (3.0, 0.85)]
        ):
            days = 1.5 if kind == "heatless" else 3.0
            log = plant_log(200 + seed, kind=kind, reserve=reserve, load=reserve * use, days=days, swing=0.2)
            judged = of(log)
            today = log.cycle.half_cycle_s.value
            found.append(judged.sustained_margin_s.value + today)
            true.append(log.truth["sustained_margin_s"] + today)
            formula.append(1.1 * today / log.truth["load_ratio"])
            margin = judged.sustained_margin_s
            inside.append(margin.low <= log.truth["sustained_margin_s"] <= margin.high)
        error = np.median(np.abs(np.array(found) / true - 1.0))
        assert error <= 0.10
        assert error <= 0.5 * np.median(np.abs(np.array(formula) / true - 1.0))
        assert np.mean(inside) >= 0.75

    @pytest.mark.parametrize("kind", ["heated", "heatless"])
    def test_the_lower_bound_holds_where_no_rise_shows(self, kind: str):
        shares = []
        for seed, reserve in enumerate([1.05, 1.2, 1.4]):
            log = plant_log(300 + seed, kind=kind, reserve=reserve, load=0.5, days=2.0)
            margin = of(log).sustained_margin_s
            assert margin.low <= log.truth["sustained_margin_s"]
            shares.append(margin.low / log.truth["sustained_margin_s"])
        assert np.median(shares) >= 0.5

    @pytest.mark.parametrize(("kind", "days"), [("heated", 8.0), ("heatless", 1.0)])
    def test_dew_point_control_gives_the_reserve_and_no_margin(self, kind: str, days: float):
        log = plant_log(7, kind=kind, control="dew_point", reserve=1.3, load=0.5, days=days)
        found = of(log)
        assert found.margin_s is None
        assert found.sustained_margin_s is None
        assert found.reserve.value == pytest.approx(1.3, rel=0.1)
        assert any("set point" in note for note in found.notes)

    def test_medical_air_is_never_offered_a_longer_half_cycle(self):
        free = plant_log(21, kind="heatless", reserve=1.4, load=0.4, days=1.0)
        bound = dataclasses.replace(free, plant=_with_air_use(free, "medical"))
        today = free.cycle.half_cycle_s.value
        assert of(free).recommended_half_cycle_s > today
        assert of(bound).recommended_half_cycle_s <= today
        assert any("responsible person" in note for note in of(bound).notes)

    def test_a_safe_setting_stays_within_the_bounds_of_the_plant(self):
        tables = {"dryer": {"longest_half_cycle_s": 360.0}}
        log = plant_log(21, tables, kind="heatless", reserve=1.4, load=0.4, days=1.0, half_cycle_s=300.0)
        found = of(log)
        assert found.recommended_half_cycle_s <= 360.0
        assert any("longest_half_cycle_s" in note for note in found.notes)
        assert any("old setting marked" in note for note in found.notes)


def _with_air_use(log: PlantLog, air_use: str):
    return dataclasses.replace(log.plant, site=log.plant.site.model_copy(update={"air_use": air_use}))


def test_no_half_cycles_no_margin():
    log = front_log(0, days=1.0)
    found = margin_to_breakthrough(log.screened, Cycle("unresolved", (), False), log.plant)
    assert found.margin_s is found.sustained_margin_s is found.margin_at_peak_load_s is None
    assert found.recommended_half_cycle_s is None
    assert found.notes


def test_without_half_cycles_a_limit_that_no_reading_passes_was_not_reached():
    log = front_log(0, days=1.0)
    nothing = Cycle("unresolved", (), False)
    wettest = float(log.screened.dew_point_c[log.screened.used].max())
    for above_k, reached in ((1.0, False), (-1.0, None)):
        dryer = log.plant.dryer.model_copy(update={"dew_point_limit_c": wettest + above_k})
        found = margin_to_breakthrough(log.screened, nothing, dataclasses.replace(log.plant, dryer=dryer))
        assert found.reached is reached


def test_rated_load_of_a_worked_example():
    # 10 m3/min FAD at 7 bar g, 35 degC saturated brings 52.295 g/min (ideal gas, no enhancement factor; computed with
    # CoolProp's saturation pressure); the enhancement factor at 8 bar adds about 3 %.
    plant = plant_from({"dryer": {"rated_flow_m3_min": 10.0}})
    assert rated_moisture_load_g_min(plant) == pytest.approx(52.295, rel=0.04)
    assert rated_moisture_load_g_min(plant) > 52.295


class TestEvidence:
    def test_agreeing_sources_sharpen_and_quarrelling_ones_widen(self):
        one, close, far = Evidence(0.1, 0.1), Evidence(0.12, 0.1), Evidence(1.1, 0.1)
        assert weigh(one, close).deviation < 0.1
        assert weigh(one, far).deviation > 0.3
        assert weigh(one, Evidence(5.0, 1e3)).mean == pytest.approx(0.1, abs=1e-3)

    def test_the_prior_is_the_common_practice(self):
        found = PRIOR.estimate()
        assert Estimate(np.sqrt(1.5), 1.0, 1.5) == PRIOR_RESERVE
        assert found.low == pytest.approx(1.0, abs=0.02)
        assert found.high == pytest.approx(1.5, abs=0.03)

    def test_a_dryer_that_held_more_than_its_rating_is_larger_than_its_plate(self):
        assert prior_above(0.8) == PRIOR
        assert prior_above(2.0).estimate().low == pytest.approx(2.0 * PRIOR.estimate().low)

    def test_what_was_held_cuts_the_even_spread_off_from_below(self):
        even = np.random.default_rng(8).uniform(1.0, 1.5, 20_000)
        for held in (1.05, 1.15, 1.2):
            left = even[even >= held]
            told = prior_above(held)
            assert math.exp(told.mean) == pytest.approx(np.median(left), rel=0.02)
            assert held <= told.vouched(by_rating=True).low <= np.percentile(left, 7.0)

    def test_one_half_cycle_and_many(self):
        # Common practice, no published source: of what lies beyond rating and habit none to all comes back.
        for single, held, none, whole in ((1.4, 0.5, 1.0, 1.4), (1.4, 1.2, 1.2, 1.4), (1.1, 1.3, 1.1, 1.3)):
            shift, deviation = repeated(single, held)
            low, high = (single * math.exp(shift + z * deviation) for z in (-1.96, 1.96))
            assert low <= none
            assert high >= whole
            assert low < single * math.exp(shift) < high
        assert math.exp(repeated(0.8, 0.7)[0]) == pytest.approx(0.99, abs=0.001)


def test_a_dry_part_that_fell_with_the_load_passes_no_limit_at_no_load():
    values = np.array([0.4, np.log(0.2), -7.0, -0.2, -0.9, -6.0, 1.5])
    told = Balance(values, np.eye(7), 0.5, 3.0, 0.1, -1.0).log_load_at_limit()
    assert 0.0 < told < 0.4


@pytest.mark.parametrize("lag", [0.5, 3.0, 25.0])
def test_lag_equals_the_recursive_filter(lag: float):
    values = np.random.default_rng(3).normal(size=400)
    share = -np.expm1(-1.0 / lag)
    expected = lfilter([share], [1.0, share - 1.0], values)
    np.testing.assert_allclose(faded(values, lag), expected, atol=2e-4)
    np.testing.assert_allclose(lagged(np.full(50, 0.7), lag), 0.7, rtol=1e-9)


@pytest.mark.parametrize(
    ("name", "key", "tolerance"),
    [
        ("reserve_heated", "margin_s", 0.10),
        ("reserve_heated", "sustained_margin_s", 0.10),
        ("reserve_heatless", "sustained_margin_s", 0.10),
        ("heated_purge", "sustained_margin_s", 0.15),
        ("heatless", "sustained_margin_s", 0.25),
        ("underloaded", "sustained_margin_s", 0.25),
    ],
)
def test_invented_logs_with_known_truth(name: str, key: str, tolerance: float):
    folder = shared("examples", name)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    plant = load_plant(folder / "plant.toml")
    screened = screen(read_log([folder / "log.csv"], plant), plant)
    cycle = segment(screened, plant)
    found = margin_to_breakthrough(screened, cycle, plant)
    low, high = truth[key]
    margin = getattr(found, key)
    middle = 0.5 * (low + high)
    assert margin.low <= high
    assert margin.high >= low
    assert abs(margin.value - middle) <= tolerance * (middle + truth["half_cycle_s"])
    assert found.censored is not truth["rise_shows"]
    assert found.reached is truth["reached"]


def test_a_table_without_complete_half_cycles_is_no_ground():
    log = front_log(0, days=1.0)
    table = log.cycle.half_cycles.assign(complete=False)
    found = margin_to_breakthrough(log.screened, dataclasses.replace(log.cycle, half_cycles=table), log.plant)
    assert isinstance(table, pd.DataFrame)
    assert found.margin_s is None
    assert found.notes


def test_a_limit_passed_all_along_is_told_as_seen():
    log = front_log(2, use=0.9)
    wet = dataclasses.replace(
        log.screened, dew_point_c=log.screened.dew_point_c + 45.0, moisture=log.screened.moisture * 200.0
    )
    table = log.cycle.half_cycles.copy()
    table[["peak_dew_point_c", "floor_dew_point_c", "end_dew_point_c"]] += 45.0
    found = margin_to_breakthrough(wet, dataclasses.replace(log.cycle, half_cycles=table), log.plant)
    assert found.reached is True
    assert found.censored is False
    assert found.margin_s.value == pytest.approx(-HALF_CYCLE_S)
    assert found.sustained_margin_s is None
    assert found.recommended_half_cycle_s is None
    assert any("passed" in note for note in found.notes)


def test_a_heatless_dryer_wet_all_along_has_no_time_left_and_no_more_to_lose_than_its_half_cycle():
    tables = {"dryer": {"dew_point_limit_c": -75.0}}
    log = plant_log(31, tables, kind="heatless", reserve=0.7, load=1.0, days=1.0)
    assert float(log.screened.dew_point_c[log.screened.used].min()) > -70.0
    margin = margin_to_breakthrough(log.screened, log.cycle, log.plant).margin_s
    usual_s = log.cycle.half_cycle_s.value
    assert margin is not None
    assert margin.value == pytest.approx(-usual_s, rel=0.02)
    assert -usual_s <= margin.low
    assert margin.high <= 0.0


@pytest.mark.parametrize("kind", ["heated", "heatless"])
def test_only_load_over_rating_counts(kind: str):
    log = plant_log(5, kind=kind, reserve=1.2, load=0.95, days=2.0 if kind == "heated" else 1.0)
    factor = 3.7
    conditions = log.screened.conditions
    larger = dataclasses.replace(
        conditions,
        flow_m3_min=conditions.flow_m3_min * factor,
        moisture_load_g_min=conditions.moisture_load_g_min * factor,
    )
    dryer = log.plant.dryer.model_copy(update={"rated_flow_m3_min": log.plant.dryer.rated_flow_m3_min * factor})
    scaled = margin_to_breakthrough(
        dataclasses.replace(log.screened, conditions=larger), log.cycle, dataclasses.replace(log.plant, dryer=dryer)
    )
    here = of(log)
    assert scaled.load_ratio == pytest.approx(here.load_ratio)
    assert scaled.sustained_margin_s.value == pytest.approx(here.sustained_margin_s.value, rel=1e-3, abs=1.0)
    assert scaled.censored is here.censored


def test_a_probe_at_another_limit_moves_the_margin_the_right_way():
    log = front_log(1, use=0.85)
    margins = []
    for limit_c in (-45.0, -40.0, -35.0):
        dryer = log.plant.dryer.model_copy(update={"dew_point_limit_c": limit_c})
        plant = dataclasses.replace(log.plant, dryer=dryer)
        margins.append(margin_to_breakthrough(log.screened, log.cycle, plant).margin_s.value)
    assert margins == sorted(margins)
