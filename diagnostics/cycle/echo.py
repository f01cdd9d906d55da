"""Is a slow rhythm only the echo of a timer too fast for the logger?

A timer whose half-cycle holds fewer than four readings meets the logger's own clock at the same place again and again:
the readings repeat after some larger number of half-cycles, and that period folds well. The fast wave itself then
explains most of what the slow fold explains.
"""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.folding import without_drift
from diagnostics.cycle.rhythm import LEAST_READINGS
from diagnostics.cycle.trace import Trace
from diagnostics.cycle.tracking import Course
from diagnostics.log.record import Floats

FASTEST = 2.05
"""Readings a wave must hold to be told from a slower one."""
EXPLAINED = 0.5
MOST_READINGS, CHUNK = 20_000, 100
"""Readings looked at, and those of one wave: over more of them the period found is not good enough."""


def is_echo(trace: Trace, course: Course) -> bool:
    """Whether a wave of too few readings, a whole part of the half-cycle found, explains most of what that does."""
    half, step = course.half_cycle_s, trace.interval_s
    parts = np.arange(np.floor(half / (LEAST_READINGS * step)) + 1.0, np.floor(half / (FASTEST * step)) + 1.0)
    parts = parts[(half / parts < LEAST_READINGS * step) & (parts >= 2.0)]
    if parts.size == 0:
        return False
    longest = max(course.pieces, key=lambda piece: piece.end_s - piece.start_s)
    part = trace.part(longest.start_s, longest.end_s)
    time_s, level = part.time_s[:MOST_READINGS], without_drift(part, 2.0 * half)[:MOST_READINGS]
    if time_s.size < 16:
        return False
    level = level[: time_s.size // CHUNK * CHUNK] if time_s.size >= CHUNK else level
    chunks = np.array_split(np.arange(level.size), max(1, level.size // CHUNK))
    whole = course.coherence * float((level**2).sum())
    return any(
        sum(_explained(time_s[c], level[c], half / number) for c in chunks) > EXPLAINED * whole for number in parts
    )


def _explained(time_s: Floats, level: Floats, period_s: float) -> float:
    """Square sum that a wave explains beyond chance; its harmonics fold back onto other periods and stay out."""
    angle = 2.0 * np.pi * (time_s - time_s[0]) / period_s
    basis = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    found, *_ = np.linalg.lstsq(basis, level, rcond=1e-6)
    explained = float(((basis @ found) ** 2).sum())
    left = float((level**2).sum()) - explained
    return explained - left * basis.shape[1] / max(1, level.size - basis.shape[1])
