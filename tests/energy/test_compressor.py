"""From saved air to saved power, by control, pool, pressure and log."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.air.compression import power_ratio
from diagnostics.energy.compressor import flow_from_power, marginal_power
from diagnostics.energy.load import mean_flow_m3_min, with_known_flow
from diagnostics.energy.part_load import pool_kw, power_share
from diagnostics.energy.running_hours import flow_from_hours
from diagnostics.plant_file import Compressor
from tests.energy import made


@pytest.mark.parametrize(
    ("control", "slope"),
    [("inlet_modulation", 0.3), ("load_unload", 0.75), ("variable_speed", 0.9), ("start_stop", 1.0)],
)
def test_slope_by_control(control: str, slope: float) -> None:
    marginal = marginal_power(made.plant(made.HEATLESS, compressor__control=control))
    assert marginal.kw_per_m3_min.value == pytest.approx(slope * 6.8)
    assert marginal.basis == "control"
    assert not marginal.notes


def test_without_compressor_the_energy_is_a_band() -> None:
    # slope 0.3 to 1.0 and 5.8 to 9 kW per m3/min (common practice, no published source)
    marginal = marginal_power(made.plant(made.HEATLESS, compressor=None))
    band = marginal.kw_per_m3_min.estimate()
    assert band.low < 0.33 * 6.8
    assert band.high > 6.8
    assert {a.key for a in marginal.assumptions} == {"compressor.specific_power_kw_per_m3_min", "compressor.control"}
    assert len(marginal.notes) == 2


def test_known_power_but_unknown_control_spans_the_slopes() -> None:
    band = marginal_power(made.plant(made.HEATLESS, compressor__control=None)).kw_per_m3_min.estimate()
    assert band.low <= 0.31 * 6.8
    assert band.high >= 0.99 * 6.8


def test_pressure_corrects_by_isentropic_work() -> None:
    at_9 = made.plant(made.HEATLESS, measurement__pressure_bar_g=9.0)
    ratio = marginal_power(at_9).kw_per_m3_min.value / marginal_power(made.plant(made.HEATLESS)).kw_per_m3_min.value
    assert ratio == pytest.approx(power_ratio(10.01325, 8.01325))


def pool(*machines: tuple[str, float, str, str]) -> dict:
    names = ("role", "rated_flow_m3_min", "control")
    tables = [
        {**dict(zip(names, m[:3], strict=True)), "specific_power_kw_per_m3_min": 6.5, "unloaded_power_share": 0.3}
        for m in machines
    ]
    return {**{k: v for k, v in made.HEATLESS.items() if k != "compressor"}, "compressors": tables}


def test_a_pool_saves_at_its_trim_machine() -> None:
    plant = made.plant(pool(("base", 5.0, "load_unload"), ("trim", 5.0, "variable_speed")))
    log = made.screened(plant, flow=8.0)
    marginal = marginal_power(plant, log, 1.0)
    assert marginal.basis == "pool"
    assert marginal.kw_per_m3_min.value == pytest.approx(0.9 * 6.5)


def test_a_saving_that_stops_a_machine_saves_its_idling_too() -> None:
    plant = made.plant(pool(("base", 5.0, "load_unload"), ("trim", 5.0, "load_unload")))
    log = made.screened(plant, flow=5.5)
    marginal = marginal_power(plant, log, 1.0)
    # trim at 0.5 of 5: 0.3 + 0.7 x 0.1 of 32.5 kW, then off; base 5 -> 4.5: 0.7 x 0.1 of 32.5 kW; over 1 m3/min
    assert marginal.kw_per_m3_min.value == pytest.approx(32.5 * (0.37 + 0.07))


def test_base_machines_fill_first() -> None:
    machines = [
        Compressor(role="trim", rated_flow_m3_min=5.0, specific_power_kw_per_m3_min=6.0, control="variable_speed"),
        Compressor(role="base", rated_flow_m3_min=10.0, specific_power_kw_per_m3_min=7.0, control="load_unload"),
    ]
    power = pool_kw([0.0, 10.0, 15.0, 99.0], machines)
    assert power == pytest.approx([0.0, 70.0, 100.0, 100.0])


def test_logged_power_calibrates_the_slope() -> None:
    rng = np.random.default_rng(3)
    plant = made.plant(made.HEATLESS)
    flow = 7.0 + 2.0 * np.sin(np.arange(2880) / 1440 * 2 * np.pi) + rng.normal(0, 0.1, 2880)
    log = made.screened(plant, flow=flow, power=20.0 + 4.2 * flow + rng.normal(0, 1.0, 2880))
    marginal = marginal_power(plant, log)
    band = marginal.kw_per_m3_min.estimate()
    assert marginal.basis == "log"
    assert band.low < 4.2 < band.high
    assert band.high - band.low < 0.25 * 4.2


@pytest.mark.parametrize("spread", [0.0, 0.05])
def test_power_that_hardly_varies_calibrates_nothing(spread: float) -> None:
    rng = np.random.default_rng(4)
    plant = made.plant(made.HEATLESS)
    flow = 7.0 + spread * rng.normal(0, 1, 2880)
    log = made.screened(plant, flow=flow, power=50.0 + rng.normal(0, 1, 2880))
    assert marginal_power(plant, log).basis == "control"


def test_flow_told_from_power() -> None:
    plant = made.plant(made.HEATLESS, compressor__rated_flow_m3_min=12.0, operation__flow_m3_min=None)
    share = np.linspace(0.2, 1.0, 2880)
    log = made.screened(plant, power=12.0 * 6.8 * power_share(share, "load_unload", 0.25))
    assert flow_from_power(log, plant) == pytest.approx(12.0 * share, rel=1e-3)


def test_flow_stays_unknown_without_a_described_compressor() -> None:
    plant = made.plant(made.HEATLESS)
    assert flow_from_power(made.screened(plant, power=40.0), plant) is None


def test_impossible_part_load_is_refused() -> None:
    with pytest.raises(ValueError, match="flow_share"):
        power_share(1.2, "load_unload")
    with pytest.raises(ValueError, match="control"):
        power_share(0.5, "magic")


def test_a_heaters_power_is_not_taken_for_the_compressors() -> None:
    plant = made.plant(made.HEATED, compressor__rated_flow_m3_min=30.0, operation__flow_m3_min=None)
    assert flow_from_power(made.screened(plant, power=18.0), plant) is None


def test_a_speed_controlled_machine_below_its_lowest_speed_stops_and_starts() -> None:
    # below a quarter of its flow: (0.1 + 0.9 x 0.25) / 0.25 = 1.3 of the specific power per m3/min, above it 0.9
    slow, fast = (
        made.plant(made.HEATLESS, compressor__control="variable_speed", compressor__rated_flow_m3_min=flow)
        for flow in (40.0, 12.0)
    )
    below, above = (marginal_power(plant, made.screened(plant, flow=7.0), 1.0) for plant in (slow, fast))
    assert below.kw_per_m3_min.value == pytest.approx(1.3 * 6.8)
    assert any("lowest speed" in note for note in below.notes)
    assert above.kw_per_m3_min.value == pytest.approx(0.9 * 6.8)
    assert not above.notes


def test_a_flow_range_told_from_hours_under_load() -> None:
    changes = {"compressor__rated_flow_m3_min": 12.0, "operation__flow_m3_min": None}
    plant = made.plant(made.HEATLESS, **changes, compressor__loaded_hours_per_year=4000.0)
    flow = flow_from_hours(plant)
    # 12 m3/min in 4,000 of 8,000 hours, as an hour meter counts.
    assert flow.value == pytest.approx(6.0)
    assert flow.low < 5.0 < 7.0 < flow.high
    screened, notes = with_known_flow(made.screened(plant), plant)
    assert screened.conditions.flow_m3_min == pytest.approx(6.0)
    assert any("loaded hours" in note and "4.6 to 7.8" in note for note in notes)
    mean = mean_flow_m3_min(screened).estimate()
    assert (mean.low, mean.high) == pytest.approx((flow.low, flow.high), rel=0.02)


def test_running_hours_tell_less_than_hours_under_load() -> None:
    changes = {"compressor__rated_flow_m3_min": 12.0, "operation__flow_m3_min": None}
    loaded = flow_from_hours(made.plant(made.HEATLESS, **changes, compressor__loaded_hours_per_year=4000.0))
    running = flow_from_hours(made.plant(made.HEATLESS, **changes, compressor__running_hours_per_year=4000.0))
    assert running.value < loaded.value
    assert running.high / running.low > loaded.high / loaded.low
    without = made.plant(made.HEATLESS, **changes)
    assert flow_from_hours(without) is None
    _, notes = with_known_flow(made.screened(without), without)
    assert any("loaded_hours_per_year" in note for note in notes)
