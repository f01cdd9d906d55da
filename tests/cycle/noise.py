"""Logs that show no rhythm: noise of many colours, and dryers whose rhythm the sample or the interval hides.

Nothing may be read into them. Behind a receiver the air is a mix of many half-cycles; a dead leg of sample line passes
on only what diffuses through it over hours; a logger that reads fewer than four times a half-cycle sees echoes.
"""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant
from tests.cycle.invented import Recipe, screened_log, timer_log

KINDS = ("white", "ar1", "walk", "day", "shifts", "curved")
HIDDEN = ("receiver", "dead_leg", "coarse")
MIXED_BY = 1e-4
"""Share of the swing of ln moisture that a receiver or a dead leg lets through: no fold of days shows it."""


def noise_log(kind: str, seed: int) -> ScreenedLog:
    """Two or more days of dew point [degC] that no dryer switched."""
    from scipy.signal import lfilter

    rng = np.random.default_rng(seed)
    interval_s = float(rng.choice([10.0, 30.0, 60.0]))
    days = float(rng.choice([1.0, 2.0, 5.0]))
    n = int(days * 86400.0 / interval_s)
    time_s = 1.77e9 + interval_s * np.arange(n)
    hours = time_s / 3600.0 % 24.0
    white = rng.normal(0.0, 1.0, n)
    reading = rng.normal(0.0, 0.05, n)
    remember = float(rng.choice([0.9, 0.99, 0.999]))
    red = lfilter([np.sqrt(1.0 - remember**2)], [1.0, -remember], white)
    slow = lfilter([0.02], [1.0, -0.9995], white)
    match kind:
        case "white":
            dew = 0.3 * white
        case "ar1":
            dew = 1.5 * red
        case "walk":
            dew = np.cumsum(white) * 3.0 / np.sqrt(n)
        case "day":
            dew = 3.0 * np.sin(2.0 * np.pi * (hours - 9.0) / 24.0) + 0.4 * red
        case "shifts":
            busy = ((hours > 6.0) & (hours < 22.0)).astype(float) + 0.5 * ((hours > 8.0) & (hours < 16.0))
            dew = lfilter([0.01], [1.0, -0.99], 4.0 * busy) + 0.3 * red
        case _:
            dew = 2.0 * np.tanh(slow) + 0.3 * red
    return screened_log(time_s, np.round(-55.0 + dew + reading, 2), interval_s)


def hidden_log(kind: str, seed: int) -> tuple[ScreenedLog, Plant]:
    """A dryer on a timer whose half-cycles the log cannot show, and its plate."""
    rng = np.random.default_rng([seed, HIDDEN.index(kind)])
    half_cycle_s = float(rng.choice([180.0, 240.0, 300.0])) * (1.0 + 0.002 * rng.standard_normal())
    shape = {"plateau_c": float(rng.uniform(-65.0, -42.0)), "load_swing": float(rng.uniform(0.05, 0.4))}
    days = float(rng.choice([1.0, 2.0, 4.0]))
    if kind == "coarse":
        interval_s = half_cycle_s / float(rng.uniform(1.1, 3.9))
        recipe = Recipe(
            half_cycle_s=half_cycle_s,
            days=days,
            interval_s=round(interval_s),
            spike=float(rng.uniform(0.1, 1.5)),
            tail=float(rng.uniform(0.1, 1.0)),
            lag_s=float(rng.uniform(5.0, 40.0)),
            unlike=float(rng.choice([0.0, 0.3])),
            plate_s=round(half_cycle_s, -1) if rng.random() < 0.5 else None,
            seed=seed,
            **shape,
        )
        made = timer_log(recipe)
        return made.screened, made.plant
    slow_s = half_cycle_s * 0.3 / (2.0 * np.pi * MIXED_BY)
    if kind == "dead_leg":
        slow_s *= float(rng.uniform(1.0, 4.0))
    recipe = Recipe(
        half_cycle_s=half_cycle_s,
        days=days,
        interval_s=float(rng.choice([10.0, 30.0, 60.0])),
        lag_s=slow_s,
        wander=float(rng.uniform(0.02, 0.15)),
        noise_k=float(rng.uniform(0.02, 0.1)),
        digit_k=float(rng.choice([0.01, 0.1])),
        plate_s=round(half_cycle_s, -1),
        seed=seed,
        **shape,
    )
    made = timer_log(recipe)
    return made.screened, made.plant
