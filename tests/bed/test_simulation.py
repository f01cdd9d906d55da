"""Logs from the bed model: repeatable, true to their truth, ready to be read, and each fault does what it says."""

from __future__ import annotations

import datetime as dt
import io

import numpy as np
import pandas as pd
import pytest

from diagnostics.air.humidity import dew_point_c, moisture_fraction
from diagnostics.bed import simulation
from diagnostics.bed.faults import FAULTS
from diagnostics.bed.instrument import Instrument
from diagnostics.bed.isotherm import TOTH_5A, Desiccant
from diagnostics.bed.load_profile import load_profile
from diagnostics.bed.simulation import simulate
from diagnostics.bed.vessel import dryer_from
from diagnostics.errors import InputError, UsageError
from diagnostics.plant import Plant, plant_from
from tests.bed import nameplates

DEW = "Dew point [°C]"


def _plant(flow_m3_min: float = 17.0, **dryer: object) -> Plant:
    return plant_from(
        {
            "site": {"name": "Test (invented)", "timezone": "Europe/Berlin"},
            "dryer": {"regeneration": "heatless", "rated_flow_m3_min": 20.0, "half_cycle_s": 300, **dryer},
            "operation": {"flow_m3_min": flow_m3_min, "inlet_temperature_c": 33.0, "pressure_bar_g": 7.0},
        }
    )


def _heated(**dryer: object) -> Plant:
    settings = {"purge_share": 0.12, "purge_share_means": "while_purging", "purge_s": 13500, "heater_s": 8640}
    return _plant(regeneration="heated_purge", rated_flow_m3_min=24.0, half_cycle_s=14400, **settings | dryer)


def test_same_seed_same_log_other_seed_another():
    one, truth = simulate(_plant(), days=0.1, seed=3)
    again, same = simulate(_plant(), days=0.1, seed=3)
    other, _ = simulate(_plant(), days=0.1, seed=4)
    pd.testing.assert_frame_equal(one, again)
    assert truth == same
    assert not one.equals(other)


def test_the_table_is_a_log_with_the_truth_s_rhythm():
    log, truth = simulate(_plant(), days=0.25, seed=1)
    assert list(log)[:2] == ["Time", DEW]
    assert len(log) == truth["samples"] == 2160
    assert log[DEW].notna().all()
    lengths = np.diff([at for at, _ in truth["switchovers"]])
    assert np.ptp(lengths) < 0.01
    assert lengths[0] == pytest.approx(300.0, rel=0.01)
    assert [tower for _, tower in truth["switchovers"][:4]] in (["A", "B", "A", "B"], ["B", "A", "B", "A"])
    text = log.to_csv(index=False)
    assert pd.read_csv(io.StringIO(text)).shape == log.shape
    stamps = pd.to_datetime(log["Time"])
    assert stamps.diff().dropna().eq(pd.Timedelta(seconds=10)).all()


def test_start_and_interval_are_taken():
    start = dt.datetime(2026, 7, 1, 8, 0)
    log, truth = simulate(_heated(), days=0.2, seed=1, interval_s=120.0, start=start)
    assert log["Time"].iloc[0] == "2026-07-01 08:00:00"
    assert truth["interval_s"] == 120.0
    assert len(log) == 144


def test_purge_is_the_nameplate_s_with_depressurisation():
    _, truth = simulate(_plant(purge_share=0.15, vessel_volume_m3=0.4), days=0.2, seed=2)
    # 15 % of 20 m3/min, and 0.4 m3 x 0.69 x 7 bar once in five minutes (about 0.37 m3/min at bed temperature).
    assert truth["purge_m3_min"] == pytest.approx(3.0 + 0.37, abs=0.1)


def test_unknown_faults_and_impossible_lengths_are_refused():
    with pytest.raises(UsageError, match="no fault 'gremlin'"):
        simulate(_plant(), days=1.0, faults=["gremlin"])
    with pytest.raises(InputError, match="out of range"):
        simulate(_plant(), days=0.0)
    with pytest.raises(InputError, match="rated_flow_m3_min"):
        simulate(plant_from({}), days=1.0)


def test_dew_point_control_switches_at_its_set_point():
    _, truth = simulate(_heated(control="dew_point", longest_half_cycle_s=86400), days=3.0, seed=1)
    assert truth["control"] == ["dew_point"]
    peaks = [tower["peak_dew_point_c"] for tower in truth["towers"].values()]
    assert np.allclose(peaks, -40.0, atol=1.5)
    lengths = np.diff([at for at, _ in truth["switchovers"]])
    assert lengths.min() >= 14400.0 * 0.99


def test_control_that_fell_back_runs_on_the_timer():
    _, truth = simulate(_heated(control="dew_point"), days=1.0, seed=1, faults=["control_fallback"])
    assert truth["control"] == ["fixed"]
    assert truth["half_cycle_s"] == pytest.approx(14400.0, rel=0.01)
    assert truth["finding_codes_due"] == ["control_inactive"]


def test_stopped_switching_ends_the_switchovers():
    log, truth = simulate(_plant(20.0), days=1.2, seed=1, faults=["stopped_switching"], interval_s=60.0)
    stop = truth["onsets"]["stopped_switching"]
    assert truth["switchovers"][-1][0] <= stop
    assert truth["control"] == ["stopped"]
    after = int((stop - truth["start"]) / 60.0)
    assert log[DEW].iloc[-20:].median() > log[DEW].iloc[after + 60 : after + 120].median()


@pytest.mark.parametrize("name", [n for n, f in FAULTS.items() if f.kind == "hardware" and n != "excess_purge"])
def test_faults_of_the_hardware_wet_the_air(name):
    heated = name in ("dead_heater", "lost_capacity")
    plant, days = (_heated(), 2.0) if heated else (_plant(21.0), 0.5)
    sound, _ = simulate(plant, days=days, seed=1, interval_s=60.0)
    sick, truth = simulate(plant, days=days, seed=1, faults=[name], interval_s=60.0)
    late = slice(int(0.75 * len(sound)), None)
    assert sick[DEW].iloc[late].max() > sound[DEW].iloc[late].max() + 0.3
    fault = FAULTS[name]
    if fault.onset_share > 0.0:
        before = slice(0, int(0.95 * fault.onset_share * len(sound)))
        assert sick[DEW].iloc[before].to_numpy() == pytest.approx(sound[DEW].iloc[before].to_numpy(), abs=0.02)
        assert truth["onsets"][name] > truth["start"]


def _near_its_front() -> Plant:
    """Heated, its front just short of the outlet at the end of a half-cycle."""
    return plant_from(
        {
            "site": {"name": "Test (invented)", "timezone": "Europe/Berlin"},
            "dryer": nameplates.heated(300.0),
            "operation": {"flow_m3_min": 16.5, "inlet_temperature_c": 33.0, "pressure_bar_g": 7.0},
        }
    )


def _late_peaks_c(log: pd.DataFrame, truth: dict) -> dict[str, float]:
    """Highest dew point past the spike, by tower, over the last third of the log."""
    stamps = truth["start"] + truth["interval_s"] * np.arange(len(log))
    peaks: dict[str, float] = {}
    for (begin, tower), (end, _) in zip(truth["switchovers"], truth["switchovers"][1:], strict=False):
        inside = (stamps > begin + 0.3 * (end - begin)) & (stamps <= end)
        if begin > truth["start"] + 0.6 * (truth["end"] - truth["start"]):
            peaks[tower] = max(peaks.get(tower, -100.0), float(log[DEW][inside].max()))
    return peaks


@pytest.mark.parametrize(
    ("name", "both"),
    [
        ("slow_kinetics", True),
        ("leaking_valve", True),
        ("bypass_leak", True),
        ("weak_purge", True),
        ("dead_heater", False),
        ("tower_imbalance", False),
    ],
)
def test_faults_of_a_heated_dryer_have_their_signature(name, both):
    # What sits before, around or in both beds wets both towers' half-cycles; what one tower's regeneration lacks wets
    # that tower's alone, or far more (fault signatures from memory of the trade, no published source).
    sound = _late_peaks_c(*simulate(_near_its_front(), days=1.5, seed=1))
    sick = _late_peaks_c(*simulate(_near_its_front(), days=1.5, seed=1, faults=[name]))
    wetter = {tower: sick[tower] - sound[tower] for tower in "AB"}
    if both:
        assert min(wetter.values()) > 2.0
    else:
        assert wetter["B"] > max(2.0, 2.0 * wetter["A"])


def test_faults_of_the_purge_are_due_where_a_meter_shows_them():
    plant = _plant(purge_share=0.15, vessel_volume_m3=0.4)
    log, truth = simulate(plant, days=0.2, seed=2, faults=["excess_purge"], channels=["purge_flow"])
    # 1.5 of 15 % of 20 m3/min; what is blown down does not pass the meter.
    assert log["Purge flow [m3/min]"].mean() == pytest.approx(1.5 * 3.0, rel=0.03)
    assert truth["finding_codes_due"] == ["purge_excess"]
    without, unseen = simulate(plant, days=0.2, seed=2, faults=["excess_purge"])
    assert "Purge flow [m3/min]" not in without
    assert unseen["finding_codes_due"] == []
    _, weak = simulate(plant, days=0.2, seed=2, faults=["weak_purge"], channels=["purge_flow"])
    assert weak["finding_codes_due"] == ["purge_short"]
    # Back pressure of a silencer shows in no channel: the purge through a choked orifice stays what it was.
    _, clogged = simulate(plant, days=0.2, seed=2, faults=["clogged_silencer"], channels=["purge_flow"])
    assert clogged["finding_codes_due"] == []
    with pytest.raises(UsageError, match="no channel 'gremlin'"):
        simulate(plant, days=0.2, channels=["gremlin"])


def test_a_reading_that_sits_at_the_end_of_its_range_is_in_the_truth():
    probe = Instrument(range_c=(-100.0, -65.0))
    log, truth = simulate(_plant(20.0), days=0.15, seed=1, interval_s=30.0, instrument=probe)
    assert log[DEW].max() == -65.0
    begin, end, reason = next(span for span in truth["excluded"] if span[2] == "range_end")
    assert reason == "range_end"
    assert end - begin >= 1800.0
    assert truth["finding_codes_due"] == ["sensor_range_end"]


def test_progress_is_told_as_the_log_grows():
    told: list[str] = []
    simulate(_plant(), days=0.05, seed=1, interval_s=60.0, progress=told.append)
    assert told[0] == "letting the beds settle"
    assert told[-1] == "reading the probe"
    shares = [step for step in told if step.endswith("% of the log")]
    assert shares[0] == "running the dryer, 5 % of the log"
    assert len(shares) == len(set(shares)) == 19


def test_underload_is_a_third_of_the_rating():
    log, truth = simulate(_plant(), days=0.1, seed=1, faults=["underload"], interval_s=60.0)
    assert log["Flow [m3/min]"].mean() == pytest.approx(0.35 * 20.0, rel=0.08)
    assert truth["finding_codes_due"] == ["excess_regeneration"]


def test_bypass_of_a_known_share_is_the_mixing_rule():
    # y = (1 - f) y_dry + f y_in with f = 0.15 % of air saturated at the inlet's temperature.
    log, _ = simulate(_plant(), days=0.25, seed=1, faults=["bypass_leak"], interval_s=60.0)
    wet = moisture_fraction(log["Inlet temperature [°C]"].iloc[-60:].mean(), 8.01325)
    dry = moisture_fraction(log[DEW].iloc[:60].mean(), 8.01325)
    mixed = dew_point_c(0.9985 * dry + 0.0015 * wet, 8.01325)
    assert log[DEW].iloc[-60:].median() == pytest.approx(mixed, abs=0.3)


@pytest.mark.parametrize("name", [n for n, f in FAULTS.items() if f.kind in ("instrument", "log")])
def test_faults_of_measuring_leave_the_dryer_alone(name):
    sound, healthy = simulate(_plant(), days=0.15, seed=2, interval_s=30.0)
    sick, truth = simulate(_plant(), days=0.15, seed=2, faults=[name], interval_s=30.0)
    assert truth["switchovers"] == healthy["switchovers"]
    assert not sick.equals(sound)


def test_carryover_is_sudden_and_recovers_slowly():
    log, truth = simulate(_plant(20.0), days=0.6, seed=5, faults=["liquid_carryover"], interval_s=60.0)
    onset = int((truth["onsets"]["liquid_carryover"] - truth["start"]) / 60.0)
    before = log[DEW].iloc[onset - 60 : onset].max()
    assert log[DEW].iloc[onset : onset + 240].max() > before + 3.0


def test_a_timer_counted_in_running_time_stands_with_the_compressor():
    log, truth = simulate(_plant(), days=0.15, seed=2, counted_in="running_time")
    lengths = np.diff([at for at, _ in truth["switchovers"]])
    assert truth["counted_in"] == "running_time"
    assert np.ptp(lengths) > 100.0
    assert lengths.min() == pytest.approx(300.0, rel=0.01)
    share = float((log["Flow [m3/min]"] > 1.0).mean())
    assert 0.45 < share < 0.85
    assert 300.0 / lengths.mean() == pytest.approx(share, abs=0.1)


def test_overload_raises_flow_and_dew_point():
    log, _ = simulate(_plant(), days=0.3, seed=1, faults=["overload"], interval_s=60.0)
    assert log["Flow [m3/min]"].mean() > 1.1 * 20.0
    assert log[DEW].median() > -40.0


def test_load_profile_means_what_the_plant_says():
    profile = load_profile(_plant(), 1772429400.0, 5 * 86400.0, 1)
    assert profile.flow_m3_min.mean() == pytest.approx(17.0, rel=0.05)
    assert profile.inlet_c.mean() == pytest.approx(33.0, abs=1.5)
    steady = load_profile(_plant(), 1772429400.0, 3600.0, 1, steady=True)
    assert np.ptp(steady.flow_m3_min) == 0.0
    assert steady.mean().inlet_k == pytest.approx(306.15)


def test_weekends_are_light_and_summer_is_warm():
    spring = load_profile(_plant(), 1772429400.0, 130 * 86400.0, 1)
    assert spring.inlet_c[-1440:].mean() > spring.inlet_c[:1440].mean() + 3.0
    minutes = np.arange(7 * 1440)
    weekend = minutes >= 5 * 1440 - 390
    assert spring.flow_m3_min[: 7 * 1440][weekend].mean() < 0.85 * spring.flow_m3_min[: 7 * 1440][~weekend].mean()


def test_true_margins_agree_with_themselves(monkeypatch):
    monkeypatch.setattr(simulation, "dryer_from", lambda plant: dryer_from(plant, cells=16))
    plant, days = _heated(dew_point_limit_c=-35.0), 0.4
    log, truth = simulate(plant, days=days, seed=1, interval_s=60.0, margins=True)
    plain, without = simulate(plant, days=days, seed=1, interval_s=60.0)
    # Running on leaves the log and the rest of the truth alone.
    pd.testing.assert_frame_equal(log, plain)
    added = set(truth) - set(without)
    assert {name: truth[name] for name in without} == without
    assert "rise_shows" in added
    assert len(added & {"margin_s", "margin_at_least_s"}) == 1
    today_s = truth["half_cycle_s"]
    margin_s = truth["margin_s"][0] if "margin_s" in truth else truth["margin_at_least_s"]
    # The air keeps below the limit in every half-cycle of today, so one of them can only run on for longer.
    assert truth["statistics"]["max"] < plant.dryer.dew_point_limit_c
    assert margin_s > 0.0
    # Purge runs once a half-cycle: one of k times the length spends 1 - 1/k less of it.
    for lasting_s, saved in zip(truth["sustained_margin_s"], truth["saved_share_uncapped"], strict=True):
        assert saved == pytest.approx(max(0.0, 1.0 - today_s / (today_s + lasting_s)), abs=1e-4)
    assert truth["sustained_margin_s"][1] <= margin_s * 1.2


def test_beads_that_are_known_better_take_the_place_of_the_named_ones():
    # 5A from Wang & LeVan 2009 (table read in an open database of sorption pairs) in vessels planned for alumina.
    sieve = Desiccant("zeolite 5A beads", TOTH_5A, 690.0, 0.37, 0.35, 2.0, 3.05e6)
    plant = _plant()
    assert dryer_from(plant, desiccant=sieve).packings[0].desiccant is sieve
    log, truth = simulate(plant, days=0.05, seed=1, interval_s=60.0, desiccant=sieve)
    named, other = simulate(plant, days=0.05, seed=1, interval_s=60.0)
    assert truth["switchovers"] == other["switchovers"]
    assert not log[DEW].equals(named[DEW])
