"""What the room of the cycle hands on: when the towers changed over, and what each half-cycle looked like."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import pandas as pd

from diagnostics.estimate import Estimate

Control = Literal["fixed", "dew_point", "stopped", "unresolved"]
State = Literal["drying", "depressurising", "regenerating", "cooling", "repressurising", "standby"]

HALF_CYCLE_COLUMNS = (
    "start_s",
    "end_s",
    "tower",
    "complete",
    "peak_dew_point_c",
    "floor_dew_point_c",
    "end_dew_point_c",
    "mean_dew_point_c",
    "spike_dew_point_c",
)
"""Columns of `Cycle.half_cycles`: epoch s, epoch s, "A"/"B"/None, bool, then degC (the mean is taken in moisture)."""


@dataclass(frozen=True, slots=True)
class ControlSpan:
    """A stretch of the log that obeys one kind of control."""

    start_s: float
    end_s: float
    control: Control


@dataclass(frozen=True, slots=True)
class Phase:
    """What one tower does over a stretch of time."""

    start_s: float
    end_s: float
    tower: str
    state: State


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Period of a timer found in the whole log.

    Attributes
    ----------
    half_cycle_s : Estimate
    phase_s : float
        Epoch seconds of one switchover.
    phase_low_s, phase_high_s : float
        Its 95 % interval.
    false_alarm_probability : float
        Of a rhythm this strong in red noise like this log's.
    towers_differ : bool
        Whether the full cycle shows beside the half-cycle.
    """

    half_cycle_s: Estimate
    phase_s: float
    phase_low_s: float
    phase_high_s: float
    false_alarm_probability: float
    towers_differ: bool


def no_half_cycles() -> pd.DataFrame:
    """Empty table with the columns of `HALF_CYCLE_COLUMNS`."""
    floats = [c for c in HALF_CYCLE_COLUMNS if c not in ("tower", "complete")]
    table = pd.DataFrame({c: pd.Series(dtype="float64") for c in floats})
    table["tower"] = pd.Series(dtype="object")
    table["complete"] = pd.Series(dtype="bool")
    return table[list(HALF_CYCLE_COLUMNS)]


@dataclass(frozen=True)
class Cycle:
    """The towers' rhythm as the log shows it.

    Attributes
    ----------
    half_cycles : DataFrame
        One row per half-cycle, columns `HALF_CYCLE_COLUMNS`; empty when unresolved.
    half_cycle_spread_s : tuple of float or None
        5th and 95th percentile of complete half-cycles [s].
    set_point_c : Estimate or None
        Dew point at which the control switches, under dew-point control.
    shortest_half_cycle_s, longest_half_cycle_s : float or None
        Bounds of the control as the log shows them, under dew-point control.
    stopped_s : float or None
        Instant the switching ceased.
    readings_per_half_cycle : float or None
        Of the log or, unresolved, of the nameplate's half-cycle.
    time_constant_s : mapping
        ``wetting`` and ``drying`` time constants of the sample line and probe, where the trace allows.
    peak_lowered_c : Estimate or None
        What the lag takes off the peaks [K].
    """

    control: Control
    control_spans: tuple[ControlSpan, ...]
    resolved: bool
    half_cycles: pd.DataFrame = field(default_factory=no_half_cycles)
    half_cycle_s: Estimate | None = None
    half_cycle_spread_s: tuple[float, float] | None = None
    counted_in: Literal["clock_time", "running_time"] = "clock_time"
    phases: tuple[Phase, ...] = ()
    rhythm: Rhythm | None = None
    set_point_c: Estimate | None = None
    shortest_half_cycle_s: float | None = None
    longest_half_cycle_s: float | None = None
    stopped_s: float | None = None
    readings_per_half_cycle: float | None = None
    time_constant_s: dict[str, Estimate] = field(default_factory=dict)
    peak_lowered_c: Estimate | None = None
    notes: tuple[str, ...] = ()

    @cached_property
    def complete(self) -> pd.DataFrame:
        """Half-cycles seen from switchover to switchover."""
        return self.half_cycles[self.half_cycles["complete"].astype(bool)]
