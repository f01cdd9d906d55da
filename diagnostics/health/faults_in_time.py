"""Did something cease or wear out?

Question: did the switching stop, and do the peaks climb beyond what load explains? Input: a `Case`. Output: findings.
Method: the instant the rhythm ceased and the climb after it; the load-adjusted trend.
"""

from __future__ import annotations

import numpy as np

from diagnostics.estimate import Estimate
from diagnostics.health.case import Case
from diagnostics.health.record import Finding
from diagnostics.health.sentences import BED, PEOPLE, STORED_PRESSURE, between, level
from diagnostics.health.trend import may_be_season
from diagnostics.log.record import Floats
from diagnostics.moment import say_duration

_SOON_DAYS = 90.0
_CLIMB_K = 4.0
_SILENT_HALF_CYCLES = 2.5
_FAR_WETTER_K = 6.0
_FALLS_BACK = 0.3
"""Share of the climb: a dryer that stands still does not dry the air again by itself."""
_ALIVE = 0.35
"""Share of the usual ripple below which no changeover shows."""
_LEAST_RIPPLE_K = 0.15


def find_faults_in_time(case: Case) -> list[Finding]:
    """Stopped switching and desiccant decay."""
    return [f for f in (_switching_stopped(case), _desiccant_decay(case)) if f is not None]


_SEASON_OR_DESICCANT = (
    " No temperature was logged, so two causes remain: inlet air that got warmer with the season or the weather, which"
    " makes as much, or desiccant that loses capacity."
)


def _when_reached(left: Estimate | None) -> str:
    if left is None:
        return ""
    if left.value <= 0.0:
        return " Peaks pass the limit already."
    return f" At this rate the limit is reached in {between(left, 'days')}."


def _set_aside(load_adjusted: bool, season: bool) -> str:
    if not load_adjusted:
        return ", without correction for load"
    return ", load set aside" if season else ", load and inlet temperature set aside"


def _switching_stopped(case: Case) -> Finding | None:
    stopped_s = case.cycle.stopped_s if case.cycle.control == "stopped" else _ceased(case)
    if stopped_s is None:
        return None
    values, time_s = case.screened.dew_point_c, case.screened.log.time_s
    after = np.isfinite(values) & (time_s > stopped_s)
    before = case.screened.used & (time_s <= stopped_s)
    climb = ""
    passed = False
    if after.any() and before.any():
        later = values[after]
        usual = float(np.median(values[before]))
        top, last = float(np.max(later)), float(np.median(later[-max(1, later.size // 10) :]))
        if top - usual > _CLIMB_K and top - last > _FALLS_BACK * (top - usual):
            return None
        passed = top > case.limit_c
        climb = f" The dew point went from {level(usual)} to {level(top)} since then."
    rhythm = case.cycle.half_cycle_s
    length = f" every {say_duration(rhythm.value)}" if rhythm is not None else ""
    return case.finding(
        "switching_stopped",
        "critical",
        0.95 if passed else 0.85,
        statement=(
            f"The towers changed over{length} until {case.say(stopped_s)} and not once in the"
            f" {say_duration(case.end_s - stopped_s)} after it.{climb} One tower dries without rest and fills up with"
            " water; the air gets as wet as the inlet if nothing is done."
        ),
        evidence=[f"Last switchover before {case.say(stopped_s)}.", climb.strip() or "No usable readings after it."],
        other_causes=["the dryer was switched off or bypassed", "no air was drawn and the control paused"],
        action="Check the controller, its outputs, solenoid valves and pilot air; see which tower still dries.",
        caution=PEOPLE + " " + STORED_PRESSURE if case.for_people else STORED_PRESSURE,
        start_s=stopped_s,
    )


def _ceased(case: Case) -> float | None:
    """End of the last half-cycle, where none follows and the air is at last, whichever tower is due, far wetter."""
    rows = case.rows
    if len(rows) < 4 or case.cycle.control == "stopped":
        return None
    length_s, end_s = float(rows["length_s"].median()), float(rows["end_s"].iloc[-1])
    values, time_s = case.screened.dew_point_c, case.screened.log.time_s
    known = np.isfinite(values)
    before, after = known & (time_s <= end_s), known & (time_s > case.end_s - 2 * length_s)
    if case.end_s - end_s < _SILENT_HALF_CYCLES * length_s or after.sum() < 10:
        return None
    driest, wettest = float(np.quantile(values[after], 0.1)), float(np.quantile(values[before], 0.9))
    return float(rows["end_s"].to_numpy(float)[_last_alive(case)]) if driest > wettest + _FAR_WETTER_K else None


def _last_alive(case: Case) -> int:
    """Last half-cycle whose readings rise and fall as usual: the beat may have been laid on over a plain climb."""
    values, time_s = case.screened.dew_point_c, case.screened.log.time_s
    known = np.isfinite(values)
    values, time_s = values[known], time_s[known]
    starts, ends = (np.searchsorted(time_s, case.rows[name].to_numpy(float)) for name in ("start_s", "end_s"))
    ripple = np.array([_about_a_line(values[a:b]) for a, b in zip(starts, ends, strict=True)])
    half = ripple[: max(4, ripple.size // 2)]
    usual = float(np.nanmedian(half)) if np.isfinite(half).any() else 0.0
    if usual < max(_LEAST_RIPPLE_K, 4.0 * case.screened.resolution_c):
        return ripple.size - 1
    alive = np.flatnonzero(ripple > _ALIVE * usual)
    alive = alive[[(ripple[max(0, i - 4) : i + 1] > _ALIVE * usual).mean() > 0.5 for i in alive]]
    return int(alive[-1]) if alive.size else ripple.size - 1


def _about_a_line(values: Floats) -> float:
    """Spread of readings about a straight line [K]; NaN for fewer than four."""
    if values.size < 4:
        return float("nan")
    at = np.arange(values.size) - 0.5 * (values.size - 1)
    return float(np.ptp(values - at * float(at @ values) / float(at @ at)))


def _desiccant_decay(case: Case) -> Finding | None:
    trend = case.trend
    slope = trend.peak_dew_point_c_per_day
    if trend.verdict != "rising" or slope is None:
        return None
    season = may_be_season(case.screened, slope.value, (case.end_s - case.start_s) / 86400.0)
    left = trend.days_to_limit
    if left is None and len(case.rows) and slope.high > 0:
        away_k = case.limit_c - float(case.rows["peak_dew_point_c"].quantile(0.9))
        near = away_k / slope.high <= _SOON_DAYS
    else:
        near = left is not None and left.low <= _SOON_DAYS
    return case.finding(
        "desiccant_decay",
        "warning" if near and not season else "info",
        0.45 if season else 0.9 if trend.load_adjusted else 0.6,
        statement=(
            f"The peaks of the half-cycles climb by {between(slope, 'K a day')}"
            f"{_set_aside(trend.load_adjusted, season)}."
            + (_SEASON_OR_DESICCANT if season else " The desiccant most likely loses capacity.")
            + _when_reached(left)
        ),
        evidence=[f"Slope {between(slope, 'K a day')} over {say_duration(case.end_s - case.start_s)}."],
        other_causes=["oil from the compressor on the bed", "a clogging exhaust silencer", "a drifting instrument"],
        action=(
            "Log again with the inlet temperature, or in the same season: if the peaks are as high at the same inlet"
            " temperature, sample the bed; before that read the pressure of the regenerating vessel and the purge flow."
            if season
            else "Read the pressure of the regenerating vessel and the purge flow; if both are right, sample the bed"
            " (colour, oil, water capacity) and plan the refill."
        ),
        caution=PEOPLE + " " + BED if case.for_people else BED,
    )
