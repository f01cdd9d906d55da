"""What switching on dew point saves: by hand, against a slow twin that walks through the log, and at every limit."""

from __future__ import annotations

import json

import numpy as np
import pytest

from diagnostics.air.humidity import mixing_ratio_g_kg, moisture_fraction
from diagnostics.energy.extension import Bounds, half_cycles_s
from diagnostics.energy.heat import rated_heat_retention_s
from diagnostics.energy.load import binned, log_pattern
from diagnostics.energy.purge import account_purge
from diagnostics.energy.switching import switch_on_dew_point
from diagnostics.estimate import Estimate
from tests.energy import made
from tests.shared_data import shared


def switching_of(plant, log=None, margin=None, half_cycle_s=None, **cycle):
    log = log or made.screened(plant)
    rhythm = made.cycle(log, half_cycle_s or plant.half_cycle_s, **cycle)
    margin = margin or made.margin(Estimate.exact(1.2), reserve_from="log")
    return switch_on_dew_point(log, rhythm, margin, account_purge(log, rhythm, plant), plant)


def values(figures):
    return [None if e is None else e.value for e in vars(figures).values()]


def test_heatless_by_hand() -> None:
    # volume ratio 0.7 at equal pressure: 1.2 x 300 / 0.7, and a quarter of a look every 20 s
    plant = made.plant(made.HEATLESS, economics__co2_kg_per_kwh=0.25)
    switching = switching_of(plant)
    length = 1.2 * 300 / 0.7 + 5
    share = 1 - 300 / length
    purge = 1.5 + 0.3 * (0.39 + 0.61 * 0.5) * 7.0 * 293.15 / 303.15 / 5.0
    kwh = purge * share * 0.75 * 6.8 * 8000
    assert values(switching.figures) == pytest.approx([length, share, purge * share, kwh, 0.15 * kwh, 0.25 * kwh])
    assert switching.limited_by == "dew_point"
    assert switching.already_saved_share is None


def test_cool_inlet_air_earns_a_heatless_dryer_nothing() -> None:
    warm, cool = (
        switching_of(made.plant(made.HEATLESS, operation__inlet_temperature_c=t)).figures for t in (35.0, 20.0)
    )
    assert warm.half_cycle_s.value == pytest.approx(cool.half_cycle_s.value)


def test_heated_by_hand() -> None:
    # moisture load ratio by the mixing ratio of saturated air at inlet and rating
    plant = made.plant(made.HEATED)
    ratios = mixing_ratio_g_kg(moisture_fraction(np.array([28.0, 35.0]), 8.01325))
    load = 16.5 / 24.0 * ratios[0] / ratios[1]
    length = 1.2 * 14400 / load + 30
    figures = switching_of(plant).figures
    assert figures.half_cycle_s.value == pytest.approx(length)
    share = 1 - 14400 / length
    heater = 18.0 * 8640 / 14400 * 8400
    air = figures.purge_saved_m3_min.value * 0.7 * 6.3 * 8400
    assert figures.energy_saved_kwh_per_year.value == pytest.approx(air + heater * share)


def test_a_higher_line_pressure_lightens_the_volume_load() -> None:
    plant = made.plant(made.HEATLESS)
    at_7, at_9 = (switching_of(plant, made.screened(plant, pressure=p)).figures for p in (7.0, 9.0))
    stretch = (at_9.half_cycle_s.value - 5) / (at_7.half_cycle_s.value - 5)
    assert stretch == pytest.approx(10.01325 / 8.01325)


def test_the_longest_half_cycle_binds() -> None:
    plant = made.plant(made.HEATLESS, operation__flow_m3_min=1.0, dryer__longest_half_cycle_s=600)
    switching = switching_of(plant)
    assert switching.limited_by == "longest_half_cycle"
    assert switching.figures.half_cycle_s.value == pytest.approx(600)
    assert switching.figures.half_cycle_s.high == pytest.approx(600)
    assert switching.figures.regenerations_saved_share.value == pytest.approx(0.5)
    assert switching.uncapped_saved_share.value == pytest.approx(1 - 300 / (1.2 * 300 / 0.1 + 5))
    assert switching.time_at_longest_share == pytest.approx(1.0)


def test_a_full_dryer_is_offered_nothing() -> None:
    plant = made.plant(made.HEATLESS, operation__flow_m3_min=13.0)
    switching = switching_of(plant)
    assert switching.limited_by == "none_possible"
    assert values(switching.figures)[1:5] == [0.0, 0.0, 0.0, 0.0]
    assert switching.figures.half_cycle_s.value == pytest.approx(300)
    assert any("saves nothing" in note for note in switching.notes)
    assert any("limit is passed" in note for note in switching.notes)


def test_a_dryer_that_may_be_full_is_told_that_no_saving_can_be_counted_on() -> None:
    plant = made.plant(made.HEATLESS, operation__flow_m3_min=11.6)
    switching = switching_of(plant)
    share = switching.figures.regenerations_saved_share
    assert 0.02 < share.value < 0.06
    assert share.low == 0.0
    assert switching.limited_by == "none_possible"
    assert any("perhaps none" in note for note in switching.notes)


def test_a_heatless_dryer_that_passes_its_limit_at_every_turn_saves_nothing_whatever_its_reserve() -> None:
    switching = switching_of(made.plant(made.HEATLESS), peak_c=-35.0)
    share = switching.figures.regenerations_saved_share
    assert (share.low, share.value, share.high) == (0.0, 0.0, 0.0)
    assert switching.limited_by == "none_possible"


def test_the_ends_of_a_short_log_widen_the_counted_share() -> None:
    plant = made.plant(made.HEATED)
    short, long = (
        switching_of(plant, made.screened(plant, hours=hours)).figures.regenerations_saved_share for hours in (24, 480)
    )
    assert short.value == pytest.approx(long.value, rel=0.01)
    assert short.high - short.low > long.high - long.low


def test_a_shorter_shortest_half_cycle_never_turns_into_a_negative_saving() -> None:
    plant = made.plant(made.HEATLESS, operation__flow_m3_min=20.0, dryer__shortest_half_cycle_s=120)
    share = switching_of(plant).figures.regenerations_saved_share
    assert (share.low, share.value, share.high) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("use", ["medical", "breathing"])
def test_air_for_people_is_offered_nothing(use: str) -> None:
    switching = switching_of(made.plant(made.HEATLESS, site__air_use=use))
    assert switching.limited_by == "air_use"
    assert values(switching.figures) == [None] * 6
    assert values(switching.cautious) == [None] * 6
    assert "responsible person" in switching.notes[0]


def test_a_dryer_that_already_switches_on_dew_point() -> None:
    plant = made.plant(made.HEATLESS)
    switching = switching_of(plant, half_cycle_s=900.0, control="dew_point")
    assert switching.already_saved_share.value == pytest.approx(2 / 3)
    assert switching.figures.half_cycle_s.value == pytest.approx(900.0)
    assert values(switching.figures)[1:5] == [0.0, 0.0, 0.0, 0.0]
    assert switching.limited_by == "dew_point"


@pytest.mark.parametrize(("set_point_c", "share"), [(-41.0, 0.0), (-52.0, 0.30)])
def test_a_set_point_well_below_the_limit_leaves_something_to_save(set_point_c: float, share: float) -> None:
    # 12.84 and 3.07 Pa over ice (published tables, from memory): the fourth root of their ratio is 0.70.
    plant = made.plant(made.HEATLESS)
    found = Estimate(set_point_c, set_point_c - 2.0, set_point_c + 2.0)
    switching = switching_of(plant, half_cycle_s=900.0, control="dew_point", set_point_c=found)
    further = switching.figures.regenerations_saved_share
    assert (further.value, further.low) == (0.0, 0.0)
    assert further.high == pytest.approx(share, abs=0.02)
    assert ("a set point at the limit might save" in switching.notes[0]) == (share > 0.0)


@pytest.mark.parametrize(("end_c", "perhaps"), [(-39.0, True), (-33.0, False)])
def test_a_limit_that_is_always_passed_saves_nothing_as_far_as_the_probe_can_tell(end_c: float, perhaps: bool) -> None:
    plant = made.plant(made.HEATLESS)
    share = switching_of(plant, peak_c=end_c).figures.regenerations_saved_share
    assert (share.value, share.low) == (0.0, 0.0)
    assert (share.high > 0.0) == perhaps


def test_one_at_its_cap_says_so() -> None:
    plant = made.plant(made.HEATLESS)
    assert switching_of(plant, half_cycle_s=1800.0, control="dew_point").limited_by == "longest_half_cycle"


def test_unresolved_rests_on_the_nameplate_and_says_so() -> None:
    plant = made.plant(made.HEATLESS)
    switching = switching_of(plant, margin=made.margin(), resolved=False)
    assert switching.figures.half_cycle_s.value == pytest.approx(1.25 * 300 / 0.7 + 5)
    assert any("nameplate" in note for note in switching.notes)


@pytest.mark.parametrize("lacking", ["dryer__rated_flow_m3_min", "operation__flow_m3_min"])
def test_unknown_load_is_said(lacking: str) -> None:
    plant = made.plant(made.HEATLESS, **{lacking: None})
    switching = switching_of(plant)
    assert values(switching.figures) == [None] * 6
    assert "cannot be told" in switching.notes[0]


def test_flow_told_from_power_is_never_silent() -> None:
    plant = made.plant(made.HEATLESS, operation__flow_m3_min=None, compressor__rated_flow_m3_min=12.0)
    log = made.screened(plant, power=60.0)
    switching = switching_of(plant, log)
    purge = account_purge(log, made.cycle(log, 300.0), plant)
    assert switching.figures.half_cycle_s is not None
    assert any("power" in note for note in purge.notes)
    assert purge.share_of_inlet.high / purge.share_of_inlet.low > 1.5


def test_no_price_and_no_factor_leave_those_open() -> None:
    figures = switching_of(made.plant(made.HEATLESS, economics__electricity_price_per_kwh=None)).figures
    assert figures.energy_saved_kwh_per_year.value > 0
    assert figures.cost_saved_per_year is None
    assert figures.co2_saved_kg_per_year is None


def test_the_exhaust_temperature_saves_less_heat() -> None:
    # a bed at half load: only bed and steel of each regeneration avoided are saved
    ends = ("time", "exhaust_temperature")
    by_time, by_exhaust = (switching_of(made.plant(made.HEATED, dryer__heating_ends_by=end)).figures for end in ends)
    assert by_time.purge_saved_m3_min.value == pytest.approx(by_exhaust.purge_saved_m3_min.value)
    assert 0.4 < by_exhaust.energy_saved_kwh_per_year.value / by_time.energy_saved_kwh_per_year.value < 0.95


def test_cautious_saves_less() -> None:
    for base in (made.HEATLESS, made.HEATED):
        switching = switching_of(made.plant(base), margin=made.margin(sustained_s=Estimate(200.0, 100.0, 300.0)))
        for central, cautious in zip(values(switching.figures)[:5], values(switching.cautious)[:5], strict=True):
            assert cautious <= central


def test_cautious_keeps_the_heat_in_a_heatless_bed() -> None:
    # thermal wave of a compact bed: the half-cycle at half flow stays below twice the rated retention
    plant = made.plant(made.HEATLESS, dryer__desiccant_mass_kg=85.0, operation__flow_m3_min=1.0)
    switching = switching_of(plant)
    kept = rated_heat_retention_s(plant) / 0.1
    assert switching.cautious.half_cycle_s.value == pytest.approx(min(kept, 1800.0))
    heated = made.plant(made.HEATED, dryer__desiccant_mass_kg=85.0, operation__flow_m3_min=1.0)
    assert switching_of(heated).cautious.half_cycle_s.value == pytest.approx(86400.0)


def test_the_profile_stands_for_the_year_and_the_log_for_the_share() -> None:
    profile = [{"hours": 4000, "flow_m3_min": 9.0}, {"hours": 4000, "flow_m3_min": 3.0}]
    plain, blocks = (switching_of(made.plant(made.HEATLESS, **extra)) for extra in ({}, {"profile": profile}))
    assert blocks.year_from == "profile"
    shared_share = [s.figures.regenerations_saved_share.value for s in (plain, blocks)]
    assert shared_share[0] == pytest.approx(shared_share[1])
    lengths = np.array([1.2 * 300 / 0.9 + 5, 1.2 * 300 / 0.3 + 5])
    plant = made.plant(made.HEATLESS)
    log = made.screened(plant)
    purge = account_purge(log, made.cycle(log, 300.0), plant)
    share = 1 - 300 * np.mean(1 / lengths)
    assert blocks.figures.purge_saved_m3_min.value == pytest.approx(purge.average_m3_min.value * share)


def test_a_short_log_leaves_the_year_wider_than_a_long_one() -> None:
    plant = made.plant(made.HEATLESS)
    short, long = (switching_of(plant, made.screened(plant, hours=h, interval_s=600)) for h in (24, 24 * 28))
    width = [(e.high - e.low) / e.value for e in (s.figures.purge_saved_m3_min for s in (short, long))]
    assert width[0] > 1.1 * width[1]
    assert any("not in the log" in note for note in short.notes)


def test_savings_by_night_are_priced_by_night() -> None:
    tariff = [{"price_per_kwh": 0.30, "from": "06:00:00", "to": "22:00:00"}]
    economics = {"tariff": tariff, "electricity_price_per_kwh": 0.10}
    plant = made.plant({**made.HEATLESS, "economics": economics})
    hour = (8 + np.arange(2880) / 60) % 24
    by_night = made.screened(plant, flow=np.where((hour >= 6) & (hour < 22), 14.0, 2.0))
    assert switching_of(plant, by_night).price_per_kwh == pytest.approx(0.10)


def test_the_peak_saves_least() -> None:
    plant = made.plant(made.HEATLESS)
    log = made.screened(plant, flow=np.where(np.arange(2880) < 360, 13.0, 5.0))
    switching = switching_of(plant, log)
    mean_kw = switching.figures.energy_saved_kwh_per_year.value / 8000
    assert switching.power_saved_at_peak_kw.value < mean_kw


def test_drivers_name_the_bed_first_where_only_the_rating_speaks() -> None:
    switching = switching_of(made.plant(made.HEATLESS), margin=made.margin())
    assert switching.drivers[0][0] in ("what the bed holds", "load over the year", "power per saved air")
    for _, low, high in switching.drivers:
        assert low <= switching.figures.energy_saved_kwh_per_year.value <= high


# -- a slow twin: walks through the log reading by reading, switches when the water taken up reaches what the bed holds


def walked_share(load, interval_s, held_s, bounds: Bounds) -> float:
    """Regenerations saved by a controller that sees the load as it comes."""
    count, since, taken, waited = 0.0, 0.0, 0.0, None
    for ratio in load:
        since += interval_s
        taken += ratio * interval_s
        if taken >= held_s and waited is None:
            waited = since
        due = waited is not None and since >= waited + bounds.detection_s
        if (due and since >= bounds.shortest_s) or since >= bounds.longest_s:
            count, since, taken, waited = count + 1.0, 0.0, 0.0, None
    span = load.size * interval_s
    unfinished = since / max(bounds.shortest_s, held_s / max(load[-1], 1e-6))
    return 1.0 - (count + min(unfinished, 1.0)) * bounds.today_s / span


@pytest.mark.parametrize("seed", range(6))
def test_harmonic_mean_against_the_walk(seed: int) -> None:
    rng = np.random.default_rng(seed)
    time_h = np.arange(8640) / 360.0
    load = np.clip(0.5 + 0.3 * np.sin(2 * np.pi * time_h / 24) + rng.normal(0, 0.1, 8640), 0.02, None)
    bounds = Bounds(300.0, 300.0, 1500.0, 20.0)
    pattern = binned(load, np.ones(load.size), load)
    often = float((1 / half_cycles_s(np.array([360.0]), pattern, bounds) @ pattern.weight)[0])
    assert 1 - 300.0 * often == pytest.approx(walked_share(load, 10.0, 360.0, bounds), abs=0.02)


def test_intervals_cover_the_truth_of_simulated_plants() -> None:
    # reserve anywhere in its prior, meters off by up to their tolerance: 95 % intervals have to hold most truths
    rng = np.random.default_rng(20)
    covered, plants = 0, 50
    for _ in range(plants):
        heatless = rng.random() < 0.5
        base = made.HEATLESS if heatless else made.HEATED
        plant = made.plant(base)
        rated, length = plant.dryer.rated_flow_m3_min, plant.half_cycle_s
        hours, interval = (24.0, 60.0) if heatless else (96.0, 300.0)
        n = round(hours * 3600 / interval)
        shape = 1 + 0.3 * np.sin(2 * np.pi * np.arange(n) * interval / 86400)
        flow = np.clip(rated * rng.uniform(0.3, 0.8) * shape * (1 + rng.normal(0, 0.05, n)), 0.01, None)
        logged = made.screened(plant, hours=hours, interval_s=interval, flow=flow * (1 + rng.normal(0, 0.025)))
        true = made.screened(plant, hours=hours, interval_s=interval, flow=flow)
        share = switching_of(plant, logged, made.margin()).figures.regenerations_saved_share
        pattern = log_pattern(true, plant)
        dryer = plant.dryer
        bounds = Bounds(length, length, dryer.longest_half_cycle_s, 20.0 if heatless else 60.0)
        held = rng.uniform(1.0, 1.5) * length
        often = float((1 / half_cycles_s(np.array([held]), pattern, bounds) @ pattern.weight)[0])
        truth = max(0.0, 1 - length * often)
        covered += share.low - 1e-9 <= truth <= share.high + 1e-9
    assert covered >= 0.9 * plants


@pytest.mark.parametrize("name", ["heated_purge", "heatless", "reserve_heated", "reserve_heatless", "underloaded"])
def test_saving_of_the_invented_plants(name: str) -> None:
    # another dryer model's own saving; the whole path is run, and the intervals have to reach its span to a hundredth
    from diagnostics.bed.breakthrough import margin_to_breakthrough
    from diagnostics.cycle.half_cycles import segment
    from diagnostics.log.reading import read_log
    from diagnostics.log.screening import screen
    from diagnostics.plant import load_plant

    folder = shared("examples", name)
    truth = json.loads((folder / "truth.json").read_text())
    plant = load_plant(folder / "plant.toml")
    log = screen(read_log([folder / "log.csv"], plant), plant)
    rhythm = segment(log, plant)
    margin = margin_to_breakthrough(log, rhythm, plant)
    switching = switch_on_dew_point(log, rhythm, margin, account_purge(log, rhythm, plant), plant)
    assert switching.limited_by in truth["limited_by"]
    shares = (switching.figures.regenerations_saved_share, switching.uncapped_saved_share)
    for ours, (low, high) in zip(shares, (truth["saved_share"], truth["saved_share_uncapped"]), strict=True):
        assert ours.low - 0.01 <= high
        assert low <= ours.high + 0.01
    low, high = truth["extended_half_cycle_s"]
    assert switching.figures.half_cycle_s.low <= 1.01 * high
    assert 0.99 * low <= switching.figures.half_cycle_s.high
