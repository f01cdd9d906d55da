"""Whether the peaks of the half-cycles rise over the days at equal load: does the desiccant decay?

Question: how fast do the peaks rise, and when would they reach the limit? Input: screened log, half-cycles, plant.
Output: a `Trend`. Method: `trend_regression.fit_line` on `trend_series.peak_series` with what was logged of load, inlet
temperature, pressure and time of day; a rise counts only if it stands whichever fifth of the log is left out and no
step tells it better, so that an incident or a settling tail is not taken for decay.
"""

from __future__ import annotations

import numpy as np

from diagnostics.air.uncertainty import budget_in_log
from diagnostics.cycle.record import Cycle
from diagnostics.estimate import Estimate
from diagnostics.health.record import Trend, Verdict
from diagnostics.health.trend_forecast import days_to_limit
from diagnostics.health.trend_pinned import pinned_note
from diagnostics.health.trend_regression import Line, fit_line, is_step, median_slope
from diagnostics.health.trend_series import PeakSeries, lagged_load, peak_series
from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.plant import Plant

LEAST_RISE_K = 1.0
"""Rise over the log from which on it counts [K]."""
_WEATHER_K = 4.0
_SEASON_K_PER_DAY, _SEASON_K = 0.2, 20.0
"""By how much an inlet temperature that nobody logged may have drifted: at once with the weather, and with the season
day by day and at most; common practice, no published source."""
_PEAK_PER_KELVIN = 1.0
"""Kelvin of peak for a kelvin of inlet: a fixed share of saturated inlet air makes half as much, a worn bed more."""
LEAST_SPAN_D = 1.9
"""Two days, less the broken half-cycles at both ends [d]."""
LEAST_HALF_CYCLES = 12
LEAST_FREEDOM = 3.0
WIDEST_K = 5.0
"""Half-width of the interval over the whole log beyond which the log cannot tell [K]."""
_VISIT_DEVIATION_K = 0.5
_HELD_SHARE = 0.4
_ONE_STRETCH = (
    "The peaks differ between parts of the log, but not as a steady trend: the change rests on one stretch of it (an"
    " incident, a settling tail or a step)."
)


_MAY_BE_SEASON = (
    "No temperature was logged, and a rise as slow as this is what warmer inlet air of the season or the weather makes"
    " too: whether it is the desiccant stays open. A log with the inlet temperature, or a second visit in the same"
    " season, tells."
)


def may_be_season(screened: ScreenedLog, slope_c_per_day: float, span_d: float) -> bool:
    """Whether a rise may come from an inlet temperature that nobody logged.

    Parameters
    ----------
    screened : ScreenedLog
    slope_c_per_day : float
        Rise of the peaks [K/d].
    span_d : float
        Over how many days.
    """
    if "inlet_temperature" in screened.conditions.logged:
        return False
    if any(quantity in screened.log.channels for quantity in ("temperature", "ambient_temperature")):
        return False
    drift_k = _WEATHER_K + min(_SEASON_K_PER_DAY * span_d, _SEASON_K)
    return slope_c_per_day * span_d <= _PEAK_PER_KELVIN * drift_k


def peak_trend(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> Trend:
    """Trend of the half-cycle peaks at equal load.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    plant : Plant

    Returns
    -------
    Trend
        Verdict "too_short" with a note where the log cannot tell.
    """
    series = peak_series(screened, cycle, plant) if cycle.resolved else None
    if series is None:
        return _too_short("The log shows no whole half-cycles, so it has no trend of peaks.")
    if series.half_cycles < LEAST_HALF_CYCLES or series.span_d < LEAST_SPAN_D or series.time_d.size < 8:
        return _too_short(
            f"A trend needs {LEAST_HALF_CYCLES} half-cycles and two days; the log holds"
            f" {series.half_cycles} over {series.span_d:.1f} days."
        )
    covariates = _chosen(series)
    line = fit_line(series, covariates, _VISIT_DEVIATION_K)
    raw = fit_line(series, {}, _VISIT_DEVIATION_K)
    slope, raw_slope = _interval(line), _interval(raw)
    wide = line.quantile * line.error * series.span_d
    verdict, notes = _verdict(series, covariates, line, slope, wide)
    if verdict in ("rising", "falling") and _tower_steps(screened, cycle, plant):
        verdict, notes = "steady", (_ONE_STRETCH,)
    explained = _explained(series, covariates, line, raw_slope, verdict)
    if explained:
        verb = "accounts" if len(explained) == 1 else "account"
        notes += (f"The peaks rise as logged, but {_and(explained)} {verb} for it: at equal load they do not.",)
    if "load" not in covariates:
        notes += ("No varying load was logged, so the trend is not brought to equal load.",)
    if verdict == "rising" and may_be_season(screened, slope.value, series.span_d):
        notes += (_MAY_BE_SEASON,)
    if cycle.control == "dew_point":
        notes += pinned_note(screened, cycle, plant)
    return Trend(
        peak_dew_point_c_per_day=slope if line.freedom >= LEAST_FREEDOM else None,
        load_adjusted="load" in covariates,
        verdict=verdict,
        days_to_limit=_days(line, screened, plant) if verdict == "rising" else None,
        raw_c_per_day=raw_slope,
        robust_c_per_day=median_slope(series.time_d, line.rest_c),
        explained_by=explained,
        per_tower=_per_tower(screened, cycle, plant),
        notes=notes,
    )


def _too_short(note: str) -> Trend:
    return Trend(None, False, "too_short", None, notes=(note,))


def _chosen(series: PeakSeries) -> dict[str, Floats]:
    """Covariates worth their degree of freedom: logged ones, the bend of the load's effect, the time of day."""
    chosen = dict(series.covariates)
    n = series.time_d.size
    if "load" in chosen and "inlet temperature" in chosen:
        alike = abs(np.corrcoef(chosen["load"], chosen["inlet temperature"])[0, 1])
        if alike > 0.95 or n < 24:
            del chosen["inlet temperature"]
    slow = lagged_load(series)
    if slow is not None:
        chosen["load, of the hours before"] = slow
    if "load" in chosen and n >= 30:
        bend = chosen["load"] ** 2
        chosen["load squared"] = bend - bend.mean()
    if series.step_d < 0.3 and n >= 24 and series.span_d >= 2.5:
        for name, wave in (("time of day", np.sin), ("time of day, quarter on", np.cos)):
            values = wave(2.0 * np.pi * series.time_d)
            chosen[name] = values - values.mean()
    return chosen


def _interval(line: Line) -> Estimate:
    half = line.quantile * line.error
    return Estimate(line.slope, line.slope - half, line.slope + half)


def _verdict(
    series: PeakSeries, covariates: dict[str, Floats], line: Line, slope: Estimate, wide_k: float
) -> tuple[Verdict, tuple[str, ...]]:
    if is_step(series.time_d, line.rest_c) and is_step(series.time_d, series.peak_c):
        return "steady", (_ONE_STRETCH,)
    if line.freedom < LEAST_FREEDOM:
        note = "Neighbouring half-cycles are so much alike that the log holds too few independent ones for a trend."
        return "too_short", (note,)
    rise_k = slope.value * series.span_d
    if (slope.low > 0 or slope.high < 0) and abs(rise_k) >= LEAST_RISE_K:
        robust = median_slope(series.time_d, line.rest_c)
        if robust * slope.value <= 0 or is_step(series.time_d, line.rest_c) or not _holds(series, covariates, line):
            return "steady", (_ONE_STRETCH,)
        return ("rising" if slope.value > 0 else "falling"), ()
    if wide_k > WIDEST_K:
        note = (
            f"The peaks scatter so much that a change of {wide_k:.1f} K over the log could hide in it; a longer log, or"
            " one with flow, would tell."
        )
        return "too_short", (note,)
    return "steady", ()


def _holds(series: PeakSeries, covariates: dict[str, Floats], line: Line) -> bool:
    """Whether the slope keeps its sign and a good part of its size whichever fifth of the log is left out."""
    n = series.time_d.size
    fifth = np.arange(n) * 5 // n
    for left_out in range(5):
        keep = fifth != left_out
        part = fit_line(series.only(keep), {name: x[keep] for name, x in covariates.items()})
        if part.slope * line.slope <= 0 or abs(part.slope) < _HELD_SHARE * abs(line.slope):
            return False
    return True


def _tower_steps(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> bool:
    """Whether one tower's peaks jump by more than the rise that counts, rather than creep."""
    for tower in ("A", "B"):
        series = peak_series(screened, cycle, plant, tower)
        if series is None or series.time_d.size < 8:
            continue
        rest = fit_line(series, _chosen(series)).rest_c
        if is_step(series.time_d, series.peak_c) and is_step(series.time_d, rest):
            return True
    return False


def _explained(
    series: PeakSeries, covariates: dict[str, Floats], line: Line, raw: Estimate, verdict: Verdict
) -> tuple[str, ...]:
    """Covariates that carry a raw rise which is gone at equal load."""
    if verdict == "rising" or raw.low <= 0 or raw.value * series.span_d < LEAST_RISE_K:
        return ()
    carried: dict[str, float] = {}
    for name, values in covariates.items():
        plain = name.split(",")[0].removesuffix(" squared")
        trend = float(np.polyfit(series.time_d, values, 1)[0])
        carried[plain] = carried.get(plain, 0.0) + line.effects[name] * trend
    return tuple(name for name, share in carried.items() if share >= 0.3 * raw.value)


def _and(words: tuple[str, ...]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def _days(line: Line, screened: ScreenedLog, plant: Plant) -> Estimate:
    limit_c = plant.dryer.dew_point_limit_c
    return days_to_limit(line, limit_c, budget_in_log(limit_c, screened, plant).standard_k)


def _per_tower(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> dict[str, Estimate]:
    slopes = {}
    for tower in ("A", "B"):
        series = peak_series(screened, cycle, plant, tower)
        if series is None or series.time_d.size < 8 or series.span_d < LEAST_SPAN_D:
            continue
        line = fit_line(series, _chosen(series), _VISIT_DEVIATION_K)
        if line.freedom >= LEAST_FREEDOM:
            slopes[tower] = _interval(line)
    return slopes
