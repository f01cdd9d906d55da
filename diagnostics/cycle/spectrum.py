"""Is there a rhythm, and how sure: lines of the spectrum against the log's own red noise.

The periodogram is divided by its own running quantile over neighbouring frequencies, so that drift, load waves and
probe noise become a flat background of mean one (exponential under noise). A timer then stands as a comb of narrow
lines."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from diagnostics.log.record import Floats

MOST_HARMONICS = 48
QUANTILE = 0.3
"""Of the power in a band, from which its background is reckoned: low enough that a dense comb does not raise it."""


@dataclass(frozen=True)
class Spectrum:
    """Periodogram over background.

    Attributes
    ----------
    power : ndarray
        Ratio to the local background, mean one under noise.
    step_hz : float
        Frequency between neighbours; zero padding makes it half the resolution.
    """

    power: Floats
    step_hz: float

    def at(self, frequency_hz: Floats) -> Floats:
        """Power at the nearest computed frequency; zero beyond the last."""
        index = np.rint(np.asarray(frequency_hz) / self.step_hz).astype(np.int64)
        inside = (index > 0) & (index < self.power.size)
        return np.where(inside, self.power[np.where(inside, index, 0)], 0.0)

    def between(self, place: Floats) -> Floats:
        """Power at places counted in steps of frequency, straight between computed ones; zero beyond the last."""
        below = np.minimum(place.astype(np.int64), self.power.size - 2)
        part = np.clip(place - below, 0.0, 1.0)
        power = (1.0 - part) * self.power[below] + part * self.power[below + 1]
        return np.where(place < self.power.size - 1, power, 0.0)


def spectrum_of(even: Floats, step_s: float) -> Spectrum:
    """Periodogram of an even series over its running background.

    Parameters
    ----------
    even : ndarray, shape (n,)
    step_s : float
        Between readings [s].

    Returns
    -------
    Spectrum
    """
    from scipy.fft import next_fast_len, rfft

    n = even.size
    jumps = np.diff(even, prepend=even[0])
    largest = 30.0 * float(np.median(np.abs(jumps))) + 5.0 * np.std(jumps)
    tapered = np.clip(jumps, -largest, largest) * np.hanning(n)
    length = next_fast_len(2 * n, real=True)
    power = np.abs(rfft(tapered, length)) ** 2
    return Spectrum(power / _background(power, length / n), 1.0 / (length * step_s))


def _background(power: Floats, padding: float) -> Floats:
    """Background from a low quantile of the power over a band that grows with frequency, as a smooth curve."""
    size = power.size
    edges = [1]
    while edges[-1] < size:
        edges.append(int(max(edges[-1] * 1.12, edges[-1] + 12 * padding)))
    edges[-1] = size
    centres, levels = [], []
    for a, b in itertools.pairwise(edges):
        centres.append(np.log(np.sqrt(a * b)))
        levels.append(np.log(float(np.quantile(power[a:b], QUANTILE)) / -np.log(1.0 - QUANTILE) + 1e-300))
    level = np.asarray(levels)
    if level.size >= 5:
        from scipy.ndimage import median_filter

        level = median_filter(level, 3, mode="nearest")
    index = np.log(np.maximum(np.arange(size), 1))
    return np.exp(np.interp(index, centres, level))
