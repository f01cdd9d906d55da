"""Margin of a heatless dryer, from its purge balance over many cycles."""

from __future__ import annotations

import math

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.bed.margin import Margin, Question
from diagnostics.bed.purge_balance import Balance, course_of, fit_balance, lagged
from diagnostics.bed.reserve import OPEN_PRIOR, PRIOR, Evidence, weigh
from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats

_GAIN = 2.0
_CREEP_SHARE = 0.3
_STRUCTURE = 0.05
"""Standard deviation of ln reserve from what the balance leaves out (bed heat, shape of the wet zone), creep seen."""
_STRUCTURE_UNSEEN = 0.3
_SINGLE_FACTOR = 1.25
"""Growth in one tower that dries on over the growth b that the balance shows: between 1 and 2, because a tower dries
half of the time and creep is met in both."""


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
    balance = None if course is None else fit_balance(course)
    creeping = balance is not None and balance.gain >= _GAIN and balance.creep_share >= _CREEP_SHARE
    censored = not (creeping or question.rise_shows)
    evidence = _evidence(balance, creeping, question)
    floor = _held_load(question)
    sustained = evidence.estimate()
    if not question.reached and not creeping:
        sustained = Estimate.ordered(max(sustained.value, floor), max(sustained.low, floor), max(sustained.high, floor))
    scale = question.plant.half_cycle_s
    margin = sustained.map(lambda held: held * scale / question.duty.mean - question.today_s)
    return Margin(
        single_s=_single_s(balance, creeping, margin, question),
        sustained_s=margin,
        at_peak_s=sustained.map(lambda held: held * scale / question.duty.peak - question.today_s),
        reserve=sustained,
        censored=censored,
        method="purge balance" if creeping else "prior and purge balance",
        weaker_tower=weaker,
        notes=_notes(creeping),
    )


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


def _evidence(balance: Balance | None, creeping: bool, question: Question) -> Evidence:
    if balance is None:
        return PRIOR
    gradient = np.zeros(7)
    step = 1e-4
    for i in range(7):
        shift = np.zeros(7)
        shift[i] = step
        above, below = (balance.log_load_at_limit(values=balance.values + s) for s in (shift, -shift))
        gradient[i] = (above - below) / (2.0 * step)
    statistical = math.sqrt(max(float(gradient @ balance.covariance @ gradient), 0.0))
    u = question.limit_deviation
    instrument = 0.5 * abs(balance.log_load_at_limit(u) - balance.log_load_at_limit(-u))
    structure = _STRUCTURE if creeping else _STRUCTURE_UNSEEN
    seen = Evidence(balance.log_load_at_limit(), math.hypot(statistical, instrument, structure))
    return weigh(seen, OPEN_PRIOR if creeping else PRIOR)


def _held_load(question: Question) -> float:
    """Highest load, averaged over tens of cycles, that the dryer held without creeping [-]."""
    table = question.cycle.complete
    load = question.duty.loaded_at(table["end_s"].to_numpy()) - question.duty.loaded_at(table["start_s"].to_numpy())
    return float(np.percentile(lagged(load, 20.0), 90)) if load.size >= 40 else 0.0


def _single_s(balance: Balance | None, creeping: bool, sustained: Estimate, question: Question) -> Estimate:
    """One tower that dries on: the wet zone creeps with nothing to drive it back."""
    load = question.duty.mean * question.today_s / question.plant.half_cycle_s
    if balance is None or not creeping:
        longest = max(sustained.high, 60.0 * question.today_s)
        value = min(max(sustained.value, 12.0 * question.today_s), longest)
        return Estimate.ordered(value, sustained.low, longest)
    folds = -balance.latest
    per_fold = question.today_s / (balance.growth * load)
    low, value, high = (folds * per_fold / factor for factor in (2.4, _SINGLE_FACTOR, 0.8))
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


def _notes(creeping: bool) -> tuple[str, ...]:
    single = (
        "A single long half-cycle of a heatless dryer lasts long, because its bed takes up little in each; what may be"
        " set is the sustained margin, which the purge balance decides over many cycles."
    )
    if creeping:
        return (single,)
    return (
        single,
        "The moisture follows flow but does not creep towards the limit, so the sustained margin rests on the rating (0"
        " to 50 % reserve; common practice, no published source) and on the load held so far; the lower bound is what"
        " can be vouched for.",
    )
