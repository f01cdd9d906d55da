"""Can the log be trusted, and what can it show at all?

Question: which faults lie in the probe, the sampling, the clock or the way of logging? Input: a `Case`. Output:
findings. Method: signs are passed on with cause, check and caution; calibration age from the plant
file; readings per half-cycle and complete half-cycles by count.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from itertools import groupby

from diagnostics.cycle.resolution import logging_interval_s
from diagnostics.health.case import Case
from diagnostics.health.record import Finding, Severity
from diagnostics.health.sentences import SAMPLE_POINT, counted
from diagnostics.health.signs import signs_of
from diagnostics.log.record import Sign
from diagnostics.moment import local_time, say_duration

READINGS_NEEDED = 4
HALF_CYCLES_NEEDED = 4
_SURE = 0.9
"""Below it a daily swing of the load explains the reading nearly as well, so a healthy dryer is not warned about."""


@dataclass(frozen=True)
class _Meaning:
    severity: Severity
    likely: str
    other_causes: tuple[str, ...]
    action: str
    caution: str = SAMPLE_POINT


_MEANINGS = {
    "unsettled": _Meaning(
        "info",
        "The probe and its sample line were still drying down or were being taken off; these readings are not the"
        " dryer's air and were set aside.",
        ("the dryer was started or restarted at that time",),
        "Next time leave the probe on for some hours before and do not remove it before the log is stopped.",
    ),
    "sample_stagnant": _Meaning(
        "warning",
        "Air most likely does not flow past the sensor: the reading follows temperature, not the dryer.",
        (
            "a daily swing of the dryer's load; a log with more sample flow decides",
            "room air that leaks into the sample line: its reading falls when the sample flow is raised",
            "a long dead leg to the probe",
        ),
        "Open the bleed until air just flows (one to two litres a minute), shorten the line, and log again.",
    ),
    "ambient_ingress": _Meaning(
        "warning",
        "Room air most likely gets into the sample: the reading follows the humidity around it, not the dryer.",
        ("a plastic sample hose that lets moisture through", "a real daily swing of the dryer's load"),
        "Tighten the couplings, use a short metal line and raise the sample flow: if the reading falls, it was a leak.",
    ),
    "sensor_frozen": _Meaning(
        "info",
        "The instrument most likely held its value, for a self-calibration or because it hung.",
        ("a logger that repeats the last value when the signal is lost",),
        "Read the manual on self-calibration, and check the instrument against a second one if the hold has no plan.",
    ),
    "sensor_range_end": _Meaning(
        "info",
        "The reading sits at the end of the instrument's range: the true value lies beyond it and is not known.",
        ("an output scaled too narrowly in the logger",),
        "Check the scaling of the signal; choose a probe whose range holds the dryer's dew points.",
    ),
    "pressure_mismatch": _Meaning(
        "warning",
        "The pressure set at the instrument most likely does not fit the plant, so that every reading is shifted.",
        ("gauge pressure entered for absolute", "a dew point logged at atmospheric pressure"),
        "Read the pressure setting and the basis at the instrument and correct either it or the plant file.",
    ),
    "clock_jump": _Meaning(
        "warning",
        "The logger's clock was most likely set during the log.",
        ("two logs pasted together", "a logger that lost its power"),
        "Set the logger to UTC or to a zone without summer time, and note when a clock was set by hand.",
        "",
    ),
    "inlet_wetter_than_saturated": _Meaning(
        "warning",
        "The outlet reads wetter than the inlet air can be at its logged temperature: one of the two is wrong.",
        ("an inlet sensor in the wrong place", "a wrong unit", "liquid water at the probe"),
        "Compare the inlet sensor with a thermometer at the dryer's inlet and check the units of both channels.",
    ),
}


def find_faults_of_measurement(case: Case) -> list[Finding]:
    """Findings about probe, sampling, clock and way of logging."""
    found = _passed_on(case)
    found += [f for f in (_calibration(case), _interval(case), _too_short(case)) if f is not None]
    return found


def _passed_on(case: Case) -> list[Finding]:
    signs = sorted((s for s in signs_of(case) if s.code in _MEANINGS), key=lambda s: (s.code, s.start_s))
    return [_of_signs(case, code, list(group)) for code, group in groupby(signs, key=lambda s: s.code)]


def _of_signs(case: Case, code: str, signs: list[Sign]) -> Finding:
    meaning = _MEANINGS[code]
    surest = max(signs, key=lambda s: s.confidence)
    severity = meaning.severity
    likely, action = meaning.likely, meaning.action
    if code == "clock_jump" and all(j.explained for j in case.screened.log.clock_jumps):
        severity = "info"
        likely = "The zone's own rule explains it: summer time ended."
        action = "Nothing to mend; a logger set to UTC would spare the doubled hour."
    if code in ("sample_stagnant", "ambient_ingress") and surest.confidence < _SURE:
        severity = "info"
    return case.finding(
        code,
        severity,
        surest.confidence,
        statement=f"{surest.sentence} {likely}",
        evidence=[s.sentence for s in signs],
        other_causes=meaning.other_causes,
        action=action,
        caution=meaning.caution,
        start_s=min(s.start_s for s in signs),
        end_s=max(s.end_s for s in signs),
    )


def _calibration(case: Case) -> Finding | None:
    measurement = case.plant.measurement
    if measurement.calibrated_on is None:
        return None
    when = local_time(case.end_s, case.zone).date()
    due = _months_later(measurement.calibrated_on, measurement.calibration_interval_months)
    if when <= due:
        return None
    months = measurement.calibration_interval_months
    late_days = (when - due).days
    late = counted(late_days, "day")
    return case.finding(
        "calibration_overdue",
        "info",
        0.99,
        statement=(
            f"The instrument was calibrated on {measurement.calibrated_on:%Y-%m-%d} and its interval of {months:g}"
            f" months ended on {due:%Y-%m-%d}, {late} before the log's end. Its drift since then is not known, so the"
            " distance to the limit is less sure than the figures say."
        ),
        evidence=[f"Calibrated {(when - measurement.calibrated_on).days} days before the end of the log."],
        other_causes=["the date in the plant file is out of date"],
        action="Have the instrument calibrated, or compare it with one that is, before a decision rests on this log.",
        caution=SAMPLE_POINT,
        start_s=max(case.start_s, min(case.end_s, _midnight(due, case))),
    )


def _midnight(day: dt.date, case: Case) -> float:
    shift = local_time(case.end_s, case.zone).utcoffset() or dt.timedelta()
    return dt.datetime(day.year, day.month, day.day, tzinfo=dt.timezone(shift)).timestamp()


def _months_later(day: dt.date, months: float) -> dt.date:
    whole = int(months)
    year, month = divmod(day.year * 12 + day.month - 1 + whole, 12)
    last = (dt.date(year + (month == 11), (month + 1) % 12 + 1, 1) - dt.timedelta(days=1)).day
    return dt.date(year, month + 1, min(day.day, last)) + dt.timedelta(days=round((months - whole) * 30.4))


def _interval(case: Case) -> Finding | None:
    interval_s = case.screened.log.interval_s
    half_cycle = case.cycle.half_cycle_s
    length_s = half_cycle.value if case.cycle.resolved and half_cycle is not None else case.plant.half_cycle_s
    readings = length_s / interval_s
    if readings >= READINGS_NEEDED:
        return None
    known = "in the log" if case.cycle.resolved else "by the plant file"
    if not case.cycle.resolved and not case.plant.is_given("dryer.half_cycle_s"):
        known = "as usual for such a dryer"
    wanted_s = logging_interval_s(length_s)
    return case.finding(
        "interval_too_long",
        "info",
        0.99 if known != "as usual for such a dryer" else 0.7,
        statement=(
            f"A reading every {say_duration(interval_s)} gives {readings:.1f} readings to a half-cycle of"
            f" {say_duration(length_s)} ({known}); {READINGS_NEEDED} are the least that show what a tower does. Peaks"
            " between readings and the difference of the towers stay unseen."
        ),
        evidence=[f"{readings:.1f} readings a half-cycle, {READINGS_NEEDED} needed."],
        other_causes=["the half-cycle in the plant file is not today's setting"],
        action=f"Log again with a reading every {say_duration(wanted_s)} or faster.",
    )


def _too_short(case: Case) -> Finding | None:
    complete = len(case.cycle.complete)
    length_s = case.end_s - case.start_s
    if case.cycle.resolved:
        if complete >= HALF_CYCLES_NEEDED:
            return None
        seen = f"The log holds {counted(complete, 'complete half-cycle')}"
        half_cycle_s = case.cycle.half_cycle_s.value if case.cycle.half_cycle_s else case.plant.half_cycle_s
    else:
        half_cycle_s = case.plant.half_cycle_s
        if length_s >= (HALF_CYCLES_NEEDED + 1) * half_cycle_s:
            return None
        seen = (
            f"The log lasts {say_duration(length_s)} and no half-cycle could be told apart; with half-cycles of"
            f" {say_duration(half_cycle_s)} it can hold {counted(int(length_s // half_cycle_s), 'half-cycle')}"
        )
    return case.finding(
        "log_too_short",
        "info",
        0.99 if case.cycle.resolved else 0.8,
        statement=f"{seen}; {HALF_CYCLES_NEEDED} complete ones are the least that compare the towers.",
        evidence=[f"{say_duration(length_s)} logged."],
        other_causes=["the dryer switches on dew point and had little to do"],
        action=f"Log again for at least {say_duration(max(10 * half_cycle_s, 2 * 86400.0))}, a working day included.",
    )
