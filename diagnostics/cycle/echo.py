"""Is a slow rhythm only the echo of a timer too fast for the logger?

A timer whose half-cycle holds fewer than four readings meets the logger's own clock at the same place again and again:
the readings repeat after some larger number of half-cycles, and that period folds well. The fast wave itself then
explains most of what the slow fold explains.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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
    if course.towers_differ:
        # an echo of three half-cycles may pass for a full cycle
        half *= 2.0
    parts = np.arange(np.floor(half / (LEAST_READINGS * step)) + 1.0, np.floor(half / (FASTEST * step)) + 1.0)
    parts = parts[(half / parts < LEAST_READINGS * step) & (parts >= (3.0 if course.towers_differ else 2.0))]
    if parts.size == 0:
        return False
    longest = max(course.pieces, key=lambda piece: piece.end_s - piece.start_s)
    part = trace.part(longest.start_s, longest.end_s)
    time_s, level = part.time_s[:MOST_READINGS], without_drift(part, 2.0 * half)[:MOST_READINGS]
    if time_s.size < 16:
        return False
    length = min(CHUNK, time_s.size)
    kept = time_s.size // length * length
    time_s, level = time_s[:kept].reshape(-1, length), level[:kept].reshape(-1, length)
    whole = course.coherence * float((level**2).sum())
    angle = 2.0 * np.pi * (time_s - time_s[:, :1]) / half
    wave, turn = np.exp(1j * parts[0] * angle), np.exp(1j * angle)
    for _ in parts:
        if _explained(wave, level) > EXPLAINED * whole:
            return True
        wave *= turn
    return False


def _explained(wave: NDArray[np.complex128], level: Floats) -> float:
    """Square sum that a wave explains beyond chance in each row; its harmonics fold back onto other periods."""
    many = level.shape[1]
    heard, twice = (wave * level).sum(axis=1), (wave * wave).sum(axis=1)
    a, b = heard.real, heard.imag
    # normal equations of cosine and sine
    aa, bb, ab = 0.5 * (many + twice.real), 0.5 * (many - twice.real), 0.5 * twice.imag
    explained = (a * a * bb - 2.0 * a * b * ab + b * b * aa) / np.maximum(aa * bb - ab * ab, 1e-6 * many**2)
    left = (level**2).sum(axis=1) - explained
    return float((explained - left * 2.0 / max(1, many - 2)).sum())
