"""Logs without a rhythm: red noise, random walks, day waves, shift patterns. Nothing may be read into them."""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import ScreenedLog
from tests.cycle.invented import screened_log

KINDS = ("white", "ar1", "walk", "day", "shifts", "curved")


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
