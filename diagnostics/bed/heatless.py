"""Margin of a heatless dryer, from its purge balance over many cycles."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.bed.margin import Margin, Question
from diagnostics.bed.purge_balance import Balance, Course, course_of, fit_balance
from diagnostics.bed.purge_level import fit_level
from diagnostics.bed.reserve import OPEN_PRIOR, PART_LOAD, Evidence, prior_above, weigh
from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats

_GAIN = 3.0
_NEAR = 0.15
"""Wettest moisture over that at the limit from which a climb reaches towards it."""
_AT_HAND = 0.4
"""The same from which the level itself, climbing or not, speaks against the rating's reserve."""
_CLIMB = 0.8
"""Climb over the log in ln moisture, some 7 K, from which it shows without a rise inside half-cycles."""
_STRUCTURE, _BENDS = {True: 0.04, False: 0.25}, 0.15
"""Standard deviation of ln reserve from what both readings leave out (bed heat, shape of the wet zone): where the level
came near the limit and where it stayed far; and, where no rise shows, for each e-fold of load still to go. A long
column's outlet bends from its floor up to the limit within the last tenth of its load."""
_STEEPENS = 0.025
"""ln load by which a power of the load, read off a level below the limit, passes it too late: the exchanger's exponent
grows towards the limit (`purge_level`), and the fit sees the whole log's."""
_STRETCH = 40
"""Half-cycles that count as one independent look at the balance."""
_SINGLE_FACTOR = 1.1
"""Growth in one tower that dries on over the growth b that the balance shows: about 1 where the wet zone just travels;
up to 2 where creep is met by one tower at a time, and some 3 in two dryers of the bed model, where heat and a long bed
hold the creep of both towers back. A log of both towers cannot tell which; the interval holds all."""
_SINGLE_RANGE = (3.3, 0.75)
_USUAL_GROWTH = (0.1, 0.03)
"""e-folds of moisture per nameplate half-cycle of load while one tower dries on, from a level that does not climb:
usual and least (a wet zone far from the outlet first has to get there); common practice, no published source."""


def heatless_margin(question: Question) -> Margin:
    """Margin of a heatless dryer.

    Parameters
    ----------
    question : Question

    Returns
    -------
    Margin
    """
    if not question.duty.known:
        note = (
            "A heatless dryer's limit is set by load against purge over many cycles; flow or rating is unknown, so the"
            " margin cannot be told; enter operation.flow_m3_min and dryer.rated_flow_m3_min."
        )
        return Margin(None, None, None, None, not question.rise_shows, "none", notes=(note,))
    if question.cycle.control == "dew_point":
        return _under_control(question)
    ends = _log_moisture_at_end(question)
    weaker = _weaker_tower(ends, question)
    course = course_of(question.cycle, question.duty, ends, weaker)
    held = 0.0 if question.reached else _held_load(question)
    balance, at_hand, climbs = None, False, False
    if course is not None:
        balance = fit_balance(course)
        at_hand, climbs = _at_hand_and_climbing(balance, course)
    censored = not (climbs or question.rise_shows)
    if censored and not at_hand:
        # a level far below the limit says nothing of the load that would bring it there
        evidence = prior_above(held)
    elif balance is None or course is None:
        evidence = OPEN_PRIOR
    else:
        evidence = weigh(_evidence(balance, course, question, censored, at_hand or climbs), OPEN_PRIOR)
    reserve = evidence.estimate()
    sustained = evidence.vouched(by_rating=not at_hand) if censored else reserve
    if censored:
        sustained, reserve = (each.map(lambda load: max(load, held)) for each in (sustained, reserve))
        sustained = sustained if at_hand else replace(sustained, high=PART_LOAD * sustained.high)
    scale = question.plant.half_cycle_s
    margin = sustained.map(lambda load: load * scale / question.duty.mean - question.today_s)
    return Margin(
        single_s=_single_s(None if censored else balance, margin, question),
        sustained_s=margin,
        at_peak_s=sustained.map(lambda load: load * scale / question.duty.peak - question.today_s),
        reserve=reserve,
        censored=censored,
        method="prior" if censored and not at_hand else "purge balance",
        weaker_tower=weaker,
        notes=_notes(censored, at_hand),
    )


def _at_hand_and_climbing(balance: Balance, course: Course) -> tuple[bool, bool]:
    """Whether the limit is at hand, and whether the level climbs towards it by more than flow alone would lift it."""
    observed = course.log_moisture[np.isfinite(course.log_moisture)]
    low, high = np.percentile(observed, (2, 98))
    climbs = high >= np.log(_NEAR) and balance.gain >= _GAIN and high - low >= _CLIMB
    return bool(high >= np.log(_AT_HAND)), bool(climbs)


def _log_moisture_at_end(question: Question) -> Floats:
    ends_c = question.cycle.half_cycles["end_dew_point_c"].to_numpy(float)
    moisture = np.full(ends_c.size, np.nan)
    known = np.isfinite(ends_c)
    moisture[known] = moisture_fraction(ends_c[known], question.plant.line_pressure_bar)
    return np.log(moisture / question.limit_moisture)


def _weaker_tower(ends: Floats, question: Question) -> str | None:
    """The tower whose half-cycles end wetter by a tenth of the moisture or more; None where they do not differ."""
    table = question.cycle.half_cycles
    tower, complete = table["tower"].to_numpy(), table["complete"].to_numpy(bool) & np.isfinite(ends)
    a, b = ends[complete & (tower == "A")], ends[complete & (tower == "B")]
    if a.size < 12 or b.size < 12:
        return None
    difference = float(np.median(a) - np.median(b))
    return None if abs(difference) < 0.1 else ("A" if difference > 0 else "B")


def _evidence(balance: Balance, course: Course, question: Question, censored: bool, near: bool) -> Evidence:
    """Both readings of the log, weighted by how well they fit it; their distance widens the whole."""
    level, u = fit_level(course), question.limit_deviation
    creep = balance.log_load_at_limit()
    gradient = np.zeros(7)
    for i in range(7):
        shift = np.zeros(7)
        shift[i] = 1e-4
        above, below = (balance.log_load_at_limit(values=balance.values + s) for s in (shift, -shift))
        gradient[i] = (above - below) / 2e-4
    variances = np.array([float(gradient @ balance.covariance @ gradient), float(level.covariance[0, 0])])
    instrument = np.array([0.5 * (balance.log_load_at_limit(u) - balance.log_load_at_limit(-u)), u / level.power])
    means = np.array([creep, float(level.values[0]) - _STEEPENS])
    looks = np.clip(np.isfinite(course.log_moisture).sum() * course.block / _STRETCH, 4, 60)
    fit = looks * np.log(np.array([balance.residual, level.residual]))
    weights = np.exp(fit.min() - fit)
    weights /= weights.sum()
    mean = float(weights @ means)
    spread = weights @ (np.maximum(variances, 0.0) + instrument**2 + (means - mean) ** 2)
    to_go = max(mean - math.log(_load(question)), 0.0) if censored else 0.0
    return Evidence(mean, math.hypot(math.sqrt(float(spread)), _STRUCTURE[near], _BENDS * to_go))


def _load(question: Question) -> float:
    """Mean load of a half-cycle, in nameplate half-cycles at rated load [-]."""
    return question.duty.mean * question.today_s / question.plant.half_cycle_s


def _held_load(question: Question) -> float:
    """Mean load held over the log [-]; a bed that remembers days has not held its peaks by themselves."""
    table = question.cycle.complete
    load = question.duty.loaded_at(table["end_s"].to_numpy()) - question.duty.loaded_at(table["start_s"].to_numpy())
    return float(load.mean()) if load.size >= 40 else 0.0


def _single_s(balance: Balance | None, sustained: Estimate, question: Question) -> Estimate:
    """One tower that dries on: the wet zone creeps with nothing to drive it back."""
    load = _load(question)
    if balance is None:
        ends = _log_moisture_at_end(question)
        seen = ends[np.isfinite(ends)]
        if seen.size == 0:
            return sustained
        folds = max(-float(np.median(seen)), 0.0)
        value, high = (folds * question.today_s / (growth * load) for growth in _USUAL_GROWTH)
        return Estimate.ordered(max(value, sustained.value), sustained.low, max(high, sustained.high))
    folds = -balance.latest
    per_fold = question.today_s / (balance.growth * load)
    low, value, high = (folds * per_fold / factor for factor in (_SINGLE_RANGE[0], _SINGLE_FACTOR, _SINGLE_RANGE[1]))
    return Estimate.ordered(value, low, high)


def _under_control(question: Question) -> Margin:
    table = question.cycle.complete
    loads = question.duty.loaded_at(table["end_s"].to_numpy()) - question.duty.loaded_at(table["start_s"].to_numpy())
    note = (
        "Switched by dew point: every half-cycle runs until the set point, so there is no margin to a timer; the"
        " reserve is the load that the half-cycles took up on average."
    )
    if loads.size < 2:
        return Margin(None, None, None, None, False, "dew-point control", notes=(note,))
    evidence = Evidence(float(np.log(loads.mean())), 0.05)
    return Margin(None, None, None, evidence.estimate(), False, "dew-point control", notes=(note,))


def _notes(censored: bool, at_hand: bool) -> tuple[str, ...]:
    single = (
        "A single long half-cycle of a heatless dryer lasts long, because its bed takes up little in each; what may be"
        " set is the sustained margin, which the purge balance decides over many cycles."
    )
    if not censored:
        return (single,)
    order = (
        " The single margin takes moisture to grow by a tenth of an e-fold per half-cycle at rated load in a tower that"
        " dries on (common practice, no published source): no more than its order of magnitude."
    )
    if at_hand:
        rests = (
            "The moisture comes near the limit without a rise inside half-cycles, so the sustained margin rests on how"
            " its level follows the load; a long bed may pass the limit sooner, which the lower bound allows for."
        )
    else:
        rests = (
            "The moisture follows flow but does not creep towards the limit, so the sustained margin rests on the"
            " rating (0 to 50 % reserve; common practice, no published source) and on the load held so far; the lower"
            " bound is what can be vouched for."
        )
    return (single, rests + order)
