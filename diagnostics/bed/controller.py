"""When the towers change over: a timer, a timer that stands with the compressor, or the dew point.

Question: is it time to switch? Inputs: time since the last switchover, whether air flows, the leaving air's dew point.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Rule = Literal["clock_time", "running_time", "dew_point", "none"]


@dataclass
class Controller:
    """Decides on switchovers.

    Attributes
    ----------
    rule : {"clock_time", "running_time", "dew_point", "none"}
        "none" never switches again.
    half_cycle_s : float
        The timer's, as it really runs [s].
    shortest_s, longest_s, set_point_c : float
        For the rule "dew_point".
    least_s : float
        What the resting tower needs until it can take over [s].
    counted_s : float
        What has been counted since the last switchover [s].
    """

    rule: Rule
    half_cycle_s: float
    shortest_s: float
    longest_s: float
    set_point_c: float
    least_s: float = 0.0
    counted_s: float = 0.0

    def longest_block_s(self, detection_s: float) -> float:
        """How far time may run until the next question [s]."""
        if self.rule == "none":
            return 3600.0
        if self.rule != "dew_point":
            return max(self.half_cycle_s - self.counted_s, 0.0)
        if self.counted_s < self.shortest_s:
            return self.shortest_s - self.counted_s
        return min(detection_s, max(self.longest_s - self.counted_s, 0.0))

    def count(self, duration_s: float, running: bool) -> None:
        """Let time pass."""
        if running or self.rule != "running_time":
            self.counted_s += duration_s

    def due(self, dew_point_c: float) -> bool:
        """Whether to switch now."""
        if self.rule == "none" or self.counted_s < self.least_s - 1e-6:
            return False
        if self.rule == "dew_point":
            wet = self.counted_s >= self.shortest_s - 1e-6 and dew_point_c >= self.set_point_c
            return wet or self.counted_s >= self.longest_s - 1e-6
        return self.counted_s >= self.half_cycle_s - 1e-6

    def restart(self) -> None:
        """Begin a new half-cycle."""
        self.counted_s = 0.0
