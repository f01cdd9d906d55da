"""A person's own say over what is the dryer's air: stretches set aside by hand, and stretches taken back.

Question: what if someone who stood beside the dryer knows better? Input: a screened log and corrections. Output: the
screened log with them applied, each told in a note.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.errors import InputError
from diagnostics.log.record import Exclusion, ScreenedLog
from diagnostics.moment import say_time

REASONS = ("settling", "removal", "frozen", "range_end", "implausible", "stagnant")
"""Reasons a person may give; a gap or a clock jump is a matter of the stamps."""


@dataclass(frozen=True, slots=True)
class Correction:
    """A stretch to set aside for a reason, or, with ``reason=None``, to take back [epoch s]."""

    start_s: float
    end_s: float
    reason: str | None


def correct(screened: ScreenedLog, corrections: Sequence[Correction]) -> ScreenedLog:
    """Apply corrections in their order; a stretch taken back still needs valid readings.

    Parameters
    ----------
    screened : ScreenedLog
    corrections : sequence of Correction

    Returns
    -------
    ScreenedLog

    Raises
    ------
    InputError
        If a stretch ends before it starts, lies outside the log, or has an unknown reason.
    """
    if not corrections:
        return screened
    log = screened.log
    used = screened.used.copy()
    valid = np.isfinite(screened.dew_point_c)
    exclusions = list(screened.exclusions)
    notes = []
    for item in corrections:
        _refuse_senseless(item, screened)
        first = np.searchsorted(log.time_s, item.start_s, side="left")
        inside = slice(int(first), int(np.searchsorted(log.time_s, item.end_s, side="right")))
        words = f"{say_time(item.start_s, log.timezone)} to {say_time(item.end_s, log.timezone)}"
        if item.reason is None:
            exclusions = [part for e in exclusions for part in _without(e, item)]
            used[inside] = valid[inside]
            notes.append(f"{words} was taken back by hand.")
        else:
            exclusions.append(Exclusion(item.start_s, item.end_s, item.reason))
            used[inside] = False
            notes.append(f"{words} was set aside by hand: {item.reason.replace('_', ' ')}.")
    exclusions.sort(key=lambda e: (e.start_s, e.end_s))
    return replace(screened, used=used, exclusions=tuple(exclusions), notes=screened.notes + tuple(notes))


def _refuse_senseless(item: Correction, screened: ScreenedLog) -> None:
    time_s, zone = screened.log.time_s, screened.log.timezone
    if not item.end_s > item.start_s:
        raise InputError(
            f"The stretch from {say_time(item.start_s, zone)} ends before it starts; exchange its two times."
        )
    if item.end_s < time_s[0] or item.start_s > time_s[-1]:
        raise InputError(
            f"The stretch from {say_time(item.start_s, zone)} lies outside the log, which runs from"
            f" {say_time(time_s[0], zone)} to {say_time(time_s[-1], zone)}; choose times within it."
        )
    if item.reason is not None and item.reason not in REASONS:
        raise InputError(f"{item.reason!r} is no reason to set a stretch aside; choose one of {', '.join(REASONS)}.")


def _without(exclusion: Exclusion, taken_back: Correction) -> list[Exclusion]:
    """What is left of an exclusion when a stretch is taken back; holes without readings stay as they are."""
    if exclusion.reason == "gap" or exclusion.end_s < taken_back.start_s or exclusion.start_s > taken_back.end_s:
        return [exclusion]
    left = Exclusion(exclusion.start_s, taken_back.start_s, exclusion.reason)
    right = Exclusion(taken_back.end_s, exclusion.end_s, exclusion.reason)
    return [part for part in (left, right) if part.end_s > part.start_s]
