"""What a reading interval can show of a dryer's half-cycle, before a log is taken and after.

Four readings a half-cycle is the least from which a rhythm can be told from its echo; eight place the switchover and
the peak well; a spike of a minute or a rise of a few minutes needs a reading every third of that.
"""

from __future__ import annotations

from typing import Literal

from diagnostics.cycle.rhythm import LEAST_READINGS
from diagnostics.moment import say_duration

WELL_READINGS = 8.0
LEAST_HOURS_OF_CYCLES = 8.0
Readable = Literal["not", "timing only", "well"]


def readability(interval_s: float, half_cycle_s: float) -> Readable:
    """Whether half-cycles of a length can be read at an interval.

    Raises
    ------
    ValueError
        If interval or half-cycle is not positive.
    """
    if not (interval_s > 0.0 and half_cycle_s > 0.0):
        raise ValueError(f"interval {interval_s} s and half-cycle {half_cycle_s} s must be above 0 s")
    readings = half_cycle_s / interval_s
    if readings < LEAST_READINGS:
        return "not"
    return "timing only" if readings < WELL_READINGS else "well"


def longest_interval_s(half_cycle_s: float, *, well: bool = True) -> float:
    """Longest interval at which half-cycles can be read (well, or at all) [s]."""
    return half_cycle_s / (WELL_READINGS if well else LEAST_READINGS)


def readable(interval_s: float, half_cycle_s: float) -> str:
    """Sentence on what an interval shows of a half-cycle.

    Parameters
    ----------
    interval_s, half_cycle_s : float
        Time between readings and length of a half-cycle [s].
    """
    every, half = say_duration(interval_s), say_duration(half_cycle_s)
    readings = half_cycle_s / interval_s
    match readability(interval_s, half_cycle_s):
        case "not":
            return (
                f"A reading every {every} gives {readings:.1f} readings in a half-cycle of {half}: too few to see the"
                f" towers change over. Log every {say_duration(longest_interval_s(half_cycle_s))} or faster."
            )
        case "timing only":
            return (
                f"A reading every {every} gives {readings:.1f} readings in a half-cycle of {half}: the switchovers can"
                f" be timed over many cycles, single peaks are caught only roughly. Every"
                f" {say_duration(longest_interval_s(half_cycle_s))} shows them well."
            )
        case _:
            return (
                f"A reading every {every} gives {readings:.0f} readings in a half-cycle of {half}: switchovers, peaks"
                " and floors can be read."
            )
