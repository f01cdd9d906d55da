"""The law by which a probe and its sample line dry: two exponentials in moisture above the air they come to.

Question: when is the dry-down 0.5 K above where it is going? Input: time since its start and moisture. Output:
`DryDown`. Method: linear systems add up in moisture, so trace = dryer's air + fast + slow exponential. The air's level
moves as `level_course` lets it; where the towers' ripple shows, its size is that of the level alone (`ripple_size`),
which parts a slow tail from a dryer that grows drier meanwhile; where a half-cycle is long, its shape is folded
(`rhythm_template`). Least squares of relative errors by Gauss-Newton steps from several time constants; weights let
go what does not fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.log.level_course import LevelCourse, level_course
from diagnostics.log.record import Floats
from diagnostics.log.rhythm_template import folded_shape
from diagnostics.log.ripple_size import RippleSizes, ripple_sizes

_NEAR = 5.0
"""Moisture within e^5 of the target, some 40 K: there the end is decided, above it other laws may hold."""
_LONG_FULL_CYCLE_S = 1800.0
_STARTS_S = (1500.0, 3500.0, 7000.0)
_TYPICAL_S = (600.0, 3600.0)
_SPREAD = 1.0
"""Time constants of a probe's fast and slow part and how far they may lie off, in e-folds (common practice, no
published source)."""
_FASTEST_S, _SLOWEST_S = 30.0, 3.0 * 3600.0
"""What changes slower than this is the dryer's air, not a metal sample line that dries."""
_STEPS = 60


@dataclass(frozen=True)
class DryDown:
    """A fitted dry-down.

    Attributes
    ----------
    settled_s : float
        Time from the start after which the excess stays below the wanted one [s]; infinite where it never does.
    slow_s : float
        Slow time constant [s].
    scatter : float
        Robust relative scatter of the readings about the law [-].
    by_ripple : bool
        Whether the size of the towers' ripple told the level while the probe dried.
    """

    settled_s: float
    slow_s: float
    scatter: float
    by_ripple: bool


@dataclass(frozen=True)
class _Problem:
    """What is fitted: bins of the trace (time, ln moisture, weight), the level's course and shape, ripple sizes."""

    t: Floats
    logs: Floats
    weight: Floats
    course: LevelCourse
    shape: Floats
    ripple: RippleSizes | None

    @property
    def trust(self) -> float:
        """Independent readings a bin is worth: what the law leaves wanders for hours where no ripple tells it."""
        return 0.1 if self.ripple is not None else 0.015

    @property
    def ridge(self) -> Floats:
        """Precision of every parameter's prior: level, two amplitudes, two time constants, ripple's share and slope."""
        return np.concatenate((self.course.precision, [1e-6, 1e-6], 2 * [_SPREAD**-2], [0.0, 0.3**-2]))


@dataclass(frozen=True)
class _Fit:
    theta: Floats
    cost: float
    error: Floats
    scatter: float


def fit_dry_down(
    since_s: Floats, moisture: Floats, half_cycle_s: float, excess: float, *, load: Floats | None = None
) -> DryDown | None:
    """Fit the law to a stretch that begins at the start of the dry-down.

    Parameters
    ----------
    since_s : ndarray, shape (n,)
        Time since the start, ascending [s].
    moisture : ndarray, shape (n,)
        Valid readings [mol/mol].
    half_cycle_s : float
        Nameplate [s].
    excess : float
        Moisture above the level, over the level, at which it counts as settled [-].
    load : ndarray, shape (n,), optional
        Logged flow [any unit].

    Returns
    -------
    DryDown or None
        None where there are too few readings.
    """
    logs = np.log(moisture)
    target = float(np.percentile(logs[since_s >= 0.4 * since_s[-1]], 30))
    near = np.flatnonzero(logs < target + _NEAR)
    first = int(near[0]) if near.size else 0
    if since_s.size - first < 8:
        return None
    since = since_s[first:] - since_s[first]
    problem = _posed(since, logs[first:], target, half_cycle_s, None if load is None else load[first:])
    fit = _best(problem)
    for _ in range(2 if 2.0 * half_cycle_s > _LONG_FULL_CYCLE_S else 0):
        settled = min(1.1 * _settled_s(problem, fit, excess), 0.5 * float(problem.t[-1]))
        shape = folded_shape(problem.t, fit.error + problem.shape, settled, half_cycle_s)
        if shape is None:
            break
        problem = replace(problem, shape=shape)
        fit = _best(problem)
    settled = float(since_s[first]) + _settled_s(problem, fit, excess)
    return DryDown(settled, float(np.exp(fit.theta[-3])), fit.scatter, problem.ripple is not None)


def _posed(since: Floats, logs: Floats, target: float, half_cycle_s: float, load: Floats | None) -> _Problem:
    """Bins that widen with time up to a full cycle, so that the fall counts as much as what follows."""
    step = max(float(np.median(np.diff(since))), 1e-3)
    short = 2.0 * half_cycle_s <= _LONG_FULL_CYCLE_S
    widest = 2.0 * half_cycle_s if short else 600.0
    edges = [0.0]
    while edges[-1] <= since[-1]:
        edges.append(edges[-1] + max(step, min(widest, edges[-1] / 12.0 + step)))
    which = np.searchsorted(np.array(edges), since, side="right") - 1
    count = np.bincount(which)
    kept = count > 0
    t, means = (np.bincount(which, series)[kept] / count[kept] for series in (since, logs))
    drive = None if load is None else np.bincount(which, _log_load(load))[kept] / count[kept]
    ripple = ripple_sizes(since, logs, half_cycle_s, target) if short else None
    course = level_course(t, drive, told=ripple is not None)
    weight = np.minimum(np.gradient(t), 1200.0)
    return _Problem(t, means, weight / weight.mean(), course, np.zeros_like(t), ripple)


def _log_load(load: Floats) -> Floats:
    logs = np.log(np.maximum(load, 1e-3 * float(np.median(load)) + 1e-12))
    result: Floats = logs - np.median(logs)
    return result


def _best(problem: _Problem) -> _Fit:
    level = float(np.percentile((problem.logs - problem.shape)[problem.t >= 0.3 * problem.t[-1]], 30))
    middle = float(np.median(problem.logs))
    share = 0.0 if problem.ripple is None else problem.ripple.share
    fits = []
    for slow_s in _STARTS_S:
        start = np.zeros(problem.ridge.size)
        start[0] = level
        start[-6:] = middle + np.log(8.0), middle, np.log(slow_s / 5.0), np.log(slow_s), share, 0.0
        fits.append(_refined(problem, start))
    return min(fits, key=lambda fit: fit.cost)


def _parts(problem: _Problem, theta: Floats) -> tuple[Floats, Floats, Floats]:
    """Moisture of the dryer's air and of the two exponentials."""
    level = np.exp(np.clip(problem.course.columns @ theta[:-6] + problem.shape, -60.0, 10.0))
    fast = np.exp(theta[-6] - problem.t / np.exp(theta[-4]))
    slow = np.exp(theta[-5] - problem.t / np.exp(theta[-3]))
    return level, fast, slow


def _errors(problem: _Problem, theta: Floats) -> tuple[Floats, Floats]:
    """Relative errors of the trace, and of the ripple's size: ln size = share + level + slope x (level - usual)."""
    error = problem.logs - np.log(np.sum(_parts(problem, theta), axis=0))
    if problem.ripple is None:
        return error, np.zeros(0)
    level = problem.course.at(problem.ripple.time_s) @ theta[:-6]
    return error, problem.ripple.log_size - (theta[-2] + level + theta[-1] * (level - theta[0]))


def _off_prior(theta: Floats) -> Floats:
    off = theta.copy()
    off[[0, -6, -5]] = 0.0
    off[[-4, -3]] -= np.log(_TYPICAL_S)
    return off


def _refined(problem: _Problem, theta: Floats) -> _Fit:
    """Damped Gauss-Newton steps; robust weights are set anew every fourth."""
    damping, ridge = 1e-2, problem.ridge
    error, rest = _errors(problem, theta)
    for step in range(_STEPS):
        if step % 4 == 0:
            weights, scatter = _weights(problem, error, rest)
        cost = _cost(error, rest, weights, ridge, theta)
        hessian, gradient = _normal(problem, theta, error, rest, weights)
        hessian += np.diag(ridge)
        gradient -= ridge * _off_prior(theta)
        for _ in range(8):
            damped = hessian + np.diag(damping * np.diag(hessian) + 1e-9)
            trial = _bounded(theta + np.clip(np.linalg.solve(damped, gradient), -2.0, 2.0))
            trial_error, trial_rest = _errors(problem, trial)
            better = _cost(trial_error, trial_rest, weights, ridge, trial)
            if better < cost:
                break
            damping *= 4.0
        else:
            if step % 4 == 0:
                break
            continue
        theta, error, rest = trial, trial_error, trial_rest
        damping = max(damping / 3.0, 1e-6)
        if cost - better < 1e-4 * cost and step > 12:
            break
    return _Fit(theta, _final_cost(problem, theta, error, rest), error, scatter)


def _bounded(theta: Floats) -> Floats:
    theta[[-6, -5]] = np.clip(theta[[-6, -5]], -60.0, 5.0)
    theta[[-4, -3]] = np.clip(theta[[-4, -3]], np.log(_FASTEST_S), np.log(_SLOWEST_S))
    return theta


def _one_sided(problem: _Problem, error: Floats) -> Floats:
    """Below the law only a dry-down can be; above it also spikes and rises of a half-cycle that no ripple tells."""
    return error if problem.ripple is not None else np.where(error > 0, error, 0.5 * error)


def _scatters(error: Floats, rest: Floats) -> tuple[float, float]:
    own = max(1.4826 * float(np.median(np.abs(error))), 0.01)
    return own, max(1.4826 * float(np.median(np.abs(rest))), 0.02) if rest.size else 1.0


def _weights(problem: _Problem, error: Floats, rest: Floats) -> tuple[tuple[Floats, Floats], float]:
    own, other = _scatters(error, rest)
    first = problem.trust * problem.weight / (1.0 + (_one_sided(problem, error) / (2.0 * own)) ** 2) / own**2
    second = 0.3 / (1.0 + (rest / (2.0 * other)) ** 2) / other**2
    return (first, second), own


def _cost(error: Floats, rest: Floats, weights: tuple[Floats, Floats], ridge: Floats, theta: Floats) -> float:
    return float(weights[0] @ error**2 + weights[1] @ rest**2 + ridge @ _off_prior(theta) ** 2)


def _final_cost(problem: _Problem, theta: Floats, error: Floats, rest: Floats) -> float:
    """Cost that compares fits with scatters of their own: twice the negative logarithm of a heavy-tailed likelihood."""
    own, other = _scatters(error, rest)
    robust = 4.0 * np.log1p((_one_sided(problem, error) / (2.0 * own)) ** 2) + 2.0 * np.log(own)
    cost = problem.trust * float(problem.weight @ robust) + float(problem.ridge @ _off_prior(theta) ** 2)
    if rest.size:
        cost += 0.3 * float(np.sum(4.0 * np.log1p((rest / (2.0 * other)) ** 2) + 2.0 * np.log(other)))
    return cost


def _normal(
    problem: _Problem, theta: Floats, error: Floats, rest: Floats, weights: tuple[Floats, Floats]
) -> tuple[Floats, Floats]:
    """Normal matrix and right-hand side of both kinds of errors."""
    level, fast, slow = _parts(problem, theta)
    total = level + fast + slow
    slopes = np.zeros((problem.t.size, theta.size))
    slopes[:, :-6] = problem.course.columns * (level / total)[:, None]
    slopes[:, -6], slopes[:, -5] = fast / total, slow / total
    slopes[:, -4] = fast / total * problem.t / np.exp(theta[-4])
    slopes[:, -3] = slow / total * problem.t / np.exp(theta[-3])
    hessian = slopes.T @ (slopes * weights[0][:, None])
    gradient = slopes.T @ (weights[0] * error)
    if problem.ripple is None:
        return hessian, gradient
    columns = problem.course.at(problem.ripple.time_s)
    sizes = np.zeros((columns.shape[0], theta.size))
    sizes[:, :-6] = (1.0 + theta[-1]) * columns
    sizes[:, 0] = 1.0
    sizes[:, -2] = 1.0
    sizes[:, -1] = columns @ theta[:-6] - theta[0]
    return hessian + sizes.T @ (sizes * weights[1][:, None]), gradient + sizes.T @ (weights[1] * rest)


def _settled_s(problem: _Problem, fit: _Fit, excess: float) -> float:
    """Time after which the excess stays below the wanted one; infinite where it does not within the stretch."""
    level, fast, slow = _parts(problem, fit.theta)
    over = np.log(np.maximum((fast + slow) / level, 1e-300)) - np.log(excess)
    above = np.flatnonzero(over > 0.0)
    if not above.size:
        return 0.0
    last = int(above[-1])
    if last == over.size - 1:
        return float("inf")
    part = over[last] / (over[last] - over[last + 1])
    return float(problem.t[last] + part * (problem.t[last + 1] - problem.t[last]))
