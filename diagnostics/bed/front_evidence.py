"""What the tails of a heated dryer's half-cycles say of the water its beds can take up before the limit.

Question: how much loaded water brings the leaving air to the limit, and how sure is that? Input: the pooled tail.
Output: `Tails`, or None where no front shows. Method: both `Front` kinds are fitted; their distance, the fit's own
error, the e-folds that were seen against those still to go, and the instrument make up the uncertainty. The log itself
says how far a front may be trusted beyond what was seen: fronts fitted to the lower part of the rise foretell its upper
part (`_trial`), and by what they miss there the way on to the limit is widened.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.bed.margin import Question
from diagnostics.bed.reserve import Evidence
from diagnostics.bed.tail import Front, TailPoints, fit_fronts, tail_points

EXPONENTIAL_SHARE = 0.67
"""Weight of the exponential front against the spreading one: the isotherms of desiccants are favourable, so fronts tend
to a constant pattern; the spreading one bounds how much the approach may bend."""
_LEAST_SHARE = 0.06
"""Least share of the plateau by which the front must stand out at the end of the most loaded half-cycles."""
_SLOPE_PER_FOLD = 0.25
"""Relative error of the slope when one e-fold of the front was seen; it falls with the e-folds (drifting plateau, rest
of the spike; common practice, no published source)."""
_LEAST_DEVIATION = 0.02
"""Of ln loaded water, whatever the fit says: instant of the switchover, lag, flow between the readings."""
_LOWER_PART = 0.6
"""Part of the seen rise, in ln moisture, from which the rest is foretold."""
_LEAST_PART = 6
_UNTRIED_MISS = 0.3
"""Miss over the way foretold where the lower part of the rise is too short to foretell the rest."""
_NEAREST = 0.25
"""Share of the miss that stays where the limit lies within what was seen: the shape is wrong there too."""


@dataclass(frozen=True, eq=False)
class Tails:
    """Fitted fronts and what they say.

    Attributes
    ----------
    points : TailPoints
    exponential, gaussian : Front
    share : float
        Weight of the exponential front; the other has the rest [-].
    single : Evidence
        On the loaded water at which a single half-cycle of the weaker tower reaches the limit, at mean flow, in
        nameplate half-cycles at rated load.
    flow_effect : float
        ln of that loaded water at peak load over that at mean flow.
    """

    points: TailPoints
    exponential: Front
    gaussian: Front
    share: float
    single: Evidence
    flow_effect: float


def tails_of(question: Question) -> Tails | None:
    """Fit the tails; None where fewer than two half-cycles can be used or no front stands out of the plateau."""
    points = tail_points(question.screened, question.cycle, question.duty, question.limit_moisture)
    if points is None:
        return None
    inlet = _log_inlet(question)
    exponential, gaussian = fit_fronts(points, inlet)
    share = _exponential_share(exponential, gaussian, points)
    lead = abs(exponential.values[5]) / 2.0
    shown = _amplitude(points, exponential)
    if shown is None:
        return None
    loaded = np.array([float(front.loaded_at_limit(lead=lead)) for front in (exponential, gaussian)])
    if not np.isfinite(loaded).all() or (loaded <= 0).any():
        return None
    logs = np.log(loaded)
    slope = exponential.slope_at_limit * loaded[0]
    mean = float(share * logs[0] + (1.0 - share) * logs[1])
    deviation = math.hypot(
        max(math.sqrt(share * (1.0 - share)), 0.25) * (logs[1] - logs[0]),
        share * _deviation(exponential) + (1.0 - share) * _deviation(gaussian),
        _LEAST_DEVIATION,
        question.limit_deviation / slope,
        _extrapolation(shown, exponential) / slope,
        (share * exponential.residual + (1.0 - share) * gaussian.residual) / slope,
        _trial(points, (exponential, gaussian), share, mean),
    )
    peak = float(exponential.loaded_at_limit(question.duty.log_flow_at_peak, lead)) / loaded[0]
    return Tails(points, exponential, gaussian, share, Evidence(mean, deviation), math.log(max(peak, 0.1)))


def _exponential_share(exponential: Front, gaussian: Front, points: TailPoints) -> float:
    """Weight of the exponential front, by how well both fit."""
    looks = float(np.clip(np.unique(points.half_cycle).size, 4, 40))
    better = looks * math.log(gaussian.residual / exponential.residual)
    odds = EXPONENTIAL_SHARE / (1.0 - EXPONENTIAL_SHARE) * math.exp(min(max(better, -20.0), 20.0))
    return odds / (1.0 + odds)


def _amplitude(points: TailPoints, front: Front) -> float | None:
    """ln of the front, over the limit, at the end of the most loaded half-cycles; None where it does not stand out."""
    last = np.flatnonzero(np.diff(points.half_cycle, append=-1) != 0)
    most = last[points.loaded[last] >= np.percentile(points.loaded[last], 75)]
    ends = np.unique(np.concatenate([np.maximum(most - back, 0) for back in range(3)]))
    plateau = np.exp(front.values[0] + front.values[1] * points.log_flow[ends])
    share = float(np.median(np.exp(points.log_moisture[ends]) / plateau - 1.0))
    if share < max(_LEAST_SHARE, 3.0 * front.residual):
        return None
    return math.log(share) + float(np.mean(np.log(plateau)))


def _extrapolation(shown: float, front: Front) -> float:
    """Standard deviation of ln moisture at the limit from the slope, over the e-folds still to go [-]."""
    noise = math.log(max(front.residual, 1e-4)) + float(front.values[0])
    seen = max(shown - noise, 0.5)
    to_go = max(math.log1p(-min(math.exp(float(front.values[0])), 0.98)) - shown, 0.0)
    return to_go * _SLOPE_PER_FOLD / seen


def _trial(points: TailPoints, fronts: tuple[Front, Front], share: float, mean: float) -> float:
    """Standard deviation of ln loaded water at the limit from how fronts of the lower rise foretell the upper [-].

    Parameters
    ----------
    points : TailPoints
    fronts : pair of Front
        Fitted to the whole rise: exponential, spreading.
    share : float
        Weight of the exponential one [-].
    mean : float
        ln of loaded water at the limit.
    """
    last = np.flatnonzero(np.diff(points.half_cycle, append=-1) != 0)
    top = float(np.percentile(points.log_moisture[last], 75))
    plateau = float(fronts[0].values[0])
    middle = plateau + _LOWER_PART * (top - plateau)
    to_go = mean - math.log(float(np.percentile(points.loaded[last], 75)))
    lower = fronts[0].predicted(points) < middle
    kept = TailPoints(*(getattr(points, field.name)[lower] for field in fields(TailPoints)))
    foretold = math.nan
    if np.unique(kept.half_cycle).size >= 2 and np.count_nonzero(lower) >= _LEAST_PART * fronts[0].values.size:
        misses = []
        for whole, part in zip(fronts, fit_fronts(kept, fronts[0].inlet), strict=True):
            seen, guess, begin = (
                float(front.loaded_at_limit(level=level))
                for front, level in ((whole, top), (part, top), (whole, middle))
            )
            if min(seen, guess, begin) > 0.0 and seen > begin:
                misses.append(abs(math.log(seen / guess)) / math.log(seen / begin))
        if len(misses) == 2:
            foretold = share * misses[0] + (1.0 - share) * misses[1]
    miss = min(foretold, 1.0) if math.isfinite(foretold) else _UNTRIED_MISS
    return miss * max(to_go, _NEAREST * abs(to_go))


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
