"""The level at which a heatless dryer settles, as a power of its load.

Question: at which load would the level settle at the limit? Input: a `Course`. Output: a `Level`. Method: the second
way to read the same log (`purge_balance` is the first): near its limit a purged bed is a counterflow exchanger, whose
leaving moisture rises with a high power of load over purge, and its level follows a change of load over tens of cycles:

    ln y_rest = n ln(u / R),   ln y = lag of ln y_rest,   y_seen = y_dry u^m + y

Where the log cannot tell the two ways apart, their distance is part of the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.bed.purge_balance import Course, faded, lagged, sandwich
from diagnostics.bed.robust_fit import fit
from diagnostics.log.record import Floats

_CENTRE = np.array([np.log(1.2), np.log(10.0), np.log(40.0), -3.0, 0.3, 0.0, 1.5])
_WIDTH = np.array([0.45, 0.7, 1.2, 3.0, 0.4, 2.0, 1.0])
"""Prior of ln R, ln n, ln lag in half-cycles, ln y_dry, power m, first distance from rest, ln lag of the dry part.

n from the counterflow exchanger (Kays and London, from memory): leaving over entering moisture is about
``(1 - S) exp(-N (1 - S))`` with S load over purge by actual volume, so that n = N near the limit. Six e-folds from
inlet to limit at S = 0.67 to 0.87 (purge 1.15 to 1.5 times the least) ask for N of 20 to 60; mixing and heat in the bed
take from it. The lag is the time in which the wet zone shifts: tens to hundreds of half-cycles. The rest: common
practice, no published source."""
_LOW = np.array([np.log(0.2), np.log(0.5), 0.0, -12.0, -1.0, -12.0, -2.0])
_HIGH = np.array([np.log(8.0), np.log(80.0), np.log(400.0), 3.0, 3.0, 6.0, 4.0])


@dataclass(frozen=True, eq=False)
class Level:
    """A fitted level: its seven numbers, moistures over that at the limit.

    Attributes
    ----------
    values : ndarray, shape (7,)
    covariance : ndarray, shape (7, 7)
    residual : float
        Standard deviation of ln moisture [-].
    """

    values: Floats
    covariance: Floats
    residual: float

    @property
    def power(self) -> float:
        """Power n of the load [-]."""
        return float(np.exp(self.values[1]))


def fit_level(course: Course) -> Level:
    """Fit the level to the ends of the half-cycles.

    Parameters
    ----------
    course : Course

    Returns
    -------
    Level
    """
    seen = np.isfinite(course.log_moisture)
    observed = course.log_moisture[seen]
    centre = _CENTRE.copy()
    centre[3] = float(np.percentile(observed, 2)) - 0.4
    sigma = max(0.3 * float(np.std(observed)), 0.02)
    starts = []
    for carried, power in ((0.7, 4.0), (1.2, 12.0), (2.0, 5.0)):
        start = centre.copy()
        start[0], start[1] = np.log(carried), np.log(power)
        starts.append(start)

    def model(values: Floats) -> tuple[Floats, Floats]:
        predicted, slopes = predict_level(course, values)
        return predicted[seen], slopes[seen]

    found = fit(model, observed, sigma, centre, _WIDTH, starts, (_LOW, _HIGH))
    covariance = sandwich(found.jacobian, found.miss, _WIDTH)
    return Level(found.values, covariance, max(float(np.sqrt(np.mean(found.miss**2))), 1e-3))


def predict_level(course: Course, values: Floats) -> tuple[Floats, Floats]:
    """ln moisture over limit at the end of each block, shape (n,), and its derivatives, shape (n, 7)."""
    log_carried, log_power, log_memory, log_dry, dry_power, first, log_lag = values
    log_load, step = np.log(course.load), 1e-3

    def at(log_memory: float) -> Floats:
        memory = np.exp(log_memory) / course.block
        followed = log_load[0] + faded(log_load - log_load[0], memory)
        return np.exp(log_power) * (followed - log_carried) + first * np.exp(-np.arange(log_load.size) / memory)

    level = at(log_memory)
    dry_load, moved = (np.log(lagged(course.load, np.exp(lag) / course.block)) for lag in (log_lag, log_lag + step))
    dry = log_dry + dry_power * dry_load
    whole = np.logaddexp(dry, level)
    share = np.exp(level - whole)
    fading = np.exp(-np.arange(log_load.size) * course.block * np.exp(-log_memory))
    slopes = np.empty((log_load.size, 7))
    slopes[:, 0] = -np.exp(log_power)
    slopes[:, 1] = level - first * fading
    slopes[:, 2] = (at(log_memory + step) - level) / step
    slopes[:, 5] = fading
    slopes[:, (0, 1, 2, 5)] *= share[:, None]
    slopes[:, 3], slopes[:, 4], slopes[:, 6] = 1.0, dry_load, dry_power * (moved - dry_load) / step
    slopes[:, (3, 4, 6)] *= (1.0 - share)[:, None]
    return whole, slopes
