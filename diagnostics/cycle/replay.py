"""Would a control that waits for a set point have switched here? Its rule, replayed on the trace.

Such a control changes over at the first instant at or after its shortest half-cycle at which the air is as wet as the
set point, or at its longest half-cycle. Where the other tower is no drier, nothing falls and no peak shows; the rule
still says that it must have switched. The same rule tells which half-cycles it cannot have made.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from diagnostics.log.record import Flags, Floats

LEAST_ALIKE = 3
HELD = 0.03
"""Share of a half-cycle within which lengths count as one bound of the control."""
NOT_LONGER = 1.3
"""Times the least length up to which half-cycles that ended wetter than the set point tell the shortest one."""
TWO = 1.8
"""Shortest half-cycles from which another one may hide between two falls."""
MOST_HIDDEN = 0.5
"""Share of the switchovers that may be hidden; more than that is not replayed but made up."""


@dataclass(frozen=True)
class Rule:
    """What a control waits for.

    Attributes
    ----------
    level, scatter : float
        Set point as the trace shows it at the switchover, and how far off it comes.
    shortest_s, longest_s : float or None
        Where equal lengths at an end of the range show them.
    """

    level: float
    scatter: float
    shortest_s: float | None
    longest_s: float | None

    def made(self, length_s: Floats, level: Floats, interval_s: float) -> Flags:
        """Which half-cycles the rule may have made, by their lengths and the level they ended at."""
        near = np.abs(level - self.level) <= self.scatter
        allowed = HELD * length_s + 1.5 * interval_s
        if self.shortest_s is not None:
            near |= (level > self.level) & (length_s <= self.shortest_s + allowed)
        if self.longest_s is not None:
            near |= (level < self.level) & (length_s >= self.longest_s - allowed)
        return near


def rule_of(length_s: Floats, level: Floats, noise: float, interval_s: float, told: Flags) -> Rule:
    """Set point and bounds that most half-cycles speak for.

    Parameters
    ----------
    length_s, level : ndarray, shape (n,)
        Of half-cycles, and of the trace at their ends.
    noise : float
        Of one reading.
    interval_s : float
    told : ndarray of bool
        Half-cycles whose ends may tell the set point.
    """
    middle = densest(level[told])
    least = max(4.0 * noise, 0.03)
    off = np.abs(level[told] - middle)
    near = off[off <= least]
    scatter = max(3.0 * 1.4826 * float(np.median(near)), least) if near.size else least
    early, late = level < middle - scatter, level > middle + scatter
    allowed = HELD * length_s + 1.5 * interval_s
    at_least = length_s <= float(length_s.min()) + allowed
    at_most = length_s >= float(length_s.max()) - allowed
    held = int((late & at_least).sum()) >= LEAST_ALIKE
    forced = bool((early & at_most).any()) and float(length_s.max()) > 1.2 * float(np.median(length_s))
    short = late & (length_s <= NOT_LONGER * float(length_s.min()))
    shortest = float(np.median(length_s[short])) if held and short.any() else None
    longest = float(np.median(length_s[early & at_most])) if forced else None
    return Rule(middle, scatter, shortest, longest)


def densest(level: Floats) -> float:
    """Middle of the narrowest range that holds half of the levels (the half-sample mode's first step)."""
    ordered = np.sort(level)
    many = ordered.size // 2 + 1
    width = ordered[many - 1 :] - ordered[: ordered.size - many + 1]
    at = int(np.argmin(width))
    return float(np.median(ordered[at : at + many]))


def with_hidden(time_s: Floats, smooth: Floats, switchovers_s: Floats, rule: Rule) -> Floats:
    """Switchovers with those that the rule demands between two falls and that no fall shows.

    Parameters
    ----------
    time_s, smooth : ndarray
        Trace, single odd readings smoothed away.
    switchovers_s : ndarray
        Where falls show them.
    rule : Rule
    """
    shortest = rule.shortest_s
    if shortest is None:
        return switchovers_s
    added: list[float] = []
    for a, b in itertools.pairwise(switchovers_s):
        last = float(a)
        while b - last >= TWO * shortest:
            low, high = np.searchsorted(time_s, (last + shortest, b - 0.8 * shortest))
            wet = np.flatnonzero(smooth[low:high] >= rule.level + 0.5 * rule.scatter)
            if wet.size == 0:
                break
            last = max(last + shortest, float(time_s[low + int(wet[0])]) if wet[0] > 0 else last + shortest)
            added.append(last)
    if len(added) > MOST_HIDDEN * switchovers_s.size:
        return switchovers_s
    return np.sort(np.concatenate([switchovers_s, added]))
