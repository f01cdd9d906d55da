"""The average purge: best evidence first, depressurisation on top, energy at the meter."""

from __future__ import annotations

import json

import numpy as np
import pytest

from diagnostics.energy.purge import account_purge
from diagnostics.estimate import Estimate
from diagnostics.plant import load_plant
from tests.energy import made
from tests.shared_data import shared


def purge_of(plant, log=None, **cycle):
    log = log or made.screened(plant, flow=7.0)
    length = cycle.pop("half_cycle_s", plant.half_cycle_s)
    return account_purge(log, made.cycle(log, length, **cycle), plant)


def test_nameplate_and_vented_air_by_hand() -> None:
    # 15 % of 10 m3/min; 0.3 m3 x (0.39 + 0.61 x 0.5) x 7 bar x 293.15 / 303.15 every 5 min
    purge = purge_of(made.plant(made.HEATLESS))
    vented = 0.3 * (0.39 + 0.61 * 0.5) * 7.0 * 293.15 / 303.15 / 5.0
    assert purge.basis == "nameplate"
    assert purge.depressurisation_m3_min.value == pytest.approx(vented)
    assert purge.average_m3_min.value == pytest.approx(1.5 + vented)
    assert purge.share_of_rated.value == pytest.approx(purge.average_m3_min.value / 10.0)
    assert purge.share_of_inlet.value == pytest.approx(purge.average_m3_min.value / 7.0)


def test_energy_at_the_meter_by_hand() -> None:
    # load/unload with 25 % unloaded: 0.75 x 6.8 kW per m3/min
    purge = purge_of(made.plant(made.HEATLESS))
    kwh = purge.average_m3_min.value * 0.75 * 6.8 * 8000
    assert purge.energy_kwh_per_year.total.value == pytest.approx(kwh)
    assert purge.energy_kwh_per_year.air == pytest.approx(kwh)
    assert purge.cost_per_year.value == pytest.approx(0.15 * kwh)
    assert purge.power_kw.value == pytest.approx(kwh / 8000)


def test_heater_and_blower_add_up() -> None:
    plant = made.plant(made.HEATED, dryer__regeneration="blower_purge", dryer__blower_kw=5.0, dryer__blower_s=12240)
    energy = purge_of(plant).energy_kwh_per_year
    assert energy.heater == pytest.approx(18.0 * 8640 / 14400 * 8400)
    assert energy.blower == pytest.approx(5.0 * 12240 / 14400 * 8400)
    assert energy.total.value == pytest.approx(energy.air + energy.heater + energy.blower)


def test_share_while_purging_counts_the_purge_time() -> None:
    average = purge_of(made.plant(made.HEATLESS))
    plant = made.plant(made.HEATLESS, dryer__purge_share_means="while_purging", dryer__purge_s=200)
    part = purge_of(plant)
    plain = average.average_m3_min.value - average.depressurisation_m3_min.value
    assert part.average_m3_min.value - part.depressurisation_m3_min.value == pytest.approx(plain * 200 / 300)
    assert part.while_purging_m3_min.value == pytest.approx(1.5)


def test_purge_follows_absolute_line_pressure() -> None:
    low, high = (
        purge_of(made.plant(made.HEATLESS, measurement__pressure_bar_g=p, operation__pressure_bar_g=p))
        for p in (7.0, 9.0)
    )
    plain = [p.average_m3_min.value - p.depressurisation_m3_min.value for p in (low, high)]
    assert plain[1] / plain[0] == pytest.approx(10.01325 / 8.01325)


def test_dew_point_control_uses_the_same_air_per_regeneration() -> None:
    plant = made.plant(made.HEATLESS)
    timer, switched = purge_of(plant), purge_of(plant, half_cycle_s=900.0, control="dew_point")
    assert switched.average_m3_min.value == pytest.approx(timer.average_m3_min.value / 3)
    assert switched.half_cycle_s == pytest.approx(900.0)


def test_a_timer_unlike_its_nameplate_widens_the_interval() -> None:
    plant = made.plant(made.HEATLESS)
    as_stated, longer = purge_of(plant), purge_of(plant, half_cycle_s=600.0)
    assert longer.average_m3_min.low < 0.6 * as_stated.average_m3_min.value
    assert longer.average_m3_min.high >= 1.5


def test_orifice_goes_before_the_nameplate() -> None:
    # 6 mm, Cd 0.8, 7 bar g, 35 degC: 2.107 m3/min choked, computed
    plant = made.plant(made.HEATLESS, dryer__orifice_mm=6.0, operation__inlet_temperature_c=35.0)
    purge = purge_of(plant)
    assert purge.basis == "orifice"
    assert purge.while_purging_m3_min.value == pytest.approx(2.107, rel=1e-3)
    assert purge.average_m3_min.value - purge.depressurisation_m3_min.value == pytest.approx(2.107 * 0.8, rel=1e-3)
    assert purge.excess_share.value == pytest.approx(purge.average_m3_min.value / purge.nameplate_m3_min.value - 1)


def test_a_meter_goes_before_the_orifice() -> None:
    plant = made.plant(made.HEATLESS, dryer__orifice_mm=6.0)
    flow = np.where(np.arange(2880) % 5 < 4, 3.0, 0.0)
    purge = purge_of(plant, made.screened(plant, flow=7.0, purge_flow=flow))
    assert purge.basis == "measured"
    assert purge.average_m3_min.value - purge.depressurisation_m3_min.value == pytest.approx(2.4)
    assert purge.while_purging_m3_min.value == pytest.approx(3.0)
    assert purge.excess_share.low > 0.3


def test_gaps_in_the_meter_are_not_nought() -> None:
    plant = made.plant(made.HEATLESS)
    flow = np.full(2880, 2.0)
    flow[100:900] = np.nan
    purge = purge_of(plant, made.screened(plant, flow=7.0, purge_flow=flow))
    assert purge.average_m3_min.value - purge.depressurisation_m3_min.value == pytest.approx(2.0)


def test_type_default_is_wide_and_says_so() -> None:
    purge = purge_of(made.plant(made.HEATLESS, dryer__purge_share=None))
    assert purge.basis == "type_default"
    assert purge.average_m3_min.high / purge.average_m3_min.low > 1.5
    assert any("not given" in note for note in purge.notes)
    assert purge.excess_share is None


def test_published_shares_lie_within_the_type_default() -> None:
    # 15 to 20 % heatless (trade article, read), 10 to 18 % (handbook, from memory), half of that heated
    purge = purge_of(made.plant(made.HEATLESS, dryer__purge_share=None))
    plain = [e - purge.depressurisation_m3_min.value for e in (purge.average_m3_min.low, purge.average_m3_min.high)]
    assert plain[0] <= 0.11 * 10
    assert plain[1] >= 0.19 * 10


def test_nothing_known_is_said() -> None:
    plant = made.plant({"dryer": {"regeneration": "heatless"}})
    purge = purge_of(plant, made.screened(plant))
    assert purge.average_m3_min is None
    assert "rated_flow_m3_min" in purge.notes[0]


def test_no_flow_is_said_and_share_of_inlet_left_open() -> None:
    plant = made.plant(made.HEATLESS, operation__flow_m3_min=None)
    purge = purge_of(plant, made.screened(plant))
    assert purge.average_m3_min is not None
    assert purge.share_of_inlet is None
    assert any("flow" in note for note in purge.notes)


def test_a_flow_below_the_purge_contradicts_itself() -> None:
    plant = made.plant(made.HEATLESS)
    purge = purge_of(plant, made.screened(plant, flow=0.5))
    assert purge.share_of_inlet is None
    assert any("contradict" in note for note in purge.notes)


def test_a_clogged_silencer_is_noted() -> None:
    plant = made.plant(made.HEATLESS, dryer__regenerating_pressure_bar_g=0.5)
    clean, clogged = purge_of(made.plant(made.HEATLESS)), purge_of(plant)
    assert any("silencer" in note for note in clogged.notes)
    # Skarstrom's rule: 18.9 instead of 12.6 % of the feed at 7 bar g, computed
    assert clogged.least_m3_min.value == pytest.approx(1.8884348)
    assert clean.least_m3_min.value == pytest.approx(1.2644682)


def test_no_price_no_cost() -> None:
    assert purge_of(made.plant(made.HEATLESS, economics__electricity_price_per_kwh=None)).cost_per_year is None


def test_heat_of_compression_loses_no_air() -> None:
    plant = made.plant(made.HEATED, dryer__regeneration="heat_of_compression", dryer__purge_share=0.0)
    purge = purge_of(plant)
    assert purge.average_m3_min.value == 0.0
    assert purge.share_of_rated.value == 0.0


@pytest.mark.parametrize("name", ["control_inactive", "heated_purge", "heatless", "overload", "underloaded"])
def test_purge_of_the_invented_plants(name: str) -> None:
    # another dryer model's own purge; the interval has to hold all of its span
    folder = shared("examples", name)
    truth = json.loads((folder / "truth.json").read_text())
    plant = load_plant(folder / "plant.toml")
    low, high = truth["purge_m3_min"]
    log = made.screened(plant, hours=24)
    purge = purge_of(plant, log, half_cycle_s=truth["half_cycle_s"])
    assert purge.average_m3_min.low <= low
    assert high <= purge.average_m3_min.high
    assert purge.average_m3_min.value == pytest.approx((low + high) / 2, rel=0.05)


def test_hours_without_pressure_count_for_neither_flow_nor_pressure() -> None:
    plant = made.plant(made.HEATLESS)
    off = np.arange(2880) < 1440
    log = made.screened(plant, flow=np.where(off, 0.0, 7.0), pressure=np.where(off, 0.0, 7.0))
    working = purge_of(plant, made.screened(plant, flow=7.0, pressure=7.0))
    assert purge_of(plant, log).share_of_inlet.value == pytest.approx(working.share_of_inlet.value)


def test_a_timer_in_running_time_is_averaged_in_clock_time() -> None:
    plant = made.plant(made.HEATLESS)
    log = made.screened(plant, flow=7.0)
    rhythm = made.cycle(log, 450.0, counted_in="running_time")
    object.__setattr__(rhythm, "half_cycle_s", Estimate.exact(300.0))
    assert account_purge(log, rhythm, plant).half_cycle_s == pytest.approx(450.0)


def test_after_a_stop_the_purge_is_not_counted_on_in_silence() -> None:
    plant = made.plant(made.HEATLESS)
    log = made.screened(plant)
    middle = float(log.log.time_s[0] + 24 * 3600.0)
    purge = account_purge(log, made.cycle(log, 300.0, control="stopped", stopped_s=middle), plant)
    note = next(note for note in purge.notes if "last switchover" in note)
    assert "does not show" in note
    # open throughout 1.5 m3/min over 0.8 of the time it was; shut, half of the plate's 1.5 over the log
    assert "open, 1.88 m³/min" in note
    assert "is 0.75 m³/min" in note
