"""How often a dryer has to be read: the interval that shows its half-cycles, before a log is taken and after.

Four readings a half-cycle are the least from which a rhythm can be told from its echo; eight place the switchover and
the peak well; ten leave some to spare.
"""

from __future__ import annotations

ROUND_INTERVALS_S = (1, 2, 5, 10, 15, 20, 30, 60)
"""Steps that loggers commonly offer, up to a reading a minute [s]; common practice, no published source."""
READINGS_WANTED, READINGS_LEAST = 10, 8


def logging_interval_s(half_cycle_s: float, readings: int = READINGS_WANTED) -> float:
    """Longest round step that gives a half-cycle [s] at least so many readings; 1 s where none does."""
    fitting = [step for step in ROUND_INTERVALS_S if step * readings <= half_cycle_s]
    return float(fitting[-1] if fitting else ROUND_INTERVALS_S[0])
