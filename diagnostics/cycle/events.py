"""Switchovers that keep no time: falls of a saw-tooth, told from noise by speed and chosen by a duration model.

Under dew point control a half-cycle ends when the outlet reaches a set point; the fresh tower then brings the moisture
down far faster than it rose. Every peak of some prominence is a candidate. A dynamic program chooses the chain of
candidates whose prominences and (log-normal) durations are likeliest together. Noise of any colour is the same run
backwards, a saw-tooth is not: falls that are as slow as rises are not believed.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from diagnostics.cycle.peaks import find_peaks
from diagnostics.cycle.trace import Trace
from diagnostics.log.record import Floats

LEAST_EVENTS = 4
MOST_AHEAD = 40
FALSE_ALARM = 1e-3
MOST_KNOWN, LEAST_KNOWN, ALIKE = 60, 10.0, 0.6
"""Known falls looked at, the noise they must stand out of, and the share of their usual drop that a fall must have."""
LARGEST_SHARE = 0.98
"""Of changes looked at to tell the scatter of a reading."""
_SAME_LEVEL = 0.05
"""Of the logarithm of moisture: half a kelvin of dew point, what a set point scatters by at least."""


@dataclass(frozen=True)
class Falls:
    """A chain of saw-tooth falls.

    Attributes
    ----------
    peak_s : ndarray
        Instants of the highest readings before the falls.
    peak, drop : ndarray
        The trace there, and how far it falls after.
    false_alarm_probability : float
        Of falls so much faster than rises in reversible noise.
    """

    peak_s: Floats
    peak: Floats
    drop: Floats
    false_alarm_probability: float

    @property
    def spread(self) -> float:
        """Robust spread of the logarithm of the durations."""
        length = np.log(np.diff(self.peak_s))
        return 1.4826 * float(np.median(np.abs(length - np.median(length))))

    @property
    def level_scatter(self) -> float:
        """Robust scatter of the level that the falls start from, in the trace's own measure."""
        return 1.4826 * float(np.median(np.abs(self.peak - np.median(self.peak))))


def find_falls(trace: Trace, least_s: float) -> Falls | None:
    """Chain of saw-tooth falls in a trace, or None where noise would do as well.

    Parameters
    ----------
    trace : Trace
    least_s : float
        Shortest half-cycle that the readings can show [s].
    """
    if trace.time_s.size < 40:
        return None
    smooth = smoothed(trace.value)
    noise = noise_of(trace.value)
    index, prominence = find_peaks(smooth, 3.0 * noise)
    if index.size < LEAST_EVENTS:
        return None
    believed = [
        found
        for group in _groups(prominence)
        if (found := _falls(trace, smooth, index, prominence, group, least_s, noise)) is not None
    ]
    if not believed:
        return None
    # A control that waits for a set point falls from one level; waves on the way up do not.
    least = min(found.level_scatter for found in believed)
    level = [found for found in believed if found.level_scatter <= 3.0 * least + _SAME_LEVEL]
    return min(level, key=lambda found: found.false_alarm_probability)


def falls_like(trace: Trace, part: Trace, known_s: Floats, half_cycle_s: float) -> Falls | None:
    """Falls of a part of the log that are like those of known switchovers elsewhere in it, or None.

    Parameters
    ----------
    trace, part : Trace
        The log and the part.
    known_s : ndarray
        Known switchovers [epoch s].
    half_cycle_s : float
        Between them [s].
    """
    known = known_s[-MOST_KNOWN:]
    usual = float(np.median([_drop_after(trace, at, half_cycle_s) for at in known]))
    noise = noise_of(trace.value)
    if usual < LEAST_KNOWN * noise:
        return None
    smooth = smoothed(part.value)
    index, _ = find_peaks(smooth, ALIKE * usual)
    alike = [i for i in index if _drop_after(part, float(part.time_s[i]), half_cycle_s) >= ALIKE * usual]
    at = part.time_s[alike]
    if at.size < 2 or float(np.diff(at).min()) < 0.5 * half_cycle_s:
        return None
    drop = smooth[alike] - np.array([smooth[a:b].min() for a, b in itertools.pairwise([*alike, smooth.size])])
    return Falls(at, part.value[alike], drop, FALSE_ALARM)


def _drop_after(trace: Trace, at_s: float, half_cycle_s: float) -> float:
    a, b, c = np.searchsorted(
        trace.time_s, (at_s - 2.0 * trace.interval_s, at_s + 0.1 * half_cycle_s, at_s + 0.4 * half_cycle_s)
    )
    return float(trace.value[a : max(b, a + 1)].max() - trace.value[a:c].min()) if c > a else 0.0


def _falls(
    trace: Trace, smooth: Floats, index: np.ndarray, height: Floats, group: np.ndarray, least_s: float, noise: float
) -> Falls | None:
    """Chain that a group of prominent peaks proposes, if it is believed."""
    strong = index[group]
    if strong.size < LEAST_EVENTS:
        return None
    usual = float(np.median(height[group]))
    picked = index[_chain(trace.time_s[index], np.log(height / (0.45 * usual)), strong, trace.time_s, least_s)]
    if picked.size < LEAST_EVENTS:
        return None
    drop, chance = _judged(trace, smooth, picked, noise)
    if chance > FALSE_ALARM:
        return None
    return Falls(trace.time_s[picked], trace.value[picked], drop, chance)


def _groups(height: Floats) -> list[np.ndarray]:
    """Groups of prominent peaks to start from: the upper one of all, then with the upper one of the rest.

    A few waves of the load stand as far above the switchovers as those above the noise.
    """
    upper = _split(height)
    groups = [upper]
    rest = ~upper
    if int(rest.sum()) > LEAST_EVENTS:
        wider = upper.copy()
        wider[rest] = _split(height[rest])
        groups.append(wider)
    return groups


def smoothed(value: Floats) -> Floats:
    """Running median of three: single odd readings go."""
    if value.size < 8:
        return value
    middle = np.median(np.stack([value[:-2], value[1:-1], value[2:]]), axis=0)
    return np.concatenate([value[:1], middle, value[-1:]])


def _split(height: Floats) -> np.ndarray:
    """Which prominences belong to the upper of two groups (largest variance between the groups of logarithms)."""
    order = np.sort(np.log(height))
    n = order.size
    total = np.cumsum(order)
    lower = np.arange(1, n)
    means = total[:-1] / lower, (total[-1] - total[:-1]) / (n - lower)
    between = lower * (n - lower) * (means[1] - means[0]) ** 2
    # the split must leave a chain: the upper group holds four at least
    between[max(0, n - LEAST_EVENTS) :] = -1.0
    cut = order[int(np.argmax(between)) + 1]
    return np.log(height) >= cut - 1e-12


def _chain(at_s: Floats, gain: Floats, strong: np.ndarray, time_s: Floats, least_s: float) -> np.ndarray:
    """Indices of the likeliest chain of candidates."""
    usual = float(np.median(np.diff(time_s[strong])))
    centre, spread = np.log(max(usual, least_s)), 0.6
    chain = np.arange(at_s.size)
    for _ in range(3):
        chain = _best_chain(at_s, gain, centre, spread, least_s)
        if chain.size < LEAST_EVENTS:
            break
        length = np.log(np.diff(at_s[chain]))
        centre = float(np.median(length))
        spread = float(np.clip(1.4826 * float(np.median(np.abs(length - centre))), 0.25, 0.6))
    return chain


def _best_chain(at_s: Floats, gain: Floats, centre: float, spread: float, least_s: float) -> np.ndarray:
    n = at_s.size
    # a row holds what comes before each candidate; before the first one nothing does
    nothing = np.full(MOST_AHEAD, -np.inf)
    before = sliding_window_view(np.concatenate([nothing, at_s]), MOST_AHEAD)[:n]
    apart = at_s[:, None] - before
    cost = np.minimum(0.5 * ((np.log(apart) - centre) / spread) ** 2, 12.0)
    cost[apart < least_s] = np.inf
    score = np.concatenate([nothing, 4.0 * gain])
    source = np.full(n, -1)
    for i in range(1, n):
        value = score[i : i + MOST_AHEAD] - cost[i]
        best = int(value.argmax())
        if value[best] > 0.0:
            score[i + MOST_AHEAD] += value[best]
            source[i] = i - MOST_AHEAD + best
    i = int(np.argmax(score[MOST_AHEAD:]))
    chain = []
    while i >= 0:
        chain.append(i)
        i = int(source[i])
    return np.array(chain[::-1])


def _judged(trace: Trace, smooth: Floats, picked: np.ndarray, noise: float) -> tuple[Floats, float]:
    """Drops after the peaks, and the chance of such a chain in reversible noise.

    Two things tell a control that waits for a set point: falls faster than rises, or floors early between two peaks,
    and peaks that all reach one level. Either may be enough; with few half-cycles both together are.
    """
    low_after, low_before = _lowest_between(smooth, picked)
    drop = smooth[picked] - smooth[low_after]
    rise = smooth[picked] - smooth[low_before]
    told = (np.minimum(drop, rise) >= 5.0 * noise) & (low_before < picked)
    counted = int(told.sum())
    if counted < LEAST_EVENTS:
        return drop, 1.0
    fall_s, rise_s = _half_times(trace.time_s, smooth, picked, low_before, drop, rise)
    faster = int((fall_s[told] < 0.5 * rise_s[told]).sum())
    by_speed = min(_beyond(faster, counted, 1.0 / 3.0), _chance_of_early_floors(smooth, picked, noise))
    swing = float(np.median(np.minimum(drop, rise)[told]))
    by_level = _chance_of_one_level(smooth[picked][told], swing, digit_of(trace.value))
    together = max(by_speed * by_level, 1e-300)
    # the product of two chances is small oftener than either: its own distribution counts
    return drop, 2.0 * min(by_speed, together * (1.0 - np.log(together)))


def _beyond(faster: float, counted: int, share: float) -> float:
    """Chance of so many or more out of ``counted``."""
    from scipy.special import bdtrc

    return float(bdtrc(faster - 1.0, counted, share)) if faster > 0 else 1.0


def _chance_of_one_level(level: Floats, swing: float, digit: float) -> float:
    """Chance that two thirds of the peaks, each anywhere within a swing of the next, lie as close together as these.

    Peaks of one last digit lie anywhere within it.
    """
    ordered = np.sort(level)
    n = ordered.size
    many = max(LEAST_EVENTS, -(-2 * n // 3))
    if many > n or swing <= 0.0:
        return 1.0
    width = max(float((ordered[many - 1 :] - ordered[: n - many + 1]).min()), digit) / swing
    if width >= 1.0:
        return 1.0
    ways = float(np.log(many) + _log_choose(n, many))
    return float(np.exp(min(0.0, ways + (many - 1.0) * np.log(max(width, 1e-6)))))


def _log_choose(n: int, k: int) -> float:
    from scipy.special import gammaln

    return float(gammaln(n + 1.0) - gammaln(k + 1.0) - gammaln(n - k + 1.0))


def _lowest_between(smooth: Floats, picked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Index of the lowest reading after each peak up to the next one, and before it back to the one before."""
    bounds = np.concatenate([[0], picked, [smooth.size]])
    lowest = np.array([a + int(np.argmin(smooth[a:b])) if b > a else a for a, b in itertools.pairwise(bounds)])
    return lowest[1:], lowest[:-1]


def _half_times(
    time_s: Floats, smooth: Floats, picked: np.ndarray, low_before: np.ndarray, drop: Floats, rise: Floats
) -> tuple[Floats, Floats]:
    """How long each peak takes to fall by half its drop, and took to rise by the last half of its rise [s]."""
    ends = np.append(picked[1:], smooth.size)
    fall_s, rise_s = np.empty(picked.size), np.empty(picked.size)
    for i, (at, end, low) in enumerate(zip(picked, ends, low_before, strict=True)):
        half_fall = at + int(np.argmax(smooth[at:end] <= smooth[at] - 0.5 * drop[i]))
        below = smooth[low : at + 1] <= smooth[at] - 0.5 * rise[i]
        half_rise = at - int(np.argmax(below[::-1])) if below.any() else low
        fall_s[i], rise_s[i] = time_s[half_fall] - time_s[at], time_s[at] - time_s[half_rise]
    return fall_s, rise_s


def _chance_of_early_floors(smooth: Floats, picked: np.ndarray, noise: float) -> float:
    """Chance that reversible noise is lowest so much oftener in the first half between two peaks than in the second.

    A fresh tower starts with a spike and dries down early; what follows until the next switchover is slow.
    """
    early, counted = 0.0, 0
    for a, b in itertools.pairwise(picked):
        between = smooth[a : b + 1]
        low = float(between.min())
        if min(between[0], between[-1]) - low < 5.0 * noise:
            continue
        # the last digit makes many readings the lowest: their middle counts
        place = float(np.flatnonzero(between <= low + noise).mean()) / (b - a)
        early += float(place < 0.5)
        counted += 1
    return _beyond(early, counted, 0.5) if counted >= LEAST_EVENTS else 1.0


def noise_of(value: Floats) -> float:
    """Scatter of one reading, by the last digit at least.

    The share of changes up to their median tells it: of whole digits the median itself is too coarse.
    """
    from scipy.special import ndtri

    change, digit = np.abs(np.diff(value)), digit_of(value)
    if change.size == 0:
        return 1e-9
    usual = float(np.median(change)) + 0.5 * digit
    share = min(float(np.mean(change <= usual)), LARGEST_SHARE)
    return max(usual / float(ndtri(0.5 + 0.5 * share)) / np.sqrt(2.0), digit / np.sqrt(12.0)) + 1e-9


def digit_of(value: Floats) -> float:
    """Smallest step between readings: the last digit, where the log has one."""
    change = np.abs(np.diff(value))
    return float(change[change > 0].min()) if (change > 0).any() else 0.0
