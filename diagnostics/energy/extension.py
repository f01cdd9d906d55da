"""How long half-cycles last when they end on dew point, and how many regenerations that leaves.

Question: mean half-cycle and regenerations over a load pattern. Method: at each load the repeatable half-cycle is what
the bed holds at rated load over the load ratio, plus detection, between the shortest and the longest; regenerations
are time over half-cycle, so the mean half-cycle is the harmonic mean over the time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.cycle.record import Cycle
from diagnostics.energy.load import LoadPattern
from diagnostics.energy.purge import mean_half_cycle_s
from diagnostics.energy.uncertain import Floats, Uncertain, anywhere, known, uncertain
from diagnostics.estimate import Estimate
from diagnostics.plant import Plant

DETECTION_S = {True: 60.0, False: 20.0}
"""How often a control looks at the dew point, heated and heatless [s]."""
_DELAY_SHARE = {True: 0.5, False: 0.25}
"""Mean delay from the limit reached to the switchover over that. By chance it is half; in a heatless dryer what is
taken up too late has to be purged out again, so that in the long run between nothing and that half remains. A control
that waits for a second look takes all of it: the interval goes from nought to the whole."""
_NO_LOAD = 1e-6
_LEAST_SAVED = 0.005
_CLOCK_SHARE = 1e-3
"""How well a timer's mean half-cycle is known at best: clocks, valve strokes, a pause now and then."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Today's half-cycle and what holds a switched one [s].

    Attributes
    ----------
    detection_s : float
        Mean delay from the limit reached to the switchover.
    retention_s : float or None
        Heat retention at rated actual flow, a further cap that grows as the flow falls; None for no such cap.
    timed : Estimate or None
        Today's half-cycle with its interval; None where it is a setting.
    look_s : float or None
        Longest delay of detection; None where it is known.
    """

    today_s: float
    shortest_s: float
    longest_s: float
    detection_s: float
    retention_s: float | None = None
    timed: Estimate | None = None
    look_s: float | None = None


def bounds_of(cycle: Cycle, plant: Plant) -> Bounds:
    """Bounds from the plant file and today's half-cycle, which is the shortest one if none is given."""
    today, dryer = mean_half_cycle_s(cycle, plant), plant.dryer
    assert dryer.shortest_half_cycle_s is not None
    assert dryer.longest_half_cycle_s is not None
    shortest = dryer.shortest_half_cycle_s
    if not plant.is_given("dryer.shortest_half_cycle_s") and cycle.control != "dew_point":
        shortest = today
    timed = None
    if cycle.resolved and cycle.half_cycle_s is not None and today == cycle.half_cycle_s.value:
        seen, least = cycle.half_cycle_s, _CLOCK_SHARE * today
        timed = Estimate.ordered(today, min(seen.low, today - least), max(seen.high, today + least))
    longest = max(shortest, dryer.longest_half_cycle_s)
    look_s = DETECTION_S[plant.heated]
    return Bounds(today, shortest, longest, _DELAY_SHARE[plant.heated] * look_s, timed=timed, look_s=look_s)


def half_cycles_s(
    held_s: Floats, pattern: LoadPattern, bounds: Bounds, delay_s: Floats | float | None = None
) -> Floats:
    """Half-cycle at each load.

    Parameters
    ----------
    held_s : ndarray, shape (k,)
        Half-cycle that can be repeated at rated load [s].
    pattern : LoadPattern
    bounds : Bounds
    delay_s : ndarray, shape (k,), optional
        From the limit reached to the switchover; ``bounds.detection_s`` if not given [s].

    Returns
    -------
    ndarray, shape (k, m)
        [s]
    """
    delay = np.reshape(bounds.detection_s if delay_s is None else delay_s, (-1, 1))
    reached = held_s[:, None] / np.maximum(pattern.ratio, _NO_LOAD) + delay
    longest = np.full(pattern.ratio.size, bounds.longest_s)
    if bounds.retention_s is not None:
        retained = bounds.retention_s / np.maximum(pattern.flow_ratio, _NO_LOAD)
        longest = np.clip(retained, bounds.shortest_s, bounds.longest_s)
    return np.clip(reached, bounds.shortest_s, longest)


def regenerations_per_s(held_s: Uncertain, pattern: LoadPattern, bounds: Bounds) -> Uncertain:
    """Regenerations per time over a load pattern [1/s]; between both memories where the pattern has two.

    Parameters
    ----------
    held_s : Uncertain
        Half-cycle that can be repeated at rated load [s].
    pattern : LoadPattern
    bounds : Bounds

    Returns
    -------
    Uncertain
        Time mean of one over the half-cycle [1/s].
    """

    late, longest = bounds.detection_s, bounds.look_s
    delay_s = known(late) if longest is None else uncertain("detection", Estimate(late, 0.0, longest))

    def often(of: LoadPattern) -> Uncertain:
        def per_second(held: Floats | float, delay: Floats | float) -> Floats:
            lengths = half_cycles_s(np.atleast_1d(held), of, bounds, np.atleast_1d(delay))
            return np.squeeze((1.0 / lengths) @ of.weight)

        return held_s.with_(delay_s, per_second)

    if pattern.steadier is None:
        return often(pattern)
    weight = anywhere("memory of the bed")
    return often(pattern) * (known(1.0) - weight) + often(pattern.steadier) * weight


def saved_share(held_s: Uncertain, pattern: LoadPattern, bounds: Bounds) -> Uncertain:
    """Share of the timer's regenerations that are avoided; never below nought [-].

    Parameters
    ----------
    held_s : Uncertain
        Half-cycle that can be repeated at rated load [s].
    pattern : LoadPattern
    bounds : Bounds

    Returns
    -------
    Uncertain
        ``1 - today's half-cycle x regenerations per time``; half a hundredth and less of a saving is none, since no
        timer and no load is known better.
    """
    today = known(bounds.today_s) if bounds.timed is None else uncertain("today's half-cycle", bounds.timed)
    share = known(1.0) - regenerations_per_s(held_s, pattern, bounds) * today
    return share.map(lambda saved: np.where(saved > _LEAST_SAVED, saved, 0.0))


def mean_half_cycle(held_s: Uncertain, pattern: LoadPattern, bounds: Bounds) -> Uncertain:
    """Mean half-cycle over a load pattern: one over the regenerations per time [s]."""
    return regenerations_per_s(held_s, pattern, bounds).map(lambda often: 1.0 / often)


def time_at_longest(held_s: float, pattern: LoadPattern, bounds: Bounds) -> float:
    """Share of the time in which the longest half-cycle binds [-]."""
    reached = held_s / np.maximum(pattern.ratio, _NO_LOAD) + bounds.detection_s
    return min(1.0, float(pattern.weight[reached >= bounds.longest_s].sum()))


def time_at_shortest(held_s: float, pattern: LoadPattern, bounds: Bounds) -> float:
    """Share of the time in which the limit would be reached before the shortest half-cycle ends [-]."""
    reached = held_s / np.maximum(pattern.ratio, _NO_LOAD)
    return float(pattern.weight[reached < bounds.shortest_s].sum())
