"""When did the towers change over, and what did each half-cycle look like?

Question: what rhythm does the log obey? Input: a screened log and the plant. Output: a `Cycle`. The log's own rhythm is
tested against its own red noise; what does not stand out is reported as unresolved.
"""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.record import ControlSpan, Cycle, Rhythm
from diagnostics.cycle.rhythm import LEAST_READINGS, Comb, find_comb
from diagnostics.cycle.table import half_cycle_table
from diagnostics.cycle.timer import Stretch, timer_stretches
from diagnostics.cycle.trace import Trace, moisture_trace, named_trace
from diagnostics.cycle.tracking import Course, follow
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant


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
    if plant.is_given("dryer.half_cycle_s") and plate_s < LEAST_READINGS * trace.interval_s:
        return _unresolved(trace, plate_s, f"A reading every {trace.interval_s:g} s cannot show a {plate_s:g} s timer.")
    comb = find_comb(trace)
    course = follow(trace, comb.period_s) if comb else None
    if comb is None or course is None:
        return _unresolved(trace, plate_s, "No rhythm stands out of the log's own noise.")
    return _fixed(screened, trace, comb, course)


def _unresolved(trace: Trace, plate_s: float, note: str) -> Cycle:
    spans: tuple[ControlSpan, ...] = ()
    if trace.time_s.size:
        spans = (ControlSpan(float(trace.time_s[0]), float(trace.time_s[-1]), "unresolved"),)
    return Cycle("unresolved", spans, False, readings_per_half_cycle=plate_s / trace.interval_s, notes=(note,))


def _fixed(screened: ScreenedLog, trace: Trace, comb: Comb, course: Course) -> Cycle:
    half = course.half_cycle_s
    start, end = float(trace.time_s[0]), float(trace.time_s[-1])
    stretches = timer_stretches(course, start, end)
    edges, towers, cut = _edges(stretches, start, end)
    table = half_cycle_table(screened, edges, towers, cut)
    doubt = 2.0 * course.half_cycle_error_s
    estimate = Estimate(half, half - doubt, half + doubt)
    rhythm = Rhythm(
        estimate,
        course.first_s,
        course.first_s - 2.0 * course.phase_error_s,
        course.first_s + 2.0 * course.phase_error_s,
        comb.false_alarm_probability,
        course.towers_differ,
    )
    return Cycle(
        "fixed",
        (ControlSpan(start, end, "fixed"),),
        True,
        half_cycles=table,
        half_cycle_s=estimate,
        half_cycle_spread_s=(half, half),
        rhythm=rhythm,
        readings_per_half_cycle=half / trace.interval_s,
    )


def _edges(stretches: list[Stretch], start_s: float, end_s: float) -> tuple[np.ndarray, list[str | None], np.ndarray]:
    """Bounds of the half-cycles, the tower that dries in each, and which are cut."""
    switchovers = np.concatenate([stretch.switchovers_s for stretch in stretches])
    named = [tower for stretch in stretches for tower in stretch.towers]
    first = {"A": "B", "B": "A", None: None}[named[0]]
    edges = np.concatenate([[start_s], switchovers, [end_s]])
    cut = np.zeros(edges.size - 1, dtype=bool)
    cut[[0, -1]] = True
    return edges, [first, *named], cut
