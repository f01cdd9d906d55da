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
from diagnostics.log.record import Floats

_CENTRE = np.array([np.log(1.2), np.log(6.0), np.log(20.0), -3.0, 0.3, 0.0, 1.5])
_WIDTH = np.array([0.45, 0.7, 1.0, 3.0, 0.4, 2.0, 1.0])
"""Prior of ln R, ln n, ln lag in half-cycles, ln y_dry, power m, first distance from rest, ln lag of the dry part;
common practice, no published source."""
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
    from scipy.optimize import least_squares

    seen = np.isfinite(course.log_moisture)
    observed = course.log_moisture[seen]
    centre = _CENTRE.copy()
    centre[3] = float(np.percentile(observed, 2)) - 0.4
    sigma = max(0.3 * float(np.std(observed)), 0.02)

    def misfit(values: Floats) -> Floats:
        return np.concatenate([(predict_level(course, values)[seen] - observed) / sigma, (values - centre) / _WIDTH])

    best = None
    for carried, power in ((0.7, 4.0), (1.2, 12.0), (2.0, 5.0)):
        start = centre.copy()
        start[0], start[1] = np.log(carried), np.log(power)
        start = np.clip(start, _LOW + 1e-6, _HIGH - 1e-6)
        found = least_squares(misfit, start, bounds=(_LOW, _HIGH), loss="soft_l1", max_nfev=50)
        if best is None or found.cost < best.cost:
            best = found
    assert best is not None
    miss = predict_level(course, best.x)[seen] - observed
    covariance = sandwich(best.jac[: observed.size] * sigma, miss, _WIDTH)
    return Level(best.x, covariance, max(float(np.sqrt(np.mean(miss**2))), 1e-3))


def predict_level(course: Course, values: Floats) -> Floats:
    """ln moisture over limit at the end of each block, shape (n,)."""
    log_carried, log_power, log_memory, log_dry, dry_power, first, log_lag = values
    memory = np.exp(log_memory) / course.block
    log_load = np.log(course.load)
    followed = log_load[0] + faded(log_load - log_load[0], memory)
    level = np.exp(log_power) * (followed - log_carried) + first * np.exp(-np.arange(log_load.size) / memory)
    dry = log_dry + dry_power * np.log(lagged(course.load, np.exp(log_lag) / course.block))
    return np.asarray(np.logaddexp(dry, level))
