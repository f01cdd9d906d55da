"""Switchovers that wait for a set point of dew point: where they are, what they aim at, and which runs are no such."""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.events import Falls, noise_of, smoothed
from diagnostics.cycle.record import ControlSpan
from diagnostics.cycle.replay import HELD, Rule, rule_of, with_hidden
from diagnostics.cycle.switching import Switching, joined
from diagnostics.cycle.timer import Stretch
from diagnostics.cycle.trace import Trace
from diagnostics.cycle.tracking import Course
from diagnostics.cycle.turns import APART, turned_s, weak_turns_s
from diagnostics.log.record import Floats

LEAST_RUN = 6
"""Half-cycles of equal length that can be told from chance."""
MOST_MORE = 3.0
"""Times as many turns as falls that switchovers may make."""
MOST_TIMES = 10.0
"""Times the shortest half-cycle that most half-cycles are at most: a plant file that says more is another dryer's."""
MOST_ODD = 2
"""Half-cycles that may stand out between two runs of one timer."""
PART = 1.5
"""Half-cycles after the last switchover that may still be a timer's."""
NEAR = 0.4
"""Share of the least length between falls within which a turn is a fall's own."""
FAR_BELOW, LEAST_BELOW, MOST_EARLY = 3.0, 0.15, 0.4
"""Scatters of the set point, and ln of moisture, below it from which nothing waited for it, and most such falls."""
MOSTLY = 0.5
"""Share of a run's half-cycles that its control must be able to have made."""


def by_set_point(trace: Trace, falls: Falls, shortest_s: float) -> Switching:
    """Switchovers of a control that waits for a set point.

    Parameters
    ----------
    trace : Trace
    falls : Falls
        Two at least.
    shortest_s : float
        Half-cycle that the control should not undercut, as the plant file has it; shorter ones in the log count [s].
    """
    start, end = float(trace.time_s[0]), float(trace.time_s[-1])
    shortest_s = _shortest_s(falls, shortest_s)
    seen, faint = _seen(trace, falls, shortest_s)
    smooth = smoothed(trace.value)
    rule = _rule(trace, seen)
    seen = _where_reached(trace, seen, faint, rule)
    seen = _where_reached(trace, seen, weak_turns_s(trace, seen, shortest_s), rule)
    seen = _without_waves(trace, seen, rule)
    switchovers = with_hidden(trace.time_s, smooth, seen, rule)
    level = level_at(trace, switchovers)
    towers = tuple("BA"[i % 2] for i in range(switchovers.size))
    stretch = Stretch(start, end, switchovers, towers)
    usual, longest = float(np.median(np.diff(switchovers))), float(np.diff(switchovers).max())
    last = float(switchovers[-1])
    spans = _spans_by_rule(switchovers, level[1:], rule, start, end, trace.interval_s)
    after = trace.part(last + 2.0 * longest, end + 1.0).value
    ceased = after.size > 0 and end - last > 2.5 * longest + usual
    late = float(np.median(after[-max(1, after.size // 5) :])) if ceased else 0.0
    if ceased and late > float(falls.peak.max()) + 0.1:
        # a slug of water that dries off again is no stop
        dries = late < float(np.median(after[: max(1, after.size // 4)]))
        spans = [ControlSpan(s.start_s, min(s.end_s, last), s.control) for s in spans if s.start_s < last]
        spans.append(ControlSpan(last, end, "unresolved" if dries else "stopped"))
        stretch = Stretch(start, min(last + usual, end), switchovers, towers)
        return Switching([stretch], spans, stopped_s=None if dries else last, rule=rule)
    return Switching([stretch], spans, rule=rule)


def _shortest_s(falls: Falls, plate_s: float) -> float:
    """Half-cycle that the control hardly undercuts: the plant file's, unless the log has shorter or far longer ones."""
    length = np.diff(falls.peak_s)
    return max(min(plate_s, float(np.quantile(length, 0.1))), float(np.median(length)) / MOST_TIMES)


def _seen(trace: Trace, falls: Falls, shortest_s: float) -> tuple[Floats, Floats]:
    """Switchovers that the trace shows, by their suddenness, and turns too faint to be such by themselves.

    A fall that nothing sudden begins counts from its peak.
    """
    turned, clear = turned_s(trace, falls.peak_s, shortest_s)
    nearest, apart = _own_turn(turned, falls.peak_s)
    least = float(np.diff(falls.peak_s).min())
    own = np.isin(turned, nearest[apart <= NEAR * least])
    # a load that wanders turns the trace as suddenly: only the falls are believed then
    believed = own if turned.size > MOST_MORE * falls.peak_s.size else own | clear
    faint = turned[~believed & ~clear] if believed is not own else np.zeros(0)
    alone = apart > max(APART * shortest_s, NEAR * least)
    seen = np.sort(np.concatenate([turned[believed], falls.peak_s[alone]]))
    return np.clip(seen, trace.time_s[0], trace.time_s[-1]), faint


def _own_turn(turns_s: Floats, peak_s: Floats) -> tuple[Floats, Floats]:
    """Nearest turn to each peak, and how far it is [s]."""
    edges = np.concatenate([[-np.inf], turns_s, [np.inf]])
    after = np.searchsorted(turns_s, peak_s) + 1
    nearest = np.where(peak_s - edges[after - 1] <= edges[after] - peak_s, edges[after - 1], edges[after])
    return nearest, np.abs(nearest - peak_s)


def _where_reached(trace: Trace, seen_s: Floats, faint_s: Floats, rule: Rule) -> Floats:
    """Switchovers with the fainter turns at which the set point was reached."""
    if faint_s.size == 0:
        return seen_s
    reached = level_at(trace, faint_s) >= rule.level - rule.scatter
    return np.sort(np.concatenate([seen_s, faint_s[reached]]))


def _without_waves(trace: Trace, seen_s: Floats, rule: Rule) -> Floats:
    """Switchovers without falls from far below the set point that came sooner than the longest half-cycle: the load's.

    Only where most falls start from one level; the first one's half-cycle began before the log, and even lengths may be
    a timer's.
    """
    beside = np.searchsorted(trace.time_s, seen_s)[:, None] + np.arange(-2, 3)[None, :]
    highest = trace.value[np.clip(beside, 0, trace.time_s.size - 1)].max(axis=1)
    early = np.maximum(highest, level_at(trace, seen_s)) < rule.level - max(FAR_BELOW * rule.scatter, LEAST_BELOW)
    early[0] = False
    for first, last in _even_runs(np.diff(seen_s), trace.interval_s):
        early[first : last + 1] = False
    if not early.any() or float(early.mean()) > MOST_EARLY or int((~early).sum()) <= LEAST_RUN:
        return seen_s
    ruled = np.diff(seen_s)[~(early[1:] | early[:-1])]
    if ruled.size == 0:
        return seen_s
    longest = float(ruled.max())
    kept = [0]
    for i in range(1, seen_s.size):
        if not early[i] or seen_s[i] - seen_s[kept[-1]] >= (1.0 - HELD) * longest:
            kept.append(i)
    return seen_s[kept]


def level_at(trace: Trace, at_s: Floats) -> Floats:
    """Trace just before some instants: the last reading, drawn on by how it rose; what comes after is not mixed in."""
    last = np.clip(np.searchsorted(trace.time_s, at_s) - 1, 2, trace.time_s.size - 1)
    rate = (trace.value[last] - trace.value[last - 2]) / (trace.time_s[last] - trace.time_s[last - 2])
    since = np.clip(at_s - trace.time_s[last], 0.0, trace.interval_s)
    return np.asarray(trace.value[last] + np.maximum(rate, 0.0) * since, dtype=np.float64)


def _rule(trace: Trace, switchovers_s: Floats) -> Rule:
    """What the control waits for: a set point is told by half-cycles that vary, equal ones may be a timer's."""
    level, length = level_at(trace, switchovers_s)[1:], np.diff(switchovers_s)
    varies = np.ones(length.size, dtype=bool)
    for first, last in _even_runs(length, trace.interval_s):
        varies[first:last] = False
    told = varies if int(varies.sum()) >= LEAST_RUN else np.ones(length.size, dtype=bool)
    return rule_of(length, level, noise_of(trace.value), trace.interval_s, told)


def _even_runs(length: Floats, interval_s: float) -> list[tuple[int, int]]:
    """First and one past the last of each run of half-cycles of equal length that is too long for chance."""
    tolerance = np.maximum(0.01 * length, 1.5 * interval_s)
    runs, i = [], 0
    while i < length.size:
        j = i
        while j + 1 < length.size and abs(length[j + 1] - float(np.median(length[i : j + 1]))) <= tolerance[j + 1]:
            j += 1
        if j - i + 1 >= LEAST_RUN:
            runs.append((i, j + 1))
        i = j + 1
    return runs


def _spans_by_rule(
    switchovers_s: Floats, level: Floats, rule: Rule, start_s: float, end_s: float, interval_s: float
) -> list[ControlSpan]:
    """Dew point control, except runs of equal lengths that its rule cannot have made."""
    length = np.diff(switchovers_s)
    made = rule.made(length, level, interval_s)
    timed: list[tuple[int, int]] = []
    for first, last in _even_runs(length, interval_s):
        if float(made[first:last].mean()) >= MOSTLY:
            continue
        same = (
            timed and abs(np.median(length[first:last]) / np.median(length[timed[-1][0] : timed[-1][1]]) - 1.0) < HELD
        )
        if same and first - timed[-1][1] <= MOST_ODD:
            timed[-1] = (timed[-1][0], last)
        else:
            timed.append((first, last))
    spans: list[ControlSpan] = []
    at = start_s
    for first, last in timed:
        # the part before the first switchover belongs to what follows it
        begin = float(switchovers_s[first]) if first > 0 else start_s
        if begin > at:
            spans.append(ControlSpan(at, begin, "dew_point"))
        at = float(switchovers_s[last])
        # nor does the part after the last one end by a rule
        at = end_s if last == length.size and end_s - at < PART * length[-1] else at
        spans.append(ControlSpan(begin, at, "fixed"))
    if at < end_s:
        spans.append(ControlSpan(at, end_s, "dew_point"))
    return joined(spans, start_s, end_s)


def rule_explains(trace: Trace, falls: Falls, course: Course, shortest_s: float) -> bool:
    """Whether a set point and its shortest half-cycle may have made what looks like a timer in parts of the log."""
    shortest_s = _shortest_s(falls, shortest_s)
    nearest, apart = _own_turn(turned_s(trace, falls.peak_s, shortest_s)[0], falls.peak_s)
    seen = np.unique(np.where(apart <= NEAR * float(np.diff(falls.peak_s).min()), nearest, falls.peak_s))
    rule = _rule(trace, seen)
    made = rule.made(np.diff(seen), level_at(trace, seen[1:]), trace.interval_s)
    inside = np.zeros(made.size, dtype=bool)
    expected = 0.0
    for piece in course.pieces:
        inside |= (seen[1:] >= piece.start_s) & (seen[1:] <= piece.end_s)
        expected += (piece.end_s - piece.start_s) / course.half_cycle_s
    return float((made & inside).sum()) >= MOSTLY * expected
