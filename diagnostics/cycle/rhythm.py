"""The timer's period: which comb of spectral lines, full cycle or half-cycle, and how sure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.cycle.folding import Folded, break_misfit, fold, place_break, without_drift
from diagnostics.cycle.spectrum import MOST_HARMONICS, Spectrum, spectrum_of
from diagnostics.cycle.trace import Trace, even_grid
from diagnostics.log.record import Floats

LEAST_READINGS = 4.0
"""Readings a half-cycle below which no rhythm is believed (the contract's definition of unresolved)."""
LEAST_HALF_CYCLES = 4.0
FALSE_ALARM = 1e-3


@dataclass(frozen=True)
class Comb:
    """A set of equally spaced lines.

    Attributes
    ----------
    period_s : float
    strength : float
        Sum of the lines' logarithmic power.
    false_alarm_probability : float
        Of a comb this strong anywhere in the band in red noise like this log's.
    """

    period_s: float
    strength: float
    false_alarm_probability: float


def find_comb(trace: Trace) -> Comb | None:
    """Strongest comb of lines in a series, or None where noise would do as well.

    Parameters
    ----------
    trace : Trace

    Returns
    -------
    Comb or None
    """
    if trace.time_s.size < 16:
        return None
    even, step_s = even_grid(trace)
    spectrum = spectrum_of(even, step_s)
    shortest, longest = LEAST_READINGS * step_s, trace.duration_s / LEAST_HALF_CYCLES
    candidates = _candidates(spectrum, shortest, longest)
    if candidates.size == 0:
        return None
    best = _best(spectrum, candidates, trace.duration_s)
    return best if best.false_alarm_probability < FALSE_ALARM else None


def _candidates(spectrum: Spectrum, shortest_s: float, longest_s: float) -> Floats:
    power = spectrum.power
    peaks = np.flatnonzero((power[1:-1] >= power[:-2]) & (power[1:-1] >= power[2:])) + 1
    strong = peaks[np.argsort(power[peaks])[::-1][:24]]
    line = (strong + _vertex(power, strong)) * spectrum.step_hz
    trials = (line[:, None] / np.arange(1, 13)[None, :]).ravel()
    return trials[(trials <= 1.0 / shortest_s) & (trials >= 1.0 / longest_s)]


def _vertex(power: Floats, index: np.ndarray) -> Floats:
    root = np.sqrt(power)
    before, at, after = root[index - 1], root[index], root[index + 1]
    curve = before - 2.0 * at + after
    return np.where(curve < 0, 0.5 * (before - after) / np.where(curve < 0, curve, -1.0), 0.0)


def _best(spectrum: Spectrum, candidates: Floats, duration_s: float) -> Comb:
    from scipy.stats import gamma

    resolution = 1.0 / duration_s
    trials_log = np.log(spectrum.power.size)
    found: list[tuple[float, float, float]] = []
    for start in candidates:
        frequency = _refine(spectrum, start, resolution)
        teeth = min(MOST_HARMONICS, int((spectrum.power.size - 2) * spectrum.step_hz / frequency))
        if teeth < 1:
            continue
        power = spectrum.at(frequency * np.arange(1, teeth + 1))
        sums = np.cumsum(power)
        orders = np.arange(1, teeth + 1)
        chance = gamma.logsf(sums, orders) + trials_log + np.log(12.0 * teeth)
        strength = float(np.log(np.maximum(power, 1.0)).clip(0.0, 12.0)[power > 8.0].sum())
        found.append((frequency, strength, float(chance.min())))
    if not found:
        return Comb(0.0, 0.0, 1.0)
    most = max(strength for _, strength, _ in found)
    fitting = [item for item in found if item[1] >= 0.9 * most]
    frequency, strength, chance = max(fitting)
    likeliest = min(item[2] for item in found if abs(item[0] / frequency - 1.0) < 1e-3)
    return Comb(1.0 / frequency, strength, float(np.exp(min(0.0, likeliest))))


def _refine(spectrum: Spectrum, frequency_hz: float, resolution_hz: float) -> float:
    """Frequency near a first guess that gathers most power over its harmonics, each weighed in turn."""
    band = (spectrum.power.size - 2) * spectrum.step_hz
    order = 1
    while order * frequency_hz <= band and order <= MOST_HARMONICS:
        trial = frequency_hz + np.linspace(-0.6, 0.6, 13) * resolution_hz / order
        teeth = np.arange(1, order + 1)
        gathered = np.log1p(spectrum.at(trial[:, None] * teeth[None, :])).sum(axis=1)
        frequency_hz = float(trial[int(np.argmax(gathered))])
        order *= 2
    return frequency_hz


@dataclass(frozen=True)
class Timer:
    """A fixed timer's half-cycle and one of its switchovers.

    Attributes
    ----------
    half_cycle_s, phase_s : float
        Length and epoch seconds of one switchover.
    towers_differ : bool
    folded : Folded
        The average full cycle, from ``phase_s`` on.
    """

    half_cycle_s: float
    phase_s: float
    towers_differ: bool
    folded: Folded


def timer_of(trace: Trace, comb: Comb, plate_s: float | None) -> Timer | None:
    """Half-cycle and phase of the timer behind a comb of lines."""
    interval = trace.interval_s
    origin = float(trace.time_s[0])
    one = _folded(trace, comb.period_s, origin)
    two = _folded(trace, 2.0 * comb.period_s, origin)
    phase = place_break(one, interval, 1)
    half, differ = comb.period_s, False
    if comb.period_s >= 2.0 * LEAST_READINGS * interval and _has_two_breaks(one, interval, plate_s):
        half, differ = 0.5 * comb.period_s, True
        phase = place_break(one, interval, 2)
        two = one
    return Timer(half, origin + phase, differ, two)


def _folded(trace: Trace, period_s: float, origin_s: float) -> Folded:
    level = without_drift(trace, period_s)
    return fold(trace.time_s, level, period_s, trace.interval_s, origin_s)


def _has_two_breaks(folded: Folded, interval_s: float, plate_s: float | None) -> bool:
    single = break_misfit(folded, np.array([place_break(folded, interval_s, 1)]), interval_s, 1)[0]
    double = break_misfit(folded, np.array([place_break(folded, interval_s, 2)]), interval_s, 2)[0]
    points = folded.value.size
    lean = 0.0
    if plate_s is not None:
        lean = 2.0 if abs(np.log(folded.period_s / 2.0 / plate_s)) < 0.25 else 0.0
        lean -= 2.0 if abs(np.log(folded.period_s / plate_s)) < 0.25 else 0.0
    gain = points * np.log(max(single, 1e-15) / max(double, 1e-15)) - 9.0 * np.log(points)
    return bool(gain + 8.0 * lean > 0)
