"""A fixed timer setting that is safe at peak load, and how to try it.

Question: what may the timer be set to? Input: the margins. Output: seconds and sentences. Under medical and breathing
air nothing longer than today's is offered.
"""

from __future__ import annotations

import math

from diagnostics.bed.margin import Margin, Question
from diagnostics.moment import say_duration

_TRIAL_STEP = 0.15


def recommended_setting(margin: Margin, question: Question) -> tuple[float | None, tuple[str, ...]]:
    """Fixed half-cycle safe at peak load [s], None where nothing is known, and its trial steps.

    Parameters
    ----------
    margin : Margin
    question : Question

    Returns
    -------
    float or None
    tuple of str
    """
    at_peak = margin.at_peak_s
    if at_peak is None:
        return None, ()
    today = question.today_s
    dryer = question.plant.dryer
    if question.plant.site.air_use in ("medical", "breathing"):
        wanted = min(today, today + at_peak.value)
        note = (
            f"{question.plant.site.air_use.capitalize()} air: a half-cycle longer than today's is not offered; the"
            " responsible person decides on any change."
        )
        return _bounded(wanted, question), (note,)
    if question.cycle.control == "stopped":
        note = "Switching has stopped: find and mend the cause before the timer is changed."
        return today, (note,)
    if question.reached and at_peak.value >= 0.0:
        note = "The limit is passed inside half-cycles today: find and mend the cause before the timer is lengthened."
        return today, (note,)
    # an interval around nought neither asks for a change nor vouches for one
    wanted = today if at_peak.low <= 0.0 <= at_peak.value else today + at_peak.low
    setting = _bounded(wanted, question)
    if wanted < (dryer.purge_s or 0.0):
        notes = [_no_room(wanted, dryer.purge_s or 0.0)]
    else:
        notes = [_trial(setting, today)] if abs(setting - today) > 0.02 * today else []
    longest = dryer.longest_half_cycle_s
    if longest is not None and wanted > longest:
        notes.append(
            f"The bed would hold longer at peak load; dryer.longest_half_cycle_s = {longest:g}"
            f" ({say_duration(longest)}) is the bound."
        )
    return setting, tuple(notes)


def _bounded(wanted_s: float, question: Question) -> float:
    dryer = question.plant.dryer
    setting = _dial(wanted_s) if abs(wanted_s - question.today_s) > _dial_step(wanted_s) else question.today_s
    least = dryer.purge_s or 0.0
    if setting < question.today_s:
        return min(max(setting, least), question.today_s)
    longest = dryer.longest_half_cycle_s
    return setting if longest is None else max(min(setting, longest), question.today_s)


def _dial_step(seconds: float) -> float:
    return 5.0 if seconds < 1800.0 else 300.0


def _dial(seconds: float) -> float:
    """As a timer is set: whole steps of 5 s, of 5 minutes from half an hour on, rounded down."""
    return math.floor(seconds / _dial_step(seconds)) * _dial_step(seconds)


def _no_room(wanted_s: float, purge_s: float) -> str:
    return (
        f"At peak load only a timer of {say_duration(max(wanted_s, 0.0))} would be safe, which leaves no room for the"
        f" regeneration's {say_duration(purge_s)}: no timer setting holds the limit at peak load. Look for the cause"
        " (load, purge, desiccant) or take load off the dryer."
    )


def _trial(setting_s: float, today_s: float) -> str:
    if setting_s < today_s:
        return (
            f"At peak load today's half-cycle is too long: a timer of {say_duration(setting_s)} would be safe. Check"
            " first that regeneration fits into it, and look for the cause (load, purge, desiccant) before shortening."
        )
    steps = max(1, math.ceil(math.log(setting_s / today_s) / math.log(1.0 + _TRIAL_STEP)))
    ladder = [_dial(today_s * (setting_s / today_s) ** (i / steps)) for i in range(1, steps)] + [setting_s]
    shown = ladder if steps <= 4 else [*ladder[:2], ladder[-1]]
    words = ", ".join(say_duration(s) for s in shown[:-1])
    path = (
        f"{words}{', …' if steps > 4 else ''} and at last {say_duration(shown[-1])}"
        if words
        else say_duration(shown[-1])
    )
    return (
        f"Trial: lengthen the timer step by step to {path}; hold each step for two days with the probe in place and"
        " through the heaviest load of the week, go back one step if the dew point comes within 5 K of the limit, and"
        " keep the old setting marked at the timer. Follow the maker's limits and local codes."
    )
