"""What is wrong, most urgent first.

Question: which faults does the log show, how sure are they, and what comes first? Input: what every other room made of
the log. Output: findings. Method: detectors that each rest on a stated test, then a sieve that keeps a cause and drops
what only looks like it.
"""

from __future__ import annotations

from diagnostics.air.record import Purity
from diagnostics.bed.record import Breakthrough
from diagnostics.cycle.record import Cycle
from diagnostics.energy.record import Purge, Switching
from diagnostics.health.case import Case
from diagnostics.health.faults_in_time import find_faults_in_time
from diagnostics.health.faults_of_air import find_faults_of_air
from diagnostics.health.faults_of_both_beds import find_faults_of_both_beds
from diagnostics.health.faults_of_load import find_faults_of_load
from diagnostics.health.faults_of_measurement import find_faults_of_measurement
from diagnostics.health.faults_of_purge import find_faults_of_purge
from diagnostics.health.faults_of_regeneration import find_faults_of_regeneration
from diagnostics.health.leaks import EITHER
from diagnostics.health.record import Finding, Trend
from diagnostics.health.towers import find_faults_of_towers
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

_URGENCY = {"critical": 0, "warning": 1, "info": 2}
_COST_OF_WAITING = (
    "switching_stopped",
    "carryover",
    "regeneration_failure",
    "bypass_leak",
    "overload",
    "purge_short",
    "desiccant_decay",
    "tower_imbalance",
    "breakthrough",
    "control_inactive",
    "purge_excess",
    "excess_regeneration",
    "pressure_mismatch",
    "sample_stagnant",
    "ambient_ingress",
    "inlet_wetter_than_saturated",
    "sensor_frozen",
    "sensor_range_end",
    "calibration_overdue",
    "clock_jump",
    "interval_too_long",
    "log_too_short",
    "unsettled",
)
"""From wet air within hours over wet air within months and money down to how well the log was taken; a cause stands
before the passing of the limit that follows from it."""


_NEAR_A_CHANGEOVER = 0.1
"""Of a half-cycle."""
_NAMED, _OF_THE_SWING = 0.5, 0.5


def find(
    screened: ScreenedLog,
    cycle: Cycle,
    purity: Purity,
    trend: Trend,
    breakthrough: Breakthrough,
    purge: Purge,
    switching: Switching,
    plant: Plant,
) -> tuple[Finding, ...]:
    """Find the faults that the log shows.

    Parameters
    ----------
    screened, cycle, purity, trend, breakthrough, purge, switching, plant
        What the other rooms made of one log.

    Returns
    -------
    tuple of Finding
        Most urgent first: by severity, then by what it costs to wait, then by confidence.
    """
    case = Case(screened, cycle, purity, trend, breakthrough, purge, switching, plant)
    of_towers, of_air, in_time = find_faults_of_towers(case), find_faults_of_air(case), find_faults_in_time(case)
    found = [
        *find_faults_of_measurement(case),
        *in_time,
        *of_towers,
        *_unless_explained(find_faults_of_both_beds(case), by=[*in_time, *of_towers, *of_air]),
        *of_air,
        *find_faults_of_load(case),
        *find_faults_of_regeneration(case),
        *find_faults_of_purge(case),
    ]
    if any(f.code == "tower_imbalance" for f in of_towers) and _one_tower_rises(trend):
        found = [f for f in found if f.code != "desiccant_decay"]
    if any(f.code == "overload" and f.confidence >= _NAMED for f in found) and _drowns_in_load(case):
        found = [f for f in found if f.code != "desiccant_decay"]
    if any(f.code == "breakthrough" for f in found):
        # its sentences name a leak as the other cause; without a channel nothing speaks for that more than for the beds
        found = [f for f in found if not (f.code == "bypass_leak" and f.confidence <= EITHER)]
    found = [f for f in found if not (f.code == "unsettled" and _is_wet_air(f, found, case))]
    return tuple(sorted(_without_look_alikes(found), key=_rank))


def _is_wet_air(unsettled: Finding, found: list[Finding], case: Case) -> bool:
    """Whether a removal of the probe that screening saw is where a slug begins, or a changeover to a failed tower."""
    start_s = case.start_s if unsettled.start_s is None else unsettled.start_s
    for finding in found:
        if finding.code == "carryover" and finding.start_s is not None and abs(finding.start_s - start_s) < 1.0:
            return True
        if finding.code == "regeneration_failure" and finding.start_s is not None:
            rows = case.rows[case.rows["start_s"] <= start_s]
            if len(rows) and start_s > finding.start_s:
                beats = (start_s - float(rows["start_s"].iloc[-1])) / float(case.rows["length_s"].median())
                if abs(beats - round(beats)) < _NEAR_A_CHANGEOVER:
                    return True
    return False


def _one_tower_rises(trend: Trend) -> bool:
    """Whether the trend is one tower's alone: then it is that tower's fault that grows, not the desiccant of both."""
    slopes = [slope.value for slope in trend.per_tower.values()]
    return len(slopes) == 2 and min(slopes) < 0.25 * max(slopes)


def _drowns_in_load(case: Case) -> bool:
    """Whether the trend's rise over the log is small beside how the peaks swing.

    Where beds are driven past their strength, the load moves the peaks by tens of kelvins, and not on a straight line.
    """
    slope = case.trend.peak_dew_point_c_per_day
    if slope is None or len(case.rows) == 0:
        return False
    low, high = case.rows["peak_dew_point_c"].quantile([0.1, 0.9])
    return slope.value * (case.end_s - case.start_s) / 86400.0 < _OF_THE_SWING * float(high - low)


def _unless_explained(found: list[Finding], *, by: list[Finding]) -> list[Finding]:
    """A step of both beds says least of what caused it, so any nearer explanation goes before it."""
    nearer = ("switching_stopped", "regeneration_failure", "carryover", "bypass_leak")
    return [] if any(f.code in nearer for f in by) else found


_HIDES = {
    "switching_stopped": {"breakthrough", "desiccant_decay", "excess_regeneration", "carryover", "bypass_leak"},
    "regeneration_failure": {"breakthrough", "desiccant_decay", "excess_regeneration", "bypass_leak", "carryover"},
    "carryover": {"breakthrough", "desiccant_decay", "bypass_leak", "tower_imbalance"},
    "bypass_leak": {"breakthrough", "desiccant_decay", "excess_regeneration"},
    "breakthrough": {"excess_regeneration"},
    "overload": {"excess_regeneration"},
    "sample_stagnant": {"bypass_leak", "tower_imbalance", "desiccant_decay"},
    "ambient_ingress": {"breakthrough", "bypass_leak", "desiccant_decay"},
}
"""What follows from a cause, or only looks like another one, is said in the cause's own sentences."""


def _without_look_alikes(found: list[Finding]) -> list[Finding]:
    hidden: set[str] = set()
    for finding in found:
        hidden |= _HIDES.get(finding.code, set()) if finding.confidence >= _NAMED else set()
    return [finding for finding in found if finding.code not in hidden]


def _rank(finding: Finding) -> tuple[int, int, float]:
    return _URGENCY[finding.severity], _COST_OF_WAITING.index(finding.code), -finding.confidence
