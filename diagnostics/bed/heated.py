"""Margin of a heated dryer, from the tails of its half-cycles."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.air.uncertainty import slope_per_k
from diagnostics.bed.crossing import observed_seconds, own_leads, seconds_to_limit
from diagnostics.bed.front_evidence import Tails, tails_of
from diagnostics.bed.margin import SHOWS_K, Margin, Question, repeatable_s
from diagnostics.bed.reserve import OPEN_PRIOR, PART_LOAD, Evidence, prior_above, weigh
from diagnostics.estimate import Estimate

_USUAL_SLOPE = 8.0
"""e-folds of moisture per nameplate half-cycle of load near the limit, to go from a set point to the limit where they
differ; common practice, no published source."""

_ONCE_AT_MOST = 2.5
"""Loaded water that a bed without a rise holds once, over what it may hold again and again: design counts on a half to
a third of what desiccant takes up in equilibrium (common practice, no published source)."""
_NO_EVIDENCE = 0.35
"""Standard deviation of ln loaded water from which a faint tail leaves a factor of two either way and says nothing."""
_MOST_FLOW_POWER = 1.4
"""Power of flow, in ln moisture of a front at the same loaded water, up to which contact time explains it."""

_STEEPEST = 45.0
"""e-folds of moisture per e-fold of loaded water below the limit, of the steepest front: Thomas's closed form with 60
transfer units and a separation factor of 0.1 between 5 e-folds below the limit and the limit."""


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
    tails = tails_of(question)
    if tails is None and question.reached:
        return _passed(question)
    if tails is None or not question.rise_shows:
        return _by_rating(tails, question)
    return _by_tails(tails, question)


def repeated(single: float, held: float = 1.0) -> tuple[float, float]:
    """ln of the reserve that can be repeated over that of a single half-cycle, and its standard deviation.

    Up to the water of the rating, or to what half-cycle after half-cycle of the log took up, regeneration drives out
    what was taken up; of what a bed holds beyond it, half is taken to come back (between none and all of it; common
    practice, no published source). Where half-cycles took up more than both a single one and the rating hold, a third
    of that is taken to be gained once they are shorter.

    Parameters
    ----------
    single : float
        Loaded water at which a single half-cycle reaches the limit, in nameplate half-cycles at rated load.
    held : float
        Loaded water that the log's half-cycles took up again and again.
    """
    beyond, over = max(single - max(held, 1.0), 0.0) / single, max(held - max(single, 1.0), 0.0) / single
    return math.log1p(over / 3.0 - 0.5 * beyond) - 0.01, 0.02 + 0.5 * (beyond + over) / 1.96


def _history(tails: Tails) -> float:
    """Deviation of ln loaded water at a steady load from what half-cycles at a changing load show [-].

    A front that answers to flow by a higher power than contact time explains answers to what the half-cycles before
    left in the bed; at a steady load nothing of the kind may be left.
    """
    front = tails.exponential
    excess = max(float(front.values[4]) - _MOST_FLOW_POWER, 0.0)
    spread = float(np.std(tails.points.log_flow))
    return excess * spread / (front.slope_at_limit * math.exp(tails.single.mean))


def _taken_up(question: Question) -> float:
    """Loaded water that a quarter of the half-cycles passed, each after a regeneration like today's [-]."""
    if not question.duty.known:
        return 0.0
    table = question.cycle.complete
    duty = question.duty
    loaded = duty.loaded_at(table["end_s"].to_numpy(float)) - duty.loaded_at(table["start_s"].to_numpy(float))
    return float(np.percentile(loaded, 75))


def _by_tails(tails: Tails, question: Question) -> Margin:
    shift, deviation = repeated(math.exp(tails.single.mean), _taken_up(question))
    sustained = tails.single.shifted(shift, math.hypot(deviation, _history(tails)))
    if question.duty.known:
        sustained = weigh(sustained, OPEN_PRIOR)
    seconds, weaker = _single_s(tails, question)
    total = seconds + question.today_s
    low, high = (total * math.exp(z * tails.single.deviation) - question.today_s for z in (-1.96, 1.96))
    lag_s = _lag_s(question)
    return Margin(
        single_s=Estimate.ordered(seconds - lag_s, low - lag_s, high),
        sustained_s=repeatable_s(sustained.estimate(), question.duty.mean, question),
        at_peak_s=repeatable_s(sustained.shifted(tails.flow_effect).estimate(), question.duty.peak, question),
        reserve=sustained.estimate(),
        censored=False,
        method="tail",
        weaker_tower=weaker,
    )


def _by_rating(tails: Tails | None, question: Question) -> Margin:
    """The rating decides, and a faint tail as far as it speaks."""
    if not question.duty.known:
        return _unknown_load()
    held = _taken_up(question)
    if tails is not None and tails.single.deviation > _NO_EVIDENCE and not question.rise_shows:
        tails = None
    prior = sustained = OPEN_PRIOR if question.reached else prior_above(held)
    shift, deviation = repeated(math.exp(prior.mean), held)
    # a flat end says that the front is still away, not how far: one half-cycle goes beyond the repeated by the prior's
    single = prior.shifted(-shift, deviation)
    least, flow_effect = prior, 0.0
    if tails is None:
        per_unit = _seconds_per_load(math.exp(single.mean), question)
    else:
        sustained = weigh(tails.single.shifted(*repeated(math.exp(tails.single.mean), held)), prior)
        single, least = weigh(tails.single, single), weigh(tails.single, prior)
        flow_effect = tails.flow_effect
        per_unit = (_single_s(tails, question)[0] + question.today_s) / math.exp(tails.single.mean)
    by_rating = tails is None or tails.single.deviation > prior.deviation

    def told(evidence: Evidence) -> Estimate:
        return evidence.estimate() if question.rise_shows else evidence.vouched(by_rating=by_rating)

    once, again = _nearest(question)
    reserve = _at_part_load(told(sustained), question).map(lambda load: max(load, again))
    # a bed holds no less in one half-cycle than in each of many
    low = max(told(least).low, reserve.low, once)
    high = max(
        told(single).high, _ONCE_AT_MOST * reserve.high if by_rating and not question.rise_shows else reserve.high
    )
    bounds = Estimate.ordered(max(single.estimate().value, low), low, max(high, low))
    at_peak = _at_part_load(told(sustained.shifted(flow_effect)), question)
    return Margin(
        single_s=_not_below_today(bounds.map(lambda held: held * per_unit - question.today_s), question),
        sustained_s=_not_below_today(repeatable_s(reserve, question.duty.mean, question), question),
        at_peak_s=repeatable_s(at_peak, question.duty.peak, question),
        reserve=sustained.estimate(),
        censored=not question.rise_shows,
        method="prior" if tails is None else "prior and tail",
        notes=_notes(question),
    )


def _at_part_load(reserve: Estimate, question: Question) -> Estimate:
    """The reserve with its upper end as far up as part load may bring it, where no rise shows."""
    return reserve if question.rise_shows else replace(reserve, high=PART_LOAD * reserve.high)


def _nearest(question: Question) -> tuple[float, float]:
    """Least loaded water at the limit, once and again and again, where a steep front still hides below the plateau [-].

    Half-cycles that end without a rise carry at most a rise's worth of front; from there the steepest front has the
    e-folds up to the limit to go. Of what lies beyond today's, half is counted on again and again (`repeated`).
    """
    table = question.cycle.complete
    if question.rise_shows or not question.duty.known:
        return 0.0, 0.0
    loaded_at = question.duty.loaded_at
    loaded = float(np.median(loaded_at(table["end_s"].to_numpy(float)) - loaded_at(table["start_s"].to_numpy(float))))
    end_c = float(np.median(table["end_dew_point_c"].to_numpy(float)))
    level = float(moisture_fraction(end_c, question.plant.line_pressure_bar)) / question.limit_moisture
    hidden = math.expm1(SHOWS_K * slope_per_k(end_c)) * level
    beyond = max(math.log((1.0 - min(level, 1.0)) / hidden), 0.0) / _STEEPEST if level < 1.0 else 0.0
    return loaded * math.exp(beyond), loaded * math.exp(0.5 * beyond)


def _passed(question: Question) -> Margin:
    """The limit is passed and no plateau below it shows: only what was seen can be told."""
    seconds = observed_seconds(question.screened, question.cycle, question.plant.dryer.dew_point_limit_c)
    low, middle, high = np.percentile(seconds, (10, 50, 90), method="inverted_cdf")
    single = Estimate.ordered(middle, low, high if np.isfinite(high) else 0.0) if np.isfinite(middle) else None
    note = (
        "The limit is passed inside half-cycles and no dry stretch shows from which a front could be followed; how much"
        " shorter a half-cycle would hold it cannot be told before the dryer dries again."
    )
    return Margin(single, None, None, None, False, "passed", notes=(note,))


def _seconds_per_load(held: float, question: Question) -> float:
    """Median time in which the load that followed each switchover fills ``held``, per unit of it [s]."""
    duty = question.duty
    starts = question.cycle.complete["start_s"].to_numpy(float)
    wanted = duty.loaded_at(starts) + held
    when = np.interp(wanted, duty.loaded, duty.time_s)
    beyond = np.maximum(wanted - duty.loaded[-1], 0.0) * duty.nameplate_s / duty.mean
    return float(np.median(when + beyond - starts)) / held


def _not_below_today(margin: Estimate, question: Question) -> Estimate:
    """Today's half-cycle is held at the log's load, so no margin below nought can be true where the limit stays far."""
    if question.reached:
        return margin
    return Estimate.ordered(max(margin.value, 0.0), max(margin.low, 0.0), max(margin.high, 0.0))


def _single_s(tails: Tails, question: Question) -> tuple[float, str | None]:
    """Median seconds to the limit over the weaker tower's half-cycles, and that tower."""
    limit_c = question.plant.dryer.dew_point_limit_c
    screened, cycle, duty = question.screened, question.cycle, question.duty
    per_kind = [
        seconds_to_limit(front, own_leads(front, tails.points), screened, cycle, duty, limit_c)
        for front in (tails.exponential, tails.gaussian)
    ]
    tower = question.cycle.half_cycles["tower"].to_numpy()
    medians: dict[str | None, float] = {}
    for name in ("A", "B", None):
        rows = [row for row in per_kind[0] if name is None or tower[row] == name]
        if rows and (name is not None or not medians):
            one, other = (float(np.median([seconds[row] for row in rows])) for seconds in per_kind)
            medians[name] = tails.share * one + (1.0 - tails.share) * other
    weaker = min(medians, key=lambda name: medians[name])
    return medians[weaker], weaker


def _lag_s(question: Question) -> float:
    wetting = question.cycle.time_constant_s.get("wetting")
    return 0.0 if wetting is None else min(wetting.value, 0.05 * question.today_s)


def _unknown_load() -> Margin:
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
    mean = float(logs.mean()) + gap / _USUAL_SLOPE / math.exp(float(logs.mean()))
    error = float(logs.std(ddof=1) / math.sqrt(logs.size)) if logs.size > 1 else 0.15
    evidence = Evidence(mean, math.hypot(error, 0.03, 0.5 * gap / _USUAL_SLOPE))
    return Margin(None, None, None, evidence.estimate(), False, "dew-point control", notes=(note,))


def _notes(question: Question) -> tuple[str, ...]:
    rise = "no" if question.rise_c is None else f"only {question.rise_c:.1f} K of"
    return (
        f"The half-cycles show {rise} rise towards the limit, so the margin rests on the rating (a dryer at full rating"
        " holds its limit for one nameplate half-cycle with 0 to 50 % reserve; common practice, no published source)"
        " and, as far as it speaks, on the tail; the lower bound is what can be vouched for.",
    )
