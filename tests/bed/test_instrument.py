"""The probe: lag in moisture, slower when drying and towards dry air, receiver, dry-down, holds, resolution."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.air.humidity import dew_point_c, moisture_fraction
from diagnostics.bed.instrument import Instrument, readings_c, sensed_moisture

BAR = 8.01325
PLAIN = Instrument(growth_per_k=0.0, noise_k=0.0, resolution_k=1e-6)


def _x(dew_c):
    return np.asarray(moisture_fraction(np.asarray(dew_c, float), BAR))


def test_first_order_step_in_moisture():
    times = np.arange(1.0, 301.0)
    air = np.where(times > 100.0, _x(-50.0), _x(-40.0))
    felt = sensed_moisture(times, air, PLAIN, BAR)
    after = times - 100.0
    inside = after > 0.0
    exact = _x(-50.0) + (_x(-40.0) - _x(-50.0)) * np.exp(-after[inside] / PLAIN.drying_s)
    assert felt[inside] == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("ratio", [1 / 3, 3.0, 6.0])
def test_recorded_peak_of_an_exponential_spike(ratio):
    # Lag tau over spike time: the peak shrinks to R^(-R/(R-1)): 0.577, 0.192, 0.116 (computed).
    spike_s = 40.0
    probe = Instrument(
        wetting_s=ratio * spike_s, drying_s=ratio * spike_s, growth_per_k=0.0, noise_k=0.0, resolution_k=1e-6
    )
    step = 0.05
    times = step * np.arange(1, 20001)
    felt = sensed_moisture(times, 1e-7 + 1e-4 * np.exp(-(times - step / 2) / spike_s), probe, BAR)
    start = felt[0]
    lag = np.exp(-times / (ratio * spike_s))
    # The lag starts in balance with the first air; what it starts from dies out on its own.
    seen = felt - start * lag - 1e-7 * (1.0 - lag)
    assert seen.max() / 1e-4 == pytest.approx(ratio ** (-ratio / (ratio - 1.0)), rel=5e-3)


def test_wetting_is_faster_than_drying():
    times = np.arange(1.0, 601.0)
    up = sensed_moisture(times, np.where(times > 1.0, _x(-40.0), _x(-50.0)), PLAIN, BAR)
    down = sensed_moisture(times, np.where(times > 1.0, _x(-50.0), _x(-40.0)), PLAIN, BAR)
    middle = 0.5 * (_x(-40.0) + _x(-50.0))
    assert np.searchsorted(up, middle) < np.argmax(down < middle)


def test_lag_grows_towards_dry_air():
    probe = Instrument(noise_k=0.0)
    times = np.arange(1.0, 2001.0)
    left = []
    for dry in (-40.0, -70.0):
        air = np.where(times > 1.0, _x(dry), _x(dry + 5.0))
        felt = sensed_moisture(times, air, probe, BAR)
        left.append(float((felt[120] - air[-1]) / (air[0] - air[-1])))
    assert left[1] > 2.0 * left[0]


def test_receiver_hides_a_ripple():
    times = np.arange(5.0, 20000.0, 5.0)
    air = _x(-60.0) * (1.0 + 0.3 * np.sin(2.0 * np.pi * times / 300.0))
    plain = sensed_moisture(times, air, PLAIN, BAR)[2000:]
    mixed = sensed_moisture(times, air, Instrument(growth_per_k=0.0, receiver_s=3600.0), BAR)[2000:]
    assert np.ptp(mixed) < 0.05 * np.ptp(plain)


def test_dry_down_has_a_slow_tail():
    probe = Instrument(growth_per_k=0.0, settling=(2000.0, 600.0, 6000.0, 0.02))
    times = np.arange(30.0, 40000.0, 30.0)
    excess = sensed_moisture(times, np.full(len(times), _x(-60.0)), probe, BAR) / _x(-60.0) - 1.0
    late = (times > 12000.0) & (times < 24000.0)
    slope = np.polyfit(times[late], np.log(excess[late]), 1)[0]
    assert slope == pytest.approx(-1.0 / 6000.0, rel=0.02)
    assert excess[0] > 1000.0


def test_readings_are_rounded_limited_and_held():
    probe = Instrument(
        noise_k=0.05, resolution_k=0.1, hold_every_s=3600.0, hold_s=300.0, bias_k=0.5, range_c=(-60.0, 20.0)
    )
    times = np.arange(5.0, 20000.0, 5.0)
    samples = np.arange(10.0, 19990.0, 10.0)
    shown = readings_c(samples, times, np.full(len(times), _x(-50.0)), probe, BAR, np.random.default_rng(0))
    assert np.allclose(shown * 10.0, np.round(shown * 10.0), atol=1e-6)
    assert shown.mean() == pytest.approx(-49.5, abs=0.02)
    holding = ((samples - samples[0]) % 3600.0 < 300.0) & (samples - samples[0] >= 3600.0)
    first_hold = np.flatnonzero(holding)[:30]
    assert np.ptp(shown[first_hold]) == 0.0
    dry = readings_c(samples, times, np.full(len(times), _x(-75.0)), probe, BAR, np.random.default_rng(0))
    assert dry.min() == -60.0


def test_a_quiet_probe_shows_the_air():
    times = np.arange(5.0, 2000.0, 5.0)
    shown = readings_c(times, times, np.full(len(times), _x(-47.3)), PLAIN, BAR, np.random.default_rng(0))
    assert shown == pytest.approx(float(dew_point_c(_x(-47.3), BAR)), abs=1e-5)


def test_the_sample_line_s_wall_gives_its_water_off_slowly():
    # y - b (y - w), dw/dt = (y - w) / T: after a step from y0 to y1 the line's end shows y1 + b (y0 - y1) exp(-t/T).
    probe = Instrument(0.01, 0.01, growth_per_k=0.0, noise_k=0.0, resolution_k=1e-6, wall_share=0.2, wall_s=1800.0)
    times = np.arange(1.0, 7201.0)
    air = np.where(times > 600.0, _x(-60.0), _x(-40.0))
    felt = sensed_moisture(times, air, probe, BAR)
    since = times - 600.0 - 0.5
    after = since > 0.0
    exact = _x(-60.0) + 0.2 * (_x(-40.0) - _x(-60.0)) * np.exp(-since[after] / 1800.0)
    assert felt[after] == pytest.approx(exact, rel=1e-4)
    # Two hours on the line still adds more than the probe's own lag would by far.
    assert felt[-1] > 1.04 * _x(-60.0)


def test_a_line_clipped_on_wet_dries_down():
    probe = Instrument(growth_per_k=0.0, noise_k=0.0, wall_share=0.05, wall_s=3600.0, wall_starts_wet=float(_x(-5.0)))
    times = np.arange(1.0, 4 * 3600.0 + 1.0)
    felt = sensed_moisture(times, np.full(times.size, _x(-60.0)), probe, BAR)
    dew = np.asarray(dew_point_c(felt, BAR))
    assert dew[600] > -38.0
    assert np.all(np.diff(dew[600:]) < 0.0)
    dry = sensed_moisture(times, np.full(times.size, _x(-60.0)), PLAIN, BAR)
    # The tail is exponential in vapour: an e-fold an hour.
    excess = felt - dry
    assert excess[-1] / excess[-3601] == pytest.approx(np.exp(-1.0), rel=1e-3)
