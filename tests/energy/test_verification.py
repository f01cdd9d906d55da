"""Savings achieved between two logs: known changes, noise, load, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.energy.verification import verify
from diagnostics.errors import InputError
from tests.energy import made

HEATLESS = made.plant(made.HEATLESS)
DAY_S = 86400.0


def side(half_cycle_s: float, *, start_s: float = made.START_S, hours: float = 48.0, plant=HEATLESS, **channels):
    log = made.screened(plant, hours=hours, start_s=start_s, **channels)
    control = "fixed" if half_cycle_s == 300.0 else "dew_point"
    return log, made.cycle(log, half_cycle_s, control=control)


def later(half_cycle_s: float, days: float = 3.0, **rest):
    return side(half_cycle_s, start_s=made.START_S + days * DAY_S, **rest)


def noisy(mean: float, share: float, seed: int, n: int = 2880) -> np.ndarray:
    return mean * (1 + share * np.random.default_rng(seed).normal(0, 1, n))


def test_doubled_half_cycles_save_half_the_regenerations() -> None:
    found = verify(side(300.0), later(600.0), HEATLESS)
    assert found.option == "A"
    assert found.verdict == "proven"
    assert found.saved_share.value == pytest.approx(0.5, abs=0.01)
    assert found.energy_saved_kwh_per_year.value > 0
    assert found.cost_saved_per_year.value == pytest.approx(0.15 * found.energy_saved_kwh_per_year.value)


def test_metered_purge_is_option_b() -> None:
    found = verify(side(300.0, purge_flow=noisy(1.5, 0.05, 1)), later(600.0, purge_flow=noisy(1.0, 0.05, 2)), HEATLESS)
    assert (found.option, found.quantity) == ("B", "purge flow")
    assert found.saved_share.low <= 1 / 3 <= found.saved_share.high
    assert found.saved.value == pytest.approx(0.5, abs=0.02)


def test_power_follows_load_and_the_baseline_with_it() -> None:
    # the same machine at half the load saves nothing by itself: 10 + 5 kW per m3/min before, 10 % less after
    def load(seed: int, mean: float) -> np.ndarray:
        wave = 1 + 0.4 * np.sin(np.arange(2880) / 2880 * 4 * np.pi)
        return mean * wave * (1 + 0.02 * np.random.default_rng(seed).normal(0, 1, 2880))

    before, after = load(1, 7.0), load(2, 5.5)
    drawn = [10 + 5 * before, 0.9 * (10 + 5 * after)]
    found = verify(side(300.0, flow=before, power=drawn[0]), later(300.0, flow=after, power=drawn[1]), HEATLESS)
    assert found.load_adjusted
    assert found.saved_share.value == pytest.approx(0.10, abs=0.01)
    plain = 1 - found.after_mean / found.before_mean
    assert plain > 0.2


def test_noise_is_not_sold_as_a_saving() -> None:
    found = verify(side(300.0, power=noisy(50, 0.6, 3)), later(300.0, power=noisy(49.8, 0.6, 4)), HEATLESS)
    assert found.verdict in ("not_proven", "no_saving")
    assert found.saved_share.low < 0 < found.saved_share.high


def test_more_use_is_no_saving() -> None:
    found = verify(side(300.0, power=noisy(50, 0.02, 5)), later(300.0, power=noisy(60, 0.02, 6)), HEATLESS)
    assert found.verdict == "no_saving"
    assert found.fractional_uncertainty is None
    assert "more" in found.statement


@pytest.mark.parametrize("seed", range(5))
def test_intervals_hold_the_truth_under_autocorrelated_noise(seed: int) -> None:
    # AR(1) noise with an hour's memory, true saving 20 %
    rng = np.random.default_rng(seed)

    def wander(mean: float) -> np.ndarray:
        noise = np.zeros(2880 * 2)
        for i in range(1, noise.size):
            noise[i] = 0.98 * noise[i - 1] + rng.normal(0, 0.01)
        return mean * (1 + noise)

    before = side(300.0, hours=96, purge_flow=wander(1.5))
    after = later(300.0, days=6, hours=96, purge_flow=wander(1.2))
    found = verify(before, after, HEATLESS)
    assert found.effective_blocks < found.blocks_before
    assert found.saved_share.low <= 0.2 <= found.saved_share.high


def test_overlapping_logs_are_refused() -> None:
    with pytest.raises(InputError, match="overlap"):
        verify(side(300.0), later(600.0, days=1.0), HEATLESS)


def test_logs_in_the_wrong_order_are_refused() -> None:
    with pytest.raises(InputError, match="before the change first"):
        verify(later(600.0), side(300.0), HEATLESS)


def test_short_logs_are_refused() -> None:
    with pytest.raises(InputError, match="log longer"):
        verify(side(300.0, hours=3.0), later(600.0), HEATLESS)


def test_too_few_independent_blocks_are_refused() -> None:
    drift = np.linspace(1.0, 2.0, 480)
    with pytest.raises(InputError, match="independent"):
        verify(side(300.0, hours=8.0, purge_flow=drift), later(300.0, hours=8.0, purge_flow=drift), HEATLESS)


def test_nothing_in_common_is_refused() -> None:
    log, _ = side(300.0)
    with pytest.raises(InputError, match="nothing to compare"):
        verify((log, made.cycle(log, 300.0, resolved=False)), later(600.0), HEATLESS)


def test_breathing_air_names_the_responsible_person() -> None:
    plant = made.plant(made.HEATLESS, site__air_use="breathing")
    found = verify(side(300.0, plant=plant), later(600.0, plant=plant), plant)
    assert any("responsible person" in note for note in found.notes)


def test_a_dryer_left_as_it_was_saved_nothing_and_no_uncertainty_of_nothing_is_told() -> None:
    found = verify(side(300.0), later(300.2), HEATLESS)
    assert found.verdict == "no_saving"
    assert found.fractional_uncertainty is None
    assert "within half a percent" in found.statement
