"""Invented logs with known switchovers, from the textbook shape of a half-cycle seen through a lagging probe.

Moisture leaving the tower that dries is a plateau, a spike that dies away after the switchover and a tail that grows
towards its end, ``y = plateau + spike exp(-t/tau) + tail exp((t - T)/tau_b)``, drawn with load that follows working
hours, then read through a first-order probe, with noise, a last digit and a logger's interval. No dryer model of the
engine takes part, so that an estimator is not judged by its own assumptions.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from diagnostics.log.record import Column, Conditions, Log, ScreenedLog
from diagnostics.plant import Plant, plant_from

LINE_PRESSURE_PA = 801_325.0


@dataclass(frozen=True)
class Recipe:
    """What the invented dryer does; times in s, moisture amplitudes as shares of the plateau, dew points in degC."""

    half_cycle_s: float = 240.0
    days: float = 1.0
    interval_s: float = 10.0
    plateau_c: float = -60.0
    spike: float = 0.15
    spike_s: float = 30.0
    tail: float = 0.2
    tail_s: float = 120.0
    unlike: float = 0.0
    lag_s: float = 20.0
    noise_k: float = 0.03
    digit_k: float = 0.01
    load_swing: float = 0.2
    wander: float = 0.05
    stamps_jitter: float = 0.0
    pauses: tuple[tuple[float, float], ...] = ()
    stop_at: float | None = None
    gaps: tuple[tuple[float, float], ...] = ()
    plate_s: float | None = None
    regeneration: str = "heatless"
    seed: int = 1


@dataclass(frozen=True)
class Invented:
    """A log and its truth."""

    screened: ScreenedLog
    plant: Plant
    switchovers_s: np.ndarray
    towers: list[str] = field(default_factory=list)


def frost_point_of(moisture: np.ndarray) -> np.ndarray:
    """Frost point [degC] of a mole fraction at 7 bar gauge by a Magnus fit, good enough to invent with."""
    logarithm = np.log(moisture * LINE_PRESSURE_PA / 611.15)
    return 272.55 * logarithm / (22.452 - logarithm)


def moisture_of(frost_point_c: np.ndarray | float) -> np.ndarray:
    """Inverse of `frost_point_of`."""
    t = np.asarray(frost_point_c, dtype=float)
    return 611.15 * np.exp(22.452 * t / (272.55 + t)) / LINE_PRESSURE_PA


def screened_log(
    time_s: np.ndarray, dew_point_c: np.ndarray, interval_s: float, other: dict | None = None
) -> ScreenedLog:
    """A log that has been read and screened, with nothing set aside but missing readings."""
    log = Log(
        "invented",
        time_s,
        {"dew_point": dew_point_c},
        {"dew_point": Column("Dew point", "degC")},
        None,
        interval_s,
        other=other or {},
    )
    conditions = Conditions(np.full(time_s.size, 8.01325), None, None, None)
    return ScreenedLog(
        log, dew_point_c, moisture_of(dew_point_c), np.isfinite(dew_point_c), (), conditions, resolution_c=0.01
    )


def plant_of(half_cycle_s: float | None, regeneration: str = "heatless") -> Plant:
    """A plate for an invented dryer."""
    dryer: dict = {"regeneration": regeneration}
    if half_cycle_s is not None:
        dryer["half_cycle_s"] = half_cycle_s
    return plant_from({"dryer": dryer})


def timer_log(recipe: Recipe) -> Invented:
    """Log of a dryer under a fixed timer, with its pauses (start, length as shares of the log) and its stop."""
    rng = np.random.default_rng(recipe.seed)
    start, length = 1.77e9, recipe.days * 86400.0
    switchovers = _timer(recipe, rng, start, length)
    fine = min(recipe.interval_s / 4.0, recipe.half_cycle_s / 120.0)
    time_s = np.arange(start - 3.0 * recipe.half_cycle_s, start + length + fine, fine)
    moisture = _leaving(recipe, rng, time_s, switchovers)
    return _logged(recipe, rng, time_s, moisture, switchovers, start, length)


def _timer(recipe: Recipe, rng: np.random.Generator, start: float, length: float) -> np.ndarray:
    first = start - rng.uniform(3.0, 4.0) * recipe.half_cycle_s
    running = first + recipe.half_cycle_s * np.arange(int(length / recipe.half_cycle_s) + 8)
    for at, lasts in recipe.pauses:
        running = running + np.where(running > start + at * length, lasts * length, 0.0)
    end = start + length * (1.0 if recipe.stop_at is None else recipe.stop_at)
    return running[running <= end + (recipe.half_cycle_s if recipe.stop_at is None else 0.0)]


def _leaving(recipe: Recipe, rng: np.random.Generator, time_s: np.ndarray, switchovers: np.ndarray) -> np.ndarray:
    number = np.clip(np.searchsorted(switchovers, time_s, side="right") - 1, 0, None)
    since = time_s - switchovers[number]
    after = switchovers[np.minimum(number + 1, switchovers.size - 1)]
    left = np.where(number + 1 < switchovers.size, after - time_s, recipe.half_cycle_s - since)
    hours = (time_s / 3600.0) % 24.0
    busy = _eased(((hours > 6.0) & (hours < 22.0)).astype(float), 1800.0 / (time_s[1] - time_s[0]))
    knots = np.arange(time_s[0], time_s[-1] + 1800.0, 900.0)
    wander = np.interp(time_s, knots, np.cumsum(rng.normal(0.0, recipe.wander, knots.size)) * 0.3)
    load = (1.0 + recipe.load_swing * (busy - 0.6)) * np.exp(wander - wander.mean())
    strength = 1.0 + recipe.unlike * np.where(number % 2 == 0, 0.5, -0.5)
    spike = recipe.spike * strength * np.exp(-since / recipe.spike_s)
    tail = recipe.tail * strength * np.exp(np.clip(-left, None, 3.0 * recipe.tail_s) / recipe.tail_s)
    level = moisture_of(recipe.plateau_c) * load
    return level * (1.0 + (spike + tail) * load**2)


def _eased(values: np.ndarray, steps: float) -> np.ndarray:
    from scipy.signal import lfilter

    share = 1.0 - np.exp(-1.0 / steps)
    eased, _ = lfilter([share], [1.0, share - 1.0], values, zi=[values[0] * (1.0 - share)])
    return eased


def _logged(
    recipe: Recipe,
    rng: np.random.Generator,
    time_s: np.ndarray,
    moisture: np.ndarray,
    switchovers: np.ndarray,
    start: float,
    length: float,
) -> Invented:
    shown = _eased(moisture, max(recipe.lag_s, 1e-3) / (time_s[1] - time_s[0]))
    stamps = start + recipe.interval_s * np.arange(int(length / recipe.interval_s) + 1)
    stamps = np.sort(stamps + recipe.stamps_jitter * recipe.interval_s * rng.uniform(-0.5, 0.5, stamps.size))
    dew = frost_point_of(np.interp(stamps, time_s, shown)) + rng.normal(0.0, recipe.noise_k, stamps.size)
    dew = np.round(dew / recipe.digit_k) * recipe.digit_k
    for at, lasts in recipe.gaps:
        keep = (stamps < start + at * length) | (stamps > start + (at + lasts) * length)
        stamps, dew = stamps[keep], dew[keep]
    seen = switchovers[(switchovers > stamps[0]) & (switchovers < stamps[-1])]
    towers = ["AB"[i % 2] for i in range(seen.size)]
    plant = plant_of(recipe.plate_s, recipe.regeneration)
    return Invented(screened_log(stamps, dew, recipe.interval_s), plant, seen, towers)


def set_point_log(
    *,
    seed: int,
    usual_s: float = 450.0,
    interval_s: float = 10.0,
    half_cycles: int = 200,
    set_point_c: float = -45.0,
    floor_c: float = -47.6,
    lag_s: float = 15.0,
    fixed_first: int = 0,
    fixed_s: float = 300.0,
) -> Invented:
    """Log of a dryer that switches when its outlet reaches a set point; the rise takes as long as the load lets it.

    ``fixed_first`` half-cycles before that obey a timer.
    """
    rng = np.random.default_rng(seed)
    wave = np.exp(0.25 * np.sin(np.arange(half_cycles) / 17.0) + rng.normal(0.0, 0.03, half_cycles))
    lengths = np.concatenate([np.full(fixed_first, fixed_s), usual_s * wave])
    switchovers = 1.77e9 + np.concatenate([[0.0], np.cumsum(lengths)])
    fine = min(1.0, interval_s / 5.0)
    time_s = np.arange(switchovers[0], switchovers[-1], fine)
    number = np.searchsorted(switchovers, time_s, side="right") - 1
    into = (time_s - switchovers[number]) / lengths[number]
    ceiling = np.where(number < fixed_first, set_point_c - 0.6, set_point_c)
    low, high = np.log(moisture_of(floor_c)), np.log(moisture_of(ceiling))
    shown = _eased(np.exp(low + (high - low) * into), lag_s / fine)
    stamps = np.arange(switchovers[0] + 0.4 * usual_s, switchovers[-1] - 0.3 * usual_s, interval_s)
    dew = np.round(frost_point_of(np.interp(stamps, time_s, shown)) + rng.normal(0.0, 0.04, stamps.size), 2)
    seen = switchovers[(switchovers > stamps[0]) & (switchovers < stamps[-1])]
    towers = ["AB"[i % 2] for i in range(seen.size)]
    return Invented(screened_log(stamps, dew, interval_s), plant_of(240.0), seen, towers)
