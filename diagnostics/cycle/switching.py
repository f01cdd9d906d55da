"""What was found of a log's switching: the switchovers, and which control each stretch obeys."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from diagnostics.cycle.record import Control, ControlSpan
from diagnostics.cycle.replay import Rule
from diagnostics.cycle.rhythm import Comb
from diagnostics.cycle.running import RunningClock
from diagnostics.cycle.timer import Stretch
from diagnostics.cycle.tracking import Course

COHERENT = 0.4
"""Share of the variance that an average cycle must explain to be believed without further proof."""


@dataclass(frozen=True)
class Switching:
    """Switchovers and what they obey.

    Attributes
    ----------
    stretches : list of Stretch
        Ascending.
    spans : list of ControlSpan
        Ascending, from first to last reading.
    comb, course : Comb, Course or None
        Of the timer.
    stopped_s : float or None
    clock : RunningClock or None
        Where the timer counts running time.
    rule : Rule or None
        Of dew point control.
    """

    stretches: list[Stretch]
    spans: list[ControlSpan]
    comb: Comb | None = None
    course: Course | None = None
    stopped_s: float | None = None
    notes: tuple[str, ...] = ()
    clock: RunningClock | None = None
    rule: Rule | None = None

    @property
    def uncertain(self) -> bool:
        """Whether a timer's rhythm is smeared, or missing in much of the log with nothing else in its place."""
        if self.course is None:
            return False
        missing = sum(s.end_s - s.start_s for s in self.spans if s.control == "unresolved")
        alone = all(s.control in ("fixed", "unresolved") for s in self.spans)
        absent = (
            self.course.present_share < 0.7 if alone else missing > 0.3 * (self.spans[-1].end_s - self.spans[0].start_s)
        )
        return absent or self.course.coherence < COHERENT


def joined(spans: list[ControlSpan], start_s: float, end_s: float) -> list[ControlSpan]:
    """Spans in order, without slivers between them, neighbours of one kind made one."""
    spans = sorted(spans, key=lambda s: s.start_s)
    bounds = [start_s, *(max(b.start_s, a.end_s) for a, b in itertools.pairwise(spans)), end_s]
    found: list[ControlSpan] = []
    for span, low, high in zip(spans, bounds[:-1], bounds[1:], strict=True):
        if found and found[-1].control == span.control:
            found[-1] = ControlSpan(found[-1].start_s, high, span.control)
        elif high > low:
            found.append(ControlSpan(low, high, span.control))
    return found


def ruling_control(spans: list[ControlSpan]) -> Control:
    """What most of the log obeys; stopped where the switching ceased for good."""
    if spans and spans[-1].control == "stopped":
        return "stopped"
    total: dict[Control, float] = {}
    for span in spans:
        total[span.control] = total.get(span.control, 0.0) + span.end_s - span.start_s
    total.pop("unresolved", None)
    return max(total, key=lambda kind: total[kind]) if total else "unresolved"
