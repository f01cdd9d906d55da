"""Half-cycles whose peaks are drawn from a known trend, load, day and noise."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.signal import lfilter

from diagnostics.air.humidity import moisture_fraction
from diagnostics.cycle.record import ControlSpan, Cycle
from diagnostics.estimate import Estimate
from diagnostics.log.record import Conditions, Log, ScreenedLog
from diagnostics.plant import Plant, plant_from

START_S = 1_770_000_000.0
DAY_S = 86400.0
PRESSURE_BAR = 8.0


def autocorrelated(rng: np.random.Generator, count: int, step_h: float, memory_h: float) -> np.ndarray:
    """Stationary first-order series of unit variance."""
    keep = float(np.exp(-step_h / memory_h)) if memory_h > 0 else 0.0
    drawn = lfilter([np.sqrt(1.0 - keep**2)], [1.0, -keep], rng.standard_normal(count + 3000))
    return np.asarray(drawn)[-count:]


def peak_log(
    seed: int,
    *,
    days: float = 10.0,
    half_cycle_s: float = 14400.0,
    slope_k_d: float = 0.0,
    memory_h: float = 3.0,
    noise_k: float = 0.5,
    daily_k: float = 0.0,
    load_k: float = 0.0,
    load_drift: float = 0.0,
    logged: bool = True,
    level_c: float = -60.0,
    extra_k: np.ndarray | None = None,
    start_s: float = START_S,
    season_k_d: float = 0.0,
    weather_k: float = 0.0,
    peak_per_kelvin: float = 0.0,
    inlet_logged: bool = False,
) -> tuple[ScreenedLog, Cycle, Plant]:
    """Make one log.

    Parameters
    ----------
    seed : int
    days, half_cycle_s : float
    slope_k_d : float
        Trend of the peaks at equal load.
    memory_h, noise_k : float
        First-order noise of the peaks.
    daily_k : float
        Amplitude of a daily wave that no channel explains.
    load_k : float
        Rise of the peaks with ln load.
    load_drift : float
        Growth of ln load per day.
    logged : bool
        Whether the flow is logged.
    extra_k : ndarray, optional
        Added to the peaks, stretched over the log.
    season_k_d, weather_k : float
        Drift of the inlet temperature per day, and its wandering over three days.
    peak_per_kelvin : float
        Rise of the peaks with the inlet temperature.
    inlet_logged : bool
    """
    rng = np.random.default_rng([seed, 11])
    count = int(days * DAY_S / half_cycle_s)
    starts = start_s + half_cycle_s * np.arange(count)
    since_d = (starts - start_s) / DAY_S
    phase = rng.uniform(0.0, 2.0 * np.pi)
    wave = np.sin(2.0 * np.pi * since_d + phase)
    log_load = 0.2 * wave + 0.08 * autocorrelated(rng, count, half_cycle_s / 3600.0, 2.0) + load_drift * since_d
    peaks = level_c + slope_k_d * since_d + daily_k * wave + load_k * log_load
    peaks = peaks + noise_k * autocorrelated(rng, count, half_cycle_s / 3600.0, memory_h)
    peaks = peaks + np.where(np.arange(count) % 2 == 0, 0.4, -0.4)
    if extra_k is not None:
        peaks = peaks + np.interp(np.linspace(0.0, 1.0, count), np.linspace(0.0, 1.0, extra_k.size), extra_k)
    inlet = 28.0 + season_k_d * since_d
    if weather_k > 0:
        inlet = inlet + weather_k * autocorrelated(rng, count, half_cycle_s / 3600.0, 72.0) + 0.5 * weather_k * wave
    peaks = peaks + peak_per_kelvin * (inlet - inlet.mean())
    cycle = cycle_of(starts, half_cycle_s, peaks)
    screened = screened_of(starts, half_cycle_s, peaks, log_load, logged, inlet if inlet_logged else None)
    return screened, cycle, plant_of(half_cycle_s)


def cycle_of(starts: np.ndarray, half_cycle_s: float, peaks: np.ndarray) -> Cycle:
    """Cycle with these peaks."""
    table = pd.DataFrame(
        {
            "start_s": starts,
            "end_s": starts + half_cycle_s,
            "tower": np.where(np.arange(starts.size) % 2 == 0, "A", "B"),
            "complete": True,
            "peak_dew_point_c": peaks,
            "floor_dew_point_c": peaks - 2.0,
            "end_dew_point_c": peaks,
            "mean_dew_point_c": peaks - 1.0,
            "spike_dew_point_c": peaks + 4.0,
        }
    )
    span = ControlSpan(float(starts[0]), float(starts[-1] + half_cycle_s), "fixed")
    return Cycle("fixed", (span,), True, table, Estimate.exact(half_cycle_s))


def screened_of(
    starts: np.ndarray,
    half_cycle_s: float,
    peaks: np.ndarray,
    log_load: np.ndarray,
    logged: bool,
    inlet: np.ndarray | None = None,
) -> ScreenedLog:
    """Readings every ten minutes under that load."""
    time_s = np.arange(starts[0], starts[-1] + half_cycle_s, 600.0)
    middle = starts + 0.5 * half_cycle_s
    shown = np.interp(time_s, middle, peaks)
    which = np.searchsorted(starts, time_s, side="right") - 1
    flow = 6.0 * np.exp(log_load[which])
    inlet_c = None if inlet is None else inlet[which]
    channels = frozenset(({"flow"} if logged else set()) | (set() if inlet is None else {"inlet_temperature"}))
    conditions = Conditions(np.full(time_s.size, PRESSURE_BAR), inlet_c, flow, 4.0 * flow, channels)
    log = Log("drawn peaks", time_s, {"dew_point": shown}, {}, None, 600.0)
    moisture = np.asarray(moisture_fraction(shown, PRESSURE_BAR))
    return ScreenedLog(log, shown, moisture, np.ones(time_s.size, bool), (), conditions, resolution_c=0.01)


def plant_of(half_cycle_s: float) -> Plant:
    """A heatless plant, so that load is flow."""
    return plant_from({"dryer": {"regeneration": "heatless", "rated_flow_m3_min": 10.0, "half_cycle_s": half_cycle_s}})
