"""When did the towers change over, and what did each half-cycle look like?

Question: what rhythm does the log obey? Input: a screened log and the plant. Output: a `Cycle`. The log's own rhythm is
tested against its own red noise; what does not stand out is reported as unresolved.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pandas as pd

from diagnostics.cycle.control import find_switching
from diagnostics.cycle.lag import drying_time_constant, peak_lowered
from diagnostics.cycle.phases import phases_of
from diagnostics.cycle.record import ControlSpan, Cycle, Rhythm
from diagnostics.cycle.replay import densest
from diagnostics.cycle.resolution import logging_interval_s
from diagnostics.cycle.rhythm import LEAST_READINGS
from diagnostics.cycle.running import alternates
from diagnostics.cycle.running_timer import find_running_switching
from diagnostics.cycle.supply_side import by_supply_side
from diagnostics.cycle.switching import Switching, ruling_control
from diagnostics.cycle.table import half_cycle_table
from diagnostics.cycle.tower_channel import SeenSwitching, seen_switching
from diagnostics.cycle.trace import Trace, moisture_trace, named_trace
from diagnostics.cycle.tracking import Course
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

CountedIn = Literal["clock_time", "running_time"]
ECHOING_S, UNUSUAL_S = 30.0, (660.0, 4500.0)
"""Interval from which fast timers leave echoes, and lengths between the slowest heatless half-cycles and the fastest
heated ones: common practice, no published source [s]."""
HARDLY, LIKE_PLATE = 4.5, 0.05
"""Readings of the plate's half-cycle below which another one found may be its echo, and how near it counts as its
own."""


def segment(screened: ScreenedLog, plant: Plant, *, rhythm_from: str | None = None) -> Cycle:
    """Find the rhythm, the switchovers and the half-cycles of a log.

    Parameters
    ----------
    screened : ScreenedLog
    plant : Plant
    rhythm_from : str, optional
        Title of another numeric column whose rhythm gives the switchovers.

    Returns
    -------
    Cycle

    Raises
    ------
    InputError
        If the log has no column of that title.
    """
    trace = moisture_trace(screened) if rhythm_from is None else named_trace(screened, rhythm_from)
    plate_s = plant.half_cycle_s
    if plant.is_given("dryer.half_cycle_s"):
        trace = replace(trace, plate_s=plate_s)
    if rhythm_from is None and "tower" in screened.log.channels:
        seen = seen_switching(screened.log)
        if seen is not None:
            return _seen(screened, plant, trace, seen)
    if plant.is_given("dryer.half_cycle_s") and plate_s < LEAST_READINGS * trace.interval_s:
        return _unresolved(trace, plate_s, _too_coarse(trace.interval_s, plate_s))
    # a column that is on for a small part of the time tells the compressor's cycle, not the dryer's
    plain = rhythm_from is None or alternates(trace.value)
    switching = find_switching(trace, plant.dryer.shortest_half_cycle_s or plate_s) if plain else None
    counted_in: CountedIn = "clock_time"
    if rhythm_from is not None or switching is None or switching.uncertain:
        running = find_running_switching(trace, screened.log, switching, rhythm_from)
        if rhythm_from is not None and (running is not None or switching is None):
            running = by_supply_side(running, screened.log, rhythm_from)
        if running is not None:
            switching, counted_in = running, "running_time"
    if switching is None or not switching.stretches:
        return _unresolved(trace, plate_s, "No rhythm stands out of the log's own noise; nothing is read into it.")
    found = _cycle(screened, plant, trace, switching, counted_in)
    slowest_s = UNUSUAL_S[1] if plant.heated or plate_s >= LEAST_READINGS * trace.interval_s else np.inf
    plated = plant.is_given("dryer.half_cycle_s")
    if rhythm_from is None and not plated and _may_be_an_echo(found, trace.interval_s, slowest_s):
        return _unresolved(trace, plate_s, _echo(found, trace.interval_s))
    if rhythm_from is None and plated and _is_hardly_seen(found, plate_s):
        return _unresolved(trace, plate_s, _too_coarse(trace.interval_s, plate_s))
    return found


def _is_hardly_seen(cycle: Cycle, plate_s: float) -> bool:
    """Whether the plate's timer has hardly four readings and another one was found, or its own in fewer than four."""
    if cycle.control != "fixed" or cycle.half_cycle_s is None or cycle.readings_per_half_cycle is None:
        return False
    found = cycle.half_cycle_s.value
    if cycle.counted_in != "clock_time":
        return False
    if cycle.readings_per_half_cycle < LEAST_READINGS:
        return True
    interval_s = found / cycle.readings_per_half_cycle
    return plate_s < HARDLY * interval_s and abs(found / plate_s - 1.0) > LIKE_PLATE


def _may_be_an_echo(cycle: Cycle, interval_s: float, slowest_s: float) -> bool:
    """Whether a plain timer of a length that no twin-tower dryer is known to run at may be the echo of a fast one."""
    if cycle.control != "fixed" or cycle.half_cycle_s is None or cycle.counted_in != "clock_time":
        return False
    return bool(interval_s >= ECHOING_S and UNUSUAL_S[0] < cycle.half_cycle_s.value < slowest_s)


def _echo(cycle: Cycle, interval_s: float) -> str:
    found = cycle.half_cycle_s.value if cycle.half_cycle_s is not None else 0.0
    return (
        f"A rhythm of {found / 60.0:.1f} min stands out, but no plate says so and timers run faster or much slower:"
        f" read every {interval_s:g} s, it may be the echo of a faster timer. Enter dryer.half_cycle_s, or log faster."
    )


def _too_coarse(interval_s: float, plate_s: float) -> str:
    return (
        f"A reading every {interval_s:g} s cannot show half-cycles of {plate_s:g} s; what looks like a slow rhythm in"
        f" such a log is an echo of the timer. Log every {logging_interval_s(plate_s):.0f} s or faster."
    )


def _unresolved(trace: Trace, plate_s: float, note: str) -> Cycle:
    spans: tuple[ControlSpan, ...] = ()
    if trace.time_s.size:
        spans = (ControlSpan(float(trace.time_s[0]), float(trace.time_s[-1]), "unresolved"),)
    return Cycle("unresolved", spans, False, readings_per_half_cycle=plate_s / trace.interval_s, notes=(note,))


def _seen(screened: ScreenedLog, plant: Plant, trace: Trace, seen: SeenSwitching) -> Cycle:
    """Cycle of a log whose own channel says which vessel dries."""
    table = half_cycle_table(screened, seen.stretches)
    half_cycle = _median_length(seen.lengths_s)
    return Cycle(
        ruling_control(seen.spans),
        tuple(seen.spans),
        True,
        half_cycles=table,
        half_cycle_s=half_cycle,
        half_cycle_spread_s=_spread(seen.lengths_s, half_cycle),
        counted_in="clock_time" if seen.clock is None else "running_time",
        phases=phases_of(table, plant),
        readings_per_half_cycle=half_cycle.value / trace.interval_s,
        notes=_counted_note(seen.clock.column) if seen.clock else (),
    )


def _counted_note(column: str) -> tuple[str, ...]:
    return (f"The timer counts only while the compressor runs, as the column {column!r} shows it.",)


def _cycle(screened: ScreenedLog, plant: Plant, trace: Trace, switching: Switching, counted_in: CountedIn) -> Cycle:
    table = half_cycle_table(screened, switching.stretches)
    lengths = (table["end_s"] - table["start_s"])[table["complete"].astype(bool)].to_numpy()
    control = ruling_control(switching.spans)
    half_cycle = _half_cycle(lengths, switching.course if control != "dew_point" else None)
    if half_cycle is None:
        return _unresolved(trace, plant.half_cycle_s, "No half-cycle is seen from switchover to switchover.")
    rule = switching.rule
    drying = drying_time_constant(screened, table)
    return Cycle(
        control,
        tuple(switching.spans),
        True,
        half_cycles=table,
        half_cycle_s=half_cycle,
        half_cycle_spread_s=_spread(lengths, half_cycle),
        counted_in=counted_in,
        phases=phases_of(table, plant),
        rhythm=_rhythm(switching, half_cycle),
        set_point_c=_set_point(screened, table, switching),
        shortest_half_cycle_s=rule.shortest_s if rule else None,
        longest_half_cycle_s=rule.longest_s if rule else None,
        stopped_s=switching.stopped_s,
        readings_per_half_cycle=half_cycle.value / trace.interval_s,
        time_constant_s={"drying": drying} if drying else {},
        peak_lowered_c=peak_lowered(screened, table, drying),
        notes=(*switching.notes, *_reset_note(switching)),
    )


def _reset_note(switching: Switching) -> tuple[str, ...]:
    """Say that a timer paused or was reset."""
    resets = len(switching.course.pieces) - 1 if switching.course else 0
    if resets <= 0:
        return ()
    times = "once" if resets == 1 else f"{resets} times"
    return (f"The timer paused or was reset {times}; after that which tower dries is named only where they differ.",)


def _set_point(screened: ScreenedLog, table: pd.DataFrame, switching: Switching) -> Estimate | None:
    """Dew point at which the control switches: what most half-cycles end at."""
    if switching.rule is None:
        return None
    ruled = np.zeros(len(table), dtype=bool)
    for span in switching.spans:
        inside = (table["start_s"] >= span.start_s - 1.0) & (table["end_s"] <= span.end_s + 1.0)
        ruled |= inside.to_numpy() & (span.control == "dew_point")
    at = table.loc[ruled & table["complete"].astype(bool).to_numpy(), "end_s"].to_numpy()
    ends, step = _approached(screened, at)
    if ends.size < 3:
        return None
    middle = densest(ends)
    near = ends[np.abs(ends - middle) <= 4.0 * (1.4826 * float(np.median(np.abs(ends - middle))) + 0.1)]
    low, high = np.quantile(near, (0.025, 0.975))
    # the control looks at times of its own: the set point was reached up to a reading before it switched
    return Estimate.ordered(float(np.median(near)), float(low - np.median(step)), float(high))


def _approached(screened: ScreenedLog, at_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Dew point drawn on to each instant from the last three readings before it [degC], and its rise a reading [K]."""
    time_s, dew = screened.log.time_s[screened.used], screened.dew_point_c[screened.used]
    last = np.searchsorted(time_s, at_s) - 1
    known = last >= 2
    last, at_s = last[known], at_s[known]
    near = at_s - time_s[last] <= 2.0 * screened.log.interval_s
    last, at_s = last[near], at_s[near]
    rate = np.maximum(dew[last] - dew[last - 2], 0.0) / (time_s[last] - time_s[last - 2])
    return dew[last] + rate * (at_s - time_s[last]), rate * screened.log.interval_s


def _half_cycle(lengths: np.ndarray, course: Course | None) -> Estimate | None:
    """Length of a half-cycle: the timer's fit, or the median under dew point control, with its interval."""
    if course is not None:
        from scipy.special import stdtrit

        reach = float(stdtrit(course.degrees_of_freedom, 0.975)) * course.half_cycle_error_s
        return Estimate(course.half_cycle_s, course.half_cycle_s - reach, course.half_cycle_s + reach)
    return _median_length(lengths) if lengths.size else None


def _median_length(lengths: np.ndarray) -> Estimate:
    ordered = np.sort(lengths)
    # distribution-free interval of a median: binomial ranks
    reach = 0.98 * np.sqrt(ordered.size)
    low = ordered[max(0, int(np.floor(0.5 * ordered.size - reach)))]
    high = ordered[min(ordered.size - 1, int(np.ceil(0.5 * ordered.size + reach)))]
    return Estimate.ordered(float(np.median(ordered)), float(low), float(high))


def _spread(lengths: np.ndarray, half_cycle: Estimate) -> tuple[float, float]:
    if lengths.size == 0:
        return half_cycle.value, half_cycle.value
    low, high = np.quantile(lengths, (0.05, 0.95))
    return float(low), float(high)


def _rhythm(switching: Switching, half_cycle: Estimate) -> Rhythm | None:
    course = switching.course
    if course is None:
        return None
    longest = max(course.pieces, key=lambda piece: piece.end_s - piece.start_s)
    at, doubt = course.first_s + longest.offset_s, 2.0 * course.phase_error_s
    chance = switching.comb.false_alarm_probability if switching.comb else 0.0
    return Rhythm(half_cycle, at, at - doubt, at + doubt, chance, course.towers_differ)
