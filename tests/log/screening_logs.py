"""Invented traces for the tests of screening, each with its truth: a dryer's air, and what probe and people add to it.

Laws of the probe as in the settling literature of sampling lines: a fast and a slow exponential in moisture (common
practice, no published source). None of the numbers is taken from a real plant.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import dew_point_c, moisture_fraction
from diagnostics.log.record import Column, Floats, Log
from diagnostics.plant import Plant, plant_from

LINE_BAR = 8.01325
START_S = 1_767_600_000.0


@dataclass(frozen=True)
class Trace:
    """Time [epoch s] and pressure dew point [degC] without noise."""

    time_s: Floats
    dew_point_c: Floats


def log_of(
    time_s: Floats, dew_point: Floats, *, resolution: float = 0.01, timezone: str | None = "UTC", **channels: Floats
) -> Log:
    """Log of a logger that rounds to its resolution."""
    shown = np.round(np.round(dew_point / resolution) * resolution, 6)
    every = {"dew_point": shown, **channels}
    return Log(
        source="invented",
        time_s=time_s,
        channels=every,
        columns={q: Column(q, "") for q in every},
        timezone=timezone,
        interval_s=float(np.median(np.diff(time_s))),
    )


def plant_of(kind: str = "heatless", half_cycle_s: float = 300.0, **tables: dict[str, object]) -> Plant:
    """Plant with a nameplate half-cycle."""
    written: dict[str, dict[str, object]] = {"dryer": {"regeneration": kind, "half_cycle_s": half_cycle_s}}
    for name, keys in tables.items():
        written.setdefault(name, {}).update(keys)
    return plant_from(written, source="invented plant")


def dryer_air(
    rng: np.random.Generator, hours: float, interval_s: float, half_cycle_s: float, *, level_c: float = -60.0,
    ripple_k: float = 1.0, daily_k: float = 1.0, kind: str = "heatless",
) -> Trace:  # fmt: skip
    """A dryer's outlet: ripple of two towers, a daily load wave; a spike after each heated switchover."""
    time_s = START_S + np.arange(0.0, hours * 3600.0, interval_s)
    since = time_s - START_S + rng.uniform(0, 2 * half_cycle_s)
    phase = (since / half_cycle_s) % 1.0
    odd = (since // half_cycle_s) % 2
    if kind == "heatless":
        shape = np.sin(2 * np.pi * (phase - 0.1)) * (1.0 + 0.3 * odd)
        trace = level_c + 0.5 * ripple_k * shape
    else:
        spike = rng.uniform(4, 12) * np.exp(-phase * half_cycle_s / 900.0)
        rise = ripple_k * np.expm1(3.0 * phase) / np.expm1(3.0)
        trace = level_c + spike + rise + 0.3 * odd
    local_h = ((time_s - START_S) / 3600.0 + rng.uniform(0, 24)) % 24.0
    return Trace(time_s, trace + 0.5 * daily_k * np.sin(2 * np.pi * local_h / 24.0))


def dry_down(
    trace: Trace, start_c: float, fast_s: float, slow_share: float, slow_s: float, *, at: int = 0
) -> tuple[Trace, float]:
    """Trace with a dry-down from reading ``at`` on, and the instant it is 0.5 K above where it goes.

    ``slow_share`` is the slow exponential's amplitude over the level's moisture.
    """
    moisture = moisture_fraction(trace.dew_point_c, LINE_BAR)
    level_c = float(np.median(trace.dew_point_c))
    level = float(moisture_fraction(level_c, LINE_BAR))
    since = np.maximum(trace.time_s - trace.time_s[at], 0.0)
    fast = float(moisture_fraction(start_c, LINE_BAR)) - (1.0 + slow_share) * level

    def added(since_s: Floats) -> Floats:
        return fast * np.exp(-since_s / fast_s) + slow_share * level * np.exp(-since_s / slow_s)

    grid = np.linspace(0.0, 10.0 * slow_s + 20.0 * fast_s, 200_001)
    above = np.asarray(dew_point_c(level + added(grid), LINE_BAR)) - level_c
    settled = float(grid[np.flatnonzero(above > 0.5)[-1]])
    moisture = moisture + np.where(trace.time_s >= trace.time_s[at], added(since), 0.0)
    return Trace(trace.time_s, np.asarray(dew_point_c(moisture, LINE_BAR))), float(trace.time_s[at]) + settled


def noisy(rng: np.random.Generator, trace: Trace, noise_k: float = 0.05) -> Floats:
    """Dew point with the probe's noise."""
    return trace.dew_point_c + rng.normal(0, noise_k, trace.time_s.size)
