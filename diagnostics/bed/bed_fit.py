"""What is said of a bed that was fitted to a log: figures, how sure each is, which of them the log fixes.

A figure whose 95 % interval spans more than a factor of two counts as open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diagnostics.bed.column import Array
from diagnostics.bed.twin import Conditions
from diagnostics.estimate import Estimate

NAMES = ("capacity", "kinetics", "residual", "floor")
"""Multiples of new beads' capacity and rate [-]; share of the bed that regeneration leaves full [-]; moisture of the
driest air, what leaks past the bed included [-]."""
SPIKE_SHARE = 0.25
"""Share of a half-cycle that the switchover's spike may take; left out of every fit."""
_FIXED_FACTOR = 2.0
_JUMP, _MISPLACED_SHARE = 0.7, 0.15
_SMALL_RESIDUAL = 0.1
_SPOKEN = {"capacity": "capacity", "kinetics": "pace", "residual": "residual water", "floor": "driest air"}


@dataclass(frozen=True)
class ObservedHalfCycle:
    """One half-cycle of one tower.

    Attributes
    ----------
    since_s : array
        Time since the switchover [s], ascending.
    dew_point_c : array
        Pressure dew point as read [degC].
    course : tuple of (float, Conditions)
        The load, stretch after stretch: how long each lasts [s] and what it is.
    """

    since_s: Array
    dew_point_c: Array
    course: tuple[tuple[float, Conditions], ...]


@dataclass(frozen=True)
class BedFit:
    """A tower's bed as its half-cycles show it.

    Attributes
    ----------
    values : dict of str to Estimate
        By `NAMES`; an interval is as wide as the log leaves it. What does not show at all is missing.
    correlation : array (k, k)
        In the order of `values`; of logarithms, the residual's as it is.
    misfit : float
        Root mean square of the logarithm of moisture [e-folds].
    fixed, free : tuple of str
        What the log fixes, and what it leaves open.
    word : str
        The same as a sentence.
    at_least : dict of str to float
        Lower ends of what has no upper one.
    """

    values: dict[str, Estimate]
    correlation: Array
    misfit: float
    fixed: tuple[str, ...]
    free: tuple[str, ...]
    word: str
    at_least: dict[str, float] = field(default_factory=dict)


def is_fixed(name: str, estimate: Estimate) -> bool:
    """Whether an interval is narrow enough to act on: within a factor of two, or a small residual."""
    if name == "residual" and estimate.high - estimate.low <= _SMALL_RESIDUAL:
        return True
    return estimate.low > 0.0 and estimate.high / estimate.low <= _FIXED_FACTOR


def listed(names: tuple[str, ...]) -> str:
    """Names as they are spoken, with "and" before the last."""
    spoken = [_SPOKEN[name] for name in names]
    return spoken[0] if len(spoken) == 1 else f"{', '.join(spoken[:-1])} and {spoken[-1]}"


def past_the_spike(half_cycle: ObservedHalfCycle, pressure_bar: float) -> tuple[Array, Array]:
    """Times [s] and logarithms of moisture of the readings that count.

    Left out are the switchover's spike and, where the next changeover was placed late, the start of the next one: a
    front rises over many readings, never by a jump.
    """
    from diagnostics.air.humidity import moisture_fraction

    times = np.asarray(half_cycle.since_s, float)
    keep = (times > SPIKE_SHARE * times[-1]) & np.isfinite(half_cycle.dew_point_c)
    times, last_s = times[keep], float(times[-1])
    logs = np.log(np.asarray(moisture_fraction(np.asarray(half_cycle.dew_point_c)[keep], pressure_bar)))
    jumps = np.flatnonzero((np.diff(logs) > _JUMP) & (times[1:] > (1.0 - _MISPLACED_SHARE) * last_s))
    end = int(jumps[0]) + 1 if jumps.size else times.size
    return times[:end], logs[:end]


def mean_load(half_cycles: Sequence[ObservedHalfCycle]) -> Conditions:
    """Mean of the loads, each as long as it lasted."""
    parts = [part for half_cycle in half_cycles for part in half_cycle.course]
    weights = np.array([duration for duration, _ in parts])

    def mean(name: str) -> float:
        return float(np.average([getattr(load, name) for _, load in parts], weights=weights))

    return replace(
        parts[0][1],
        feed_kg_s=mean("feed_kg_s"),
        inlet_k=mean("inlet_k"),
        inlet_dew_point_k=mean("inlet_dew_point_k"),
        line_pa=mean("line_pa"),
        room_k=mean("room_k"),
    )
