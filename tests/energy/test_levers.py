"""Levers side by side and together."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.air.compression import power_ratio
from diagnostics.energy.levers import weigh_levers
from diagnostics.estimate import Estimate
from tests.energy import made
from tests.energy.case import diagnosis


def by_key(levers):
    return {lever.key: lever for lever in levers.levers}


def test_switching_is_worth_what_switching_says() -> None:
    for base in (made.HEATLESS, made.HEATED):
        case = diagnosis(made.plant(base))
        lever = by_key(weigh_levers(case))["switch_on_dew_point"]
        energy = case.switching.figures.energy_saved_kwh_per_year
        assert lever.energy_saved_kwh_per_year.value == pytest.approx(energy.value, rel=1e-3)
        assert lever.cost_saved_per_year.value == pytest.approx(0.15 * energy.value, rel=1e-3)


def test_in_a_pool_switching_is_worth_the_same_in_both_places() -> None:
    # the saving is about what the base machine's full load and the trim machine's line give for that much air
    machines = [
        {"role": role, "rated_flow_m3_min": flow, "specific_power_kw_per_m3_min": 6.5, "control": control}
        for role, flow, control in (("base", 6.0, "load_unload"), ("trim", 6.0, "variable_speed"))
    ]
    case = diagnosis(made.plant(made.HEATLESS, compressor=None, compressors=machines))
    lever = by_key(weigh_levers(case))["switch_on_dew_point"]
    told = case.switching.figures.energy_saved_kwh_per_year.value
    assert lever.energy_saved_kwh_per_year.value == pytest.approx(told, rel=1e-3)


def test_levers_together_save_less_than_their_sum() -> None:
    plant = made.plant(made.HEATED, measurement__pressure_bar_g=8.0, operation__pressure_at_use_bar_g=5.0)
    found = weigh_levers(diagnosis(plant))
    assert {"switch_on_dew_point", "lower_pressure", "cooler_inlet"} <= set(by_key(found))
    assert found.overlap_kwh_per_year > 0
    largest = max(lever.energy_saved_kwh_per_year.value for lever in found.levers)
    assert found.together_kwh_per_year.value > largest


def test_a_trimmed_purge_leaves_less_for_longer_half_cycles() -> None:
    # at 9 bar g the orifice passes more and the balance needs less: (8.013 / 10.013) squared of the purge is enough
    plant = made.plant(made.HEATLESS, measurement__pressure_bar_g=9.0, operation__pressure_bar_g=9.0)
    found = weigh_levers(diagnosis(plant))
    levers = by_key(found)
    needed = (8.01325 / 10.01325) ** 2
    assert f"{100 * (1 - needed):.0f} %" in levers["trimmed_purge"].sentence
    alone = levers["trimmed_purge"].energy_saved_kwh_per_year.value
    switching = levers["switch_on_dew_point"].energy_saved_kwh_per_year.value
    assert found.together_kwh_per_year.value < alone + switching


def test_filter_elements_by_hand() -> None:
    plant = made.plant(made.HEATLESS, dryer__pre_filter_drop_bar=0.35, dryer__after_filter_drop_bar=0.25)
    lever = by_key(weigh_levers(diagnosis(plant)))["filter_elements"]
    case = diagnosis(plant)
    whole = 7.0 * 6.8 + case.purge.average_m3_min.value * 0.75 * 6.8
    kwh = whole * (1 - power_ratio(8.01325 - 0.5, 8.01325)) * 8000
    assert lever.energy_saved_kwh_per_year.value == pytest.approx(kwh, rel=1e-6)


def test_clean_filters_are_no_lever() -> None:
    plant = made.plant(made.HEATLESS, dryer__pre_filter_drop_bar=0.05)
    assert "filter_elements" not in by_key(weigh_levers(diagnosis(plant)))


def test_a_longer_timer_and_switching_are_not_added() -> None:
    case = diagnosis(made.plant(made.HEATLESS), margin=made.margin())
    longer = diagnosis(case.plant, margin=made.margin(sustained_s=Estimate(200.0, 100.0, 300.0)))
    object.__setattr__(longer.breakthrough, "recommended_half_cycle_s", 400.0)
    found = weigh_levers(longer)
    levers = by_key(found)
    assert levers["longer_timer"].energy_saved_kwh_per_year.value == pytest.approx(
        case.purge.energy_kwh_per_year.total.value * 0.25
    )
    assert found.together_kwh_per_year.value < (
        levers["switch_on_dew_point"].energy_saved_kwh_per_year.value
        + levers["longer_timer"].energy_saved_kwh_per_year.value
    )


def test_an_imbalance_is_worth_the_better_tower() -> None:
    plant = made.plant(made.HEATLESS)
    log = made.screened(plant)
    rhythm = made.cycle(log, 300.0)
    table = rhythm.half_cycles.copy()
    table.loc[table["tower"] == "B", "peak_dew_point_c"] = -52.0
    object.__setattr__(rhythm, "half_cycles", table)
    margin = made.margin(sustained_s=Estimate(200.0, 100.0, 300.0))
    found = by_key(weigh_levers(diagnosis(plant, log, rhythm, margin)))
    assert found["mended_imbalance"].needs_switching
    assert "vent both" in found["mended_imbalance"].caution


def test_breathing_air_is_offered_nothing() -> None:
    plant = made.plant(
        made.HEATLESS,
        site__air_use="breathing",
        dryer__pre_filter_drop_bar=0.4,
        measurement__pressure_bar_g=9.0,
        operation__pressure_at_use_bar_g=6.0,
    )
    found = weigh_levers(diagnosis(plant))
    assert found.levers == ()
    assert found.together_kwh_per_year is None
    assert "responsible person" in found.notes[0]


def test_unknown_load_is_said() -> None:
    plant = made.plant(made.HEATLESS, operation__flow_m3_min=None)
    found = weigh_levers(diagnosis(plant))
    assert found.levers == ()
    assert found.notes


def test_no_lever_is_negative() -> None:
    rng = np.random.default_rng(7)
    for _ in range(5):
        base = made.HEATLESS if rng.random() < 0.5 else made.HEATED
        plant = made.plant(base, operation__flow_m3_min=float(rng.uniform(0.1, 30.0)))
        for lever in weigh_levers(diagnosis(plant)).levers:
            assert lever.energy_saved_kwh_per_year.low >= 0.0
