"""Switchovers of a log that itself says which vessel dries."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.cycle.record import Control, ControlSpan
from diagnostics.cycle.running import RunningClock, running_clocks
from diagnostics.cycle.timer import Stretch
from diagnostics.log.record import Flags, Floats, Log

EVEN = 0.12
"""Robust relative spread of durations up to which a timer is behind them, beside the interval's own."""


@dataclass(frozen=True)
class SeenSwitching:
    """Switchovers as the channel shows them.

    Attributes
    ----------
    stretches : list of Stretch
    spans : list of ControlSpan
    lengths_s : ndarray
        Half-cycles on the clock that is counted [s].
    clock : RunningClock or None
        Where the timer counts running time only.
    """

    stretches: list[Stretch]
    spans: list[ControlSpan]
    lengths_s: Floats
    clock: RunningClock | None


def seen_switching(log: Log) -> SeenSwitching | None:
    """Switchovers of the log's tower channel, or None where it shows fewer than two."""
    tower = log.channels["tower"]
    valid = np.isfinite(tower)
    if valid.sum() < 4:
        return None
    plain = _changes(tower, valid)
    if plain.size < 2:
        return None
    best, changes, clock = _unevenness(log.time_s[plain], log.interval_s), plain, None
    for trial in running_clocks(log):
        running = _changes(tower, valid & trial.on)
        if running.size < 3:
            continue
        uneven = _unevenness(trial.run_s[running], log.interval_s)
        if uneven < 0.5 * best and uneven <= EVEN:
            best, changes, clock = uneven, running, trial
    at = log.time_s[changes]
    on_clock = at if clock is None else clock.run_s[changes]
    names = {float(tower[changes[0]]): "B"}
    towers = tuple("B" if float(tower[i]) in names else "A" for i in changes)
    start, end = float(log.time_s[0]), float(log.time_s[-1])
    kind: Control = "fixed" if best <= EVEN else "dew_point"
    return SeenSwitching([Stretch(start, end, at, towers)], [ControlSpan(start, end, kind)], np.diff(on_clock), clock)


def _changes(tower: Floats, valid: Flags) -> np.ndarray:
    rows = np.flatnonzero(valid)
    return rows[1:][np.diff(tower[rows]) != 0]


def _unevenness(at_s: Floats, interval_s: float) -> float:
    length = np.diff(at_s)
    if length.size < 2:
        return float("inf")
    middle = float(np.median(length))
    wide = float(np.quantile(np.abs(length - middle), 0.8))
    return max(0.0, wide - interval_s) / max(middle, 1e-9)
