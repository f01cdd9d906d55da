"""What looks like a fault of the probe and is the dryer's own: every reading stays in use.

Invented traces after the physics of two beds and a display; the counts over many plants stand in DEVELOPERS.md.
"""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.log.quiet import find_quiet
from diagnostics.log.removal import find_removals
from diagnostics.log.screening import screen
from diagnostics.log.stuck import find_frozen, find_range_end, single_spikes
from tests.log.screening_logs import START_S, dryer_air, log_of, noisy, plant_of


def _resting(rng: np.random.Generator, half_s: float, rest_c: float, interval_s: float, halves: int) -> np.ndarray:
    """Half-cycles that fall from a spike to a rest, each a little lower or higher than the one before."""
    phase = np.arange(0.0, half_s, interval_s)
    rests = rest_c + np.where(np.arange(halves) % 2, 4.6, 0.0) + rng.uniform(-0.4, 0.4, halves)
    trace = np.concatenate([rest + rng.uniform(14, 20) * np.exp(-phase / (0.08 * half_s)) for rest in rests])
    return trace + rng.normal(0.0, 0.05, trace.size)


@pytest.mark.parametrize("digit", [0.5, 1.0])
@pytest.mark.parametrize("interval_s", [60.0, 120.0, 300.0])
@pytest.mark.parametrize("seed", range(4))
def test_air_at_rest_in_a_coarse_digit_is_no_hang(digit: float, interval_s: float, seed: int) -> None:
    air = _resting(np.random.default_rng(seed), 14_400.0, -47.0, interval_s, 18)
    time_s = START_S + interval_s * np.arange(air.size)
    screened = screen(log_of(time_s, air, resolution=digit), plant_of("heated_purge", 14_400.0))
    assert screened.used.all()


def test_control_on_dew_point_that_rests_below_its_set_point_is_no_hang() -> None:
    """Fine digits: seven long rests at -40.0 among many short ones, which is where a small leak holds the air."""
    rng = np.random.default_rng(3)
    lengths = np.where(np.arange(40) % 6 == 5, 90, rng.integers(8, 30, 40))
    pieces = [np.concatenate((np.linspace(-26.0, -39.8, 40), np.full(n, -40.0), [-39.9, -36.0])) for n in lengths]
    air = np.concatenate(pieces)
    assert not find_frozen(np.round(air, 1), 0.1)


def test_a_hang_among_moving_readings_is_found_still() -> None:
    rng = np.random.default_rng(5)
    air = np.round(-50.0 + 3.0 * np.sin(np.arange(4000) / 9.0) + rng.normal(0, 0.05, 4000), 1)
    air[2000:2120] = air[1999]
    (run,) = find_frozen(air, 0.1)
    assert abs(run.first - 2000) <= 1
    assert abs(run.last - 2119) <= 1


def test_a_wet_towers_swing_is_no_removal_be_the_first_one_the_largest() -> None:
    t = np.arange(0.0, 86_400.0, 10.0)
    phase = t % 600.0
    wet = phase >= 300.0
    air = np.where(wet, -23.4 - 12.0 * np.exp(-(phase - 300.0) / 15.0), -37.0 + 13.6 * np.exp(-phase / 90.0))
    air[:300] -= np.where(wet[:300], 0.0, 2.5)
    assert not find_removals(START_S + t, air, None, 300.0)


def test_a_fresh_beds_dry_air_before_the_spike_is_no_disturbance() -> None:
    """Two minutes are time enough for a probe to fall by 10 K, and beside a switchover nothing is calm."""
    air = np.full(2000, -30.2) + np.random.default_rng(1).normal(0, 0.4, 2000)
    for at in (400, 1100):
        air[at : at + 6] = (-30.1, -40.3, -28.5, -16.4, -27.6, -33.0)
    assert not single_spikes(air, 120.0).any()
    air[700] -= 30.0
    assert np.flatnonzero(single_spikes(air, 120.0)).tolist() == [700]


def test_one_short_rest_at_an_extreme_is_no_end_of_the_range() -> None:
    air = np.concatenate((np.full(12, -29.7), -18.0 + 8.0 * np.sin(np.arange(4000) / 40.0)))
    assert not find_range_end(np.round(air, 1), 0.1)


def test_ripple_of_moisture_that_wetter_air_hides_is_no_still_sample() -> None:
    """The same swing of moisture on four times the level shows a quarter of it in kelvin; it did not go."""
    t = np.arange(0.0, 3 * 86_400.0, 20.0)
    level = -40.0 + 14.0 * np.exp(-(((t - 1.5 * 86_400.0) / 20_000.0) ** 2))
    swing_k = 1.0 * np.exp(-0.1 * (level + 40.0))
    air = level + swing_k * np.sin(2 * np.pi * t / 240.0)
    assert not find_quiet(START_S + t, air, 600.0, 0.01)


@pytest.mark.parametrize("turns_c", [-37.0, -34.0])
def test_beds_that_break_through_at_every_turn_are_no_still_sample(turns_c: float) -> None:
    """The fresh bed's air falls in by 16 K at each turn; that no rise shows for a while is no still sample."""
    rng = np.random.default_rng(7)
    phase = np.arange(0.0, 7200.0, 120.0)
    halves = []
    for k in range(36):
        spike = 0.0 if 26 <= k <= 29 else 12.0
        halves.append(turns_c + 17.0 * phase / 7200.0 + spike * np.exp(-phase / 600.0))
    air = np.concatenate(halves) + rng.normal(0, 0.05, 36 * phase.size)
    screened = screen(log_of(START_S + 120.0 * np.arange(air.size), air), plant_of("heated_purge", 7200.0))
    assert screened.used.all()


def test_a_coupling_pulled_for_a_minute_hides_no_removal() -> None:
    rng = np.random.default_rng(9)
    air = dryer_air(rng, 24.0, 20.0, 300.0, ripple_k=1.5)
    shown = noisy(rng, air)
    shown[3600:3605], shown[2800:2890] = 7.5, 8.0 + rng.normal(0, 0.3, 90)
    screened = screen(log_of(air.time_s, shown), plant_of())
    (removal,) = [e for e in screened.exclusions if e.reason == "removal"]
    assert abs(removal.start_s - air.time_s[2800]) <= 40.0
    assert abs(removal.end_s - air.time_s[2889]) <= 40.0
