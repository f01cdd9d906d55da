"""Margin of a heated dryer, from the tails of its half-cycles."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.bed.crossing import own_leads, seconds_to_limit
from diagnostics.bed.margin import Margin, Question, repeatable_s
from diagnostics.bed.reserve import OPEN_PRIOR, PRIOR, Evidence, weigh
from diagnostics.bed.tail import Front, fit_front, tail_points
from diagnostics.estimate import Estimate

_EXPONENTIAL_SHARE = 0.67
"""Weight of the exponential front against the spreading one: the isotherms of desiccants are favourable, so fronts tend
to a constant pattern; the spreading one bounds how much the approach may bend."""
_FEWEST = 2


@dataclass(frozen=True, eq=False)
class _Tails:
    exponential: Front
    gaussian: Front
    single: Evidence
    flow_effect: float
    """ln of the loaded water at the limit at peak load over that at mean flow."""


def heated_margin(question: Question) -> Margin:
    """Margin of a heated dryer.

    Parameters
    ----------
    question : Question

    Returns
    -------
    Margin
    """
    if question.cycle.control == "dew_point":
        return _under_control(question)
    tails = _tails(question)
    if tails is None:
        return _by_rating(question)
    return _by_tails(tails, question)


def _tails(question: Question) -> _Tails | None:
    points = tail_points(question.screened, question.cycle, question.duty, question.limit_moisture)
    if points is None or np.unique(points.half_cycle).size < _FEWEST:
        return None
    inlet = _log_inlet(question)
    fronts = [fit_front(points, kind, inlet) for kind in ("exponential", "gaussian")]
    leads = [abs(front.values[5]) / 2.0 for front in fronts]
    loaded = np.array([float(f.loaded_at_limit(lead=lead)) for f, lead in zip(fronts, leads, strict=True)])
    if not np.isfinite(loaded).all() or (loaded <= 0).any():
        return None
    logs = np.log(loaded)
    share = np.array([_EXPONENTIAL_SHARE, 1.0 - _EXPONENTIAL_SHARE])
    model = 0.5 * abs(logs[1] - logs[0])
    statistical = max(_deviation(front) for front in fronts)
    instrument = question.limit_deviation / fronts[0].slope_at_limit / loaded[0]
    peak = fronts[0].loaded_at_limit(question.duty.log_flow_at_peak, leads[0]) / loaded[0]
    single = Evidence(float(share @ logs), math.hypot(model, statistical, instrument))
    return _Tails(fronts[0], fronts[1], single, math.log(max(float(peak), 0.1)))


def _deviation(front: Front) -> float:
    """Standard deviation of ln loaded water at the limit from the fit."""
    step = 1e-4
    gradient = np.zeros(6)
    for i in range(6):
        shift = np.zeros(6)
        shift[i] = step
        above, below = (float(front.loaded_at_limit(values=front.values + s)) for s in (shift, -shift))
        if above > 0 and below > 0:
            gradient[i] = (math.log(above) - math.log(below)) / (2.0 * step)
    return math.sqrt(max(float(gradient @ front.covariance @ gradient), 0.0))


def _log_inlet(question: Question) -> float:
    conditions = question.screened.conditions
    inlet_c = question.plant.operation.inlet_dew_point_c
    if inlet_c is None:
        temperature = conditions.inlet_temperature_c
        rated = question.plant.dryer.rated_inlet_temperature_c
        inlet_c = rated if temperature is None else float(np.nanmean(temperature))
    pressure = float(np.median(conditions.pressure_bar))
    return float(np.log(moisture_fraction(inlet_c, pressure) / question.limit_moisture))


def repeated(single: float) -> tuple[float, float]:
    """ln of the reserve that can be repeated over that of a single half-cycle, and its standard deviation.

    Up to the water of the rating, today's regeneration is laid out to drive out what was taken up; of what a bed holds
    beyond it, half is taken to come back (between none and all of it; common practice, no published source).
    """
    beyond = max(single - 1.0, 0.0)
    return math.log((single - 0.5 * beyond) / single) - 0.015, 0.02 + 0.35 * beyond / single / 1.96


def _by_tails(tails: _Tails, question: Question) -> Margin:
    single = tails.single
    shift, deviation = repeated(math.exp(single.mean))
    sustained = single.shifted(shift, deviation)
    censored = not question.rise_shows
    if censored and not question.duty.known:
        return _unknown_load(question)
    if question.duty.known:
        sustained = weigh(sustained, PRIOR if censored else OPEN_PRIOR)
    if censored:
        single = weigh(single, PRIOR.shifted(-shift, deviation))
    scale = math.exp(single.mean - tails.single.mean)
    seconds, weaker = _single_s(tails, question)
    total = (seconds + question.today_s) * scale
    low, high = (total * math.exp(z * single.deviation) - question.today_s for z in (-1.96, 1.96))
    lag_s = _lag_s(question)
    margin_s = Estimate.ordered(total - question.today_s - lag_s, low - lag_s, high)
    if censored and not question.reached:
        margin_s = Estimate.ordered(margin_s.value, max(margin_s.low, 0.0), margin_s.high)
    mean, peak = question.duty.mean, question.duty.peak
    return Margin(
        single_s=margin_s,
        sustained_s=_held(repeatable_s(sustained, mean, question), censored, question),
        at_peak_s=repeatable_s(sustained.shifted(tails.flow_effect), peak, question),
        reserve=sustained.estimate(),
        censored=censored,
        method="prior and tail" if censored else "tail",
        weaker_tower=weaker,
        notes=_notes(censored, question),
    )


def _held(margin: Estimate, censored: bool, question: Question) -> Estimate:
    """Today's half-cycle is held at the log's load, so nothing below it can be true where the limit stays far."""
    if not censored or question.reached:
        return margin
    return Estimate.ordered(max(margin.value, 0.0), max(margin.low, 0.0), max(margin.high, 0.0))


def _single_s(tails: _Tails, question: Question) -> tuple[float, str | None]:
    points = tail_points(question.screened, question.cycle, question.duty, question.limit_moisture)
    assert points is not None
    limit_c = question.plant.dryer.dew_point_limit_c
    per_kind = []
    for front in (tails.exponential, tails.gaussian):
        leads = own_leads(front, points)
        per_kind.append(seconds_to_limit(front, leads, question.screened, question.cycle, question.duty, limit_c))
    tower = question.cycle.half_cycles["tower"].to_numpy()
    medians: dict[str | None, float] = {}
    for name in ("A", "B", None):
        rows = [row for row in per_kind[0] if name is None or tower[row] == name]
        if rows and (name is not None or not medians):
            one, other = (float(np.median([seconds[row] for row in rows])) for seconds in per_kind)
            medians[name] = _EXPONENTIAL_SHARE * one + (1.0 - _EXPONENTIAL_SHARE) * other
    weaker = min(medians, key=lambda name: medians[name])
    return medians[weaker], weaker


def _lag_s(question: Question) -> float:
    wetting = question.cycle.time_constant_s.get("wetting")
    return 0.0 if wetting is None else min(wetting.value, 0.05 * question.today_s)


def _by_rating(question: Question) -> Margin:
    if not question.duty.known:
        return _unknown_load(question)
    sustained = _held(repeatable_s(PRIOR, question.duty.mean, question), True, question)
    return Margin(
        single_s=sustained,
        sustained_s=sustained,
        at_peak_s=repeatable_s(PRIOR, question.duty.peak, question),
        reserve=PRIOR.estimate(),
        censored=True,
        method="prior",
        notes=_notes(True, question),
    )


def _unknown_load(question: Question) -> Margin:
    note = (
        "No rise towards the limit shows, and flow, inlet temperature or rating are unknown, so the margin cannot be"
        " told; enter operation.flow_m3_min and operation.inlet_temperature_c."
    )
    return Margin(None, None, None, None, True, "none", notes=(note,))


def _under_control(question: Question) -> Margin:
    table = question.cycle.complete
    set_point = question.cycle.set_point_c
    at = float(np.median(table["end_dew_point_c"])) if set_point is None else set_point.value
    ended = table[np.abs(table["end_dew_point_c"] - at) < 1.5]
    note = (
        "Switched by dew point: every half-cycle runs until the set point, so there is no margin to a timer; the"
        " reserve is what the half-cycles took up."
    )
    if not question.duty.known or ended.empty:
        return Margin(None, None, None, None, False, "dew-point control", notes=(note,))
    loaded = question.duty.loaded_at(ended["end_s"].to_numpy()) - question.duty.loaded_at(ended["start_s"].to_numpy())
    logs = np.log(loaded)
    gap = math.log(question.limit_moisture / float(moisture_fraction(at, question.plant.line_pressure_bar)))
    slope = 6.0
    mean = float(logs.mean()) + gap / slope / math.exp(float(logs.mean()))
    error = float(logs.std(ddof=1) / math.sqrt(logs.size)) if logs.size > 1 else 0.15
    evidence = Evidence(mean, math.hypot(error, 0.03, 0.5 * gap / slope))
    return Margin(None, None, None, evidence.estimate(), False, "dew-point control", notes=(note,))


def _notes(censored: bool, question: Question) -> tuple[str, ...]:
    if not censored:
        return ()
    rise = "no" if question.rise_c is None else f"only {question.rise_c:.1f} K of"
    return (
        f"The half-cycles show {rise} rise towards the limit, so the margin rests on the rating (a dryer at full rating"
        " holds its limit for one nameplate half-cycle with 0 to 50 % reserve; common practice, no published source)"
        " and, as far as it speaks, on the tail; the lower bound is what can be vouched for.",
    )
