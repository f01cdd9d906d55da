"""What half-cycles that passed the limit show of the margin by themselves, and the bounds no margin can pass.

Question: how much before their end was the limit reached? Input: a margin, and the half-cycles behind it. Output: the
margin as seen. Where most half-cycles of a tower passed the limit, the instant is read off the log and no model is
needed; and no limit is reached before its half-cycle begins.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diagnostics.air.uncertainty import slope_per_k
from diagnostics.bed.crossing import observed_seconds
from diagnostics.bed.margin import Margin, Question
from diagnostics.estimate import Estimate


def as_seen(margin: Margin, question: Question) -> Margin:
    """The margin, a heatless dryer's single one as seen where most half-cycles passed the limit, none before its start.

    Parameters
    ----------
    margin : Margin
    question : Question

    Returns
    -------
    Margin
    """
    single = margin.single_s
    if not question.plant.heated and question.reached and single is not None:
        single = _seen_s(single, question) or single
    held = [_not_before_it_began(each, question.today_s) for each in (single, margin.sustained_s, margin.at_peak_s)]
    return replace(margin, single_s=held[0], sustained_s=held[1], at_peak_s=held[2])


def _seen_s(told: Estimate, question: Question) -> Estimate | None:
    """Median over the weaker tower's half-cycles, at the limit and as far about it as the instrument may be off."""
    limit_c = question.plant.dryer.dew_point_limit_c
    reach_k = 1.96 * question.limit_deviation / slope_per_k(limit_c)
    value, early, late = (_median_s(question, at_c) for at_c in (limit_c, limit_c - reach_k, limit_c + reach_k))
    if not np.isfinite(value):
        return None
    return Estimate.ordered(value, min(early, value), late if np.isfinite(late) else max(told.high, 0.0))


def _median_s(question: Question, limit_c: float) -> float:
    """Seconds from the end back to a limit, of the tower that reaches it earlier; infinite where most do not [s]."""
    seconds = observed_seconds(question.screened, question.cycle, limit_c)
    tower = question.cycle.complete["tower"].to_numpy()
    own = [seconds[tower == name] for name in ("A", "B") if (tower == name).sum() >= 2] or [seconds]
    return float(min(np.percentile(each, 50, method="inverted_cdf") for each in own))


def _not_before_it_began(margin: Estimate | None, today_s: float) -> Estimate | None:
    return None if margin is None else margin.map(lambda seconds: max(seconds, -today_s))
