"""The timer's period: which comb of spectral lines, and how sure.

Strong lines and the distances between them propose fundamentals; the shortest period whose fold explains nearly as much
of the trace as the best one wins, so that neither a harmonic nor a multiple is taken for it. Whether that period is a
half-cycle or the full cycle of two unlike towers is told later, by the breaks in the folded curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.cycle.spectrum import MOST_HARMONICS, Spectrum, spectrum_of
from diagnostics.cycle.trace import Trace, even_grid
from diagnostics.log.record import Flags, Floats

LEAST_READINGS = 4.0
"""Readings a half-cycle below which no rhythm is believed (the contract's definition of unresolved)."""
LEAST_HALF_CYCLES = 4.0
LEAST_SERIES = 16
FALSE_ALARM = 1e-3
MOST_LINES = 60
LEAST_LINE = 7.0
ECHO = 0.55
MOST_FOLDED = 40_000
MOST_HATS, MOST_BINS = 64, 800
HOPE = 0.4
"""Share of the best explanation by harmonics below which a fold is not tried."""
LIKE_PLATE = 0.03
"""Share by which a period may differ from the timer's setting to count as it."""
SIMPLEST = 0.8
"""Share of the best explanation that a shorter period has to reach to be preferred."""


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
    if trace.time_s.size < LEAST_SERIES:
        return None
    even, step_s = even_grid(trace)
    spectrum = spectrum_of(even, step_s)
    lines = _lines(spectrum)
    resolution = 1.0 / trace.duration_s
    trials = _trials(lines, LEAST_HALF_CYCLES * resolution, 1.0 / (LEAST_READINGS * step_s), resolution)
    if trials.size == 0:
        return None
    change = _changes(even, step_s, float(lines.frequency_hz[0]))
    hopeful = _hopeful(change, step_s, trials)
    share = np.full(trials.size, -1.0)
    share[hopeful] = [_folded_share(change, step_s, 1.0 / trial) for trial in trials[hopeful]]
    if float(share.max()) <= 0.0:
        return None
    frequency = _simplest(trials, share)
    frequency = _of_plate(trials, share, frequency, trace.plate_s)
    near = trials[hopeful & (np.abs(trials - frequency) < 1.0 / (change.size * step_s))]
    frequency = _sharpened(spectrum, np.append(near, frequency), resolution)
    chance = _false_alarm(spectrum, frequency)
    return Comb(1.0 / frequency, float(share.max()), chance) if chance < FALSE_ALARM else None


def _simplest(trials: Floats, share: Floats) -> float:
    """Highest fundamental that explains nearly as much as the best one.

    A period of three or more times a shorter one that explains half as much is an echo of the logger's own clock,
    which meets a sharp spike at the same place again and again: two towers make a full cycle of two, nothing makes one
    of three.
    """
    best = int(np.argmax(share))
    chosen = float(trials[share >= SIMPLEST * share[best]].max())
    times = trials / chosen
    whole = (np.rint(times) >= 3) & (np.abs(times - np.rint(times)) < 0.01 * np.rint(times))
    whole &= share >= ECHO * share[best]
    if whole.any():
        most = float(share[whole].max())
        return float(trials[whole & (share >= SIMPLEST * most)].max())
    return chosen


def _of_plate(trials: Floats, share: Floats, chosen_hz: float, plate_s: float | None) -> float:
    """The timer's setting where the period chosen is a multiple of it that explains more only by what else recurs."""
    if plate_s is None:
        return chosen_hz
    times = plate_s * trials
    like = (np.abs(times - 1.0) < LIKE_PLATE) & (share > 0.0)
    if not like.any():
        return chosen_hz
    own = float(trials[like][int(np.argmax(share[like]))])
    many = own / chosen_hz
    whole = np.rint(many) >= 3 and abs(many - np.rint(many)) < 0.01 * np.rint(many)
    return own if whole else chosen_hz


def _sharpened(spectrum: Spectrum, near_hz: Floats, resolution_hz: float) -> float:
    """Fundamental that best meets its harmonics in the whole log, among neighbours that a fold does not tell apart."""
    frequency = float(near_hz[int(np.argmax(_strength(spectrum, near_hz)))])
    around = frequency + np.linspace(-0.5, 0.5, 41) * resolution_hz
    return float(around[int(np.argmax(_strength(spectrum, around)))])


def _strength(spectrum: Spectrum, trials_hz: Floats) -> Floats:
    """Sum of the logarithmic power of each comb's lines."""
    most = int((spectrum.power.size - 2) * spectrum.step_hz / float(trials_hz.max()))
    order = np.arange(1, max(1, min(MOST_HARMONICS, most)) + 1)
    place = trials_hz[:, None] * order / spectrum.step_hz
    return np.asarray(np.log1p(spectrum.between(place)).sum(axis=1), dtype=np.float64)


@dataclass(frozen=True)
class _Lines:
    """Peaks of a spectrum, strongest first."""

    frequency_hz: Floats
    amplitude: Floats


def _lines(spectrum: Spectrum) -> _Lines:
    power = spectrum.power
    peaks = np.flatnonzero((power[1:-1] >= power[:-2]) & (power[1:-1] >= power[2:])) + 1
    order = peaks[np.argsort(power[peaks])[::-1][:MOST_LINES]]
    return _Lines((order + _vertex(power, order)) * spectrum.step_hz, np.sqrt(power[order]))


def _trials(lines: _Lines, lowest_hz: float, highest_hz: float, resolution_hz: float) -> Floats:
    """Fundamentals worth trying: fractions of strong lines and the distances between them, each once."""
    strong = lines.frequency_hz[:20]
    apart = np.abs(strong[:, None] - strong[None, :])[np.triu_indices(strong.size, 1)]
    rough = np.concatenate([(strong[:, None] / np.arange(1, 9)[None, :]).ravel(), apart, apart / 2.0])
    rough = rough[(rough > 0.9 * lowest_hz) & (rough <= 1.1 * highest_hz)]
    fine = _balanced(lines, rough, resolution_hz)
    fine = np.sort(fine[(fine >= lowest_hz) & (fine <= highest_hz)])
    return fine[np.append(True, np.diff(fine) > 0.05 * resolution_hz)] if fine.size else fine


def _changes(even: Floats, step_s: float, frequency_hz: float) -> Floats:
    """Changes over a quarter of the strongest line's period: no drift is left, and little of the last digit's noise."""
    apart = int(np.clip(round(0.25 / (frequency_hz * step_s)), 1, max(1, even.size // 8)))
    change = even[apart:] - even[:-apart]
    limit = 8.0 * float(np.quantile(np.abs(change), 0.98)) + 1e-12
    return np.clip(change, -limit, limit)[:MOST_FOLDED]


def _hopeful(change: Floats, step_s: float, trials: Floats) -> Flags:
    """Which fundamentals can explain a good part of what the best one does.

    A fold explains what the harmonics of its period do, and those are read off one periodogram; the fold itself, which
    needs no frequencies to be near a computed one, then decides among those that are left.
    """
    from scipy.fft import next_fast_len, rfft

    n = change.size
    length = next_fast_len(4 * n, real=True)
    power = np.abs(rfft(change, length)) ** 2 * (2.0 / n)
    step_hz = 1.0 / (length * step_s)
    whole = float((change**2).sum())
    many = np.clip(np.rint(1.0 / (trials * step_s)), 4, MOST_BINS).astype(np.int64) // 2
    first = np.cumsum(many) - many
    order = np.arange(1, int(many.sum()) + 1) - np.repeat(first, many)
    place = np.rint(order * np.repeat(trials / step_hz, many)).astype(np.int64)
    heard = np.where(place < power.size, power[np.minimum(place, power.size - 1)], 0.0)
    explained = np.add.reduceat(heard, first)
    hopes = explained - np.maximum(whole - explained, 0.0) / np.maximum(1, n - 2 * many) * 2 * many
    return np.asarray(hopes >= HOPE * hopes.max())


def _folded_share(change: Floats, step_s: float, period_s: float) -> float:
    """Share of the changes' variance that a fold at this period explains, less what it would explain by chance."""
    cells = period_s / step_s
    bins = max(4, min(round(cells), MOST_BINS))
    position = np.mod(np.arange(change.size) * (bins / cells), bins)
    cell = np.minimum(position.astype(np.int64), bins - 1)
    if bins <= MOST_HATS:
        explained, used = _by_hats(change, position - cell, cell, bins)
    else:
        count, total = np.bincount(cell, minlength=bins), np.bincount(cell, change, bins)
        full = count > 0
        explained, used = float((total[full] ** 2 / count[full]).sum()), int(full.sum())
    whole = float((change**2).sum())
    by_chance = (whole - explained) / max(1, change.size - used) * used
    return (explained - by_chance) / max(whole, 1e-300)


def folded_energy(since_s: Floats, level: Floats, interval_s: float, period_s: float) -> float:
    """Sum of squares that a periodic polyline explains, with a knot a reading but few enough to be quick.

    Parameters
    ----------
    since_s, level : ndarray, shape (n,)
    interval_s, period_s : float
    """
    bins = int(np.clip(round(period_s / interval_s), 4, MOST_HATS))
    position = np.mod(since_s * (bins / period_s), bins)
    cell = np.minimum(position.astype(np.int64), bins - 1)
    return _by_hats(level, position - cell, cell, bins)[0]


def _by_hats(change: Floats, into: Floats, cell: np.ndarray, bins: int) -> tuple[float, int]:
    """Variance explained by a periodic polyline with a knot a reading: no finer, or readings of one half-cycle would be
    told from those of the next by where the logger happened to catch them."""
    following = (cell + 1) % bins
    normal = np.zeros((bins, bins))
    here, there = 1.0 - into, into
    own = np.bincount(cell, here**2, bins) + np.bincount(following, there**2, bins)
    cross = np.bincount(cell, here * there, bins)
    normal[np.arange(bins), np.arange(bins)] = own + 1e-9 * own.max()
    normal[np.arange(bins), (np.arange(bins) + 1) % bins] += cross
    normal[(np.arange(bins) + 1) % bins, np.arange(bins)] += cross
    right = np.bincount(cell, here * change, bins) + np.bincount(following, there * change, bins)
    return float(right @ np.linalg.solve(normal, right)), bins


def _balanced(lines: _Lines, rough_hz: Floats, resolution_hz: float) -> Floats:
    """Frequencies through the lines each comb meets, weighted by amplitude and squared order, low orders first."""
    strong = lines.amplitude**2 > LEAST_LINE
    line, amplitude = lines.frequency_hz[strong], lines.amplitude[strong]
    fine = rough_hz.copy()
    for most in (2, 4, 8, 16, 32, 64):
        order = np.rint(line / fine[:, None])
        met = (order >= 1) & (order <= most) & (np.abs(line - order * fine[:, None]) < resolution_hz)
        weight = np.where(met, amplitude * order, 0.0)
        below = (weight * order).sum(axis=1)
        fine = np.where(below > 0.0, weight @ line / np.where(below > 0.0, below, 1.0), fine)
    return fine


def _false_alarm(spectrum: Spectrum, frequency_hz: float) -> float:
    """Chance of a comb this strong anywhere in red noise like this log's, every trial counted."""
    from scipy.special import gammaincc

    most = int((spectrum.power.size - 2) * spectrum.step_hz / frequency_hz)
    order = np.arange(1, max(1, min(MOST_HARMONICS, most)) + 1)
    sums = np.cumsum(spectrum.at(frequency_hz * order.astype(np.float64)))
    trials = spectrum.power.size * 12.0 * order.size
    with np.errstate(divide="ignore"):
        log_chance = np.log(gammaincc(order, sums))
    return float(np.exp(min(0.0, (log_chance + np.log(trials)).min())))


def _vertex(power: Floats, index: np.ndarray) -> Floats:
    root = np.sqrt(power)
    before, at, after = root[index - 1], root[index], root[index + 1]
    curve = before - 2.0 * at + after
    return np.where(curve < 0, 0.5 * (before - after) / np.where(curve < 0, curve, -1.0), 0.0)
