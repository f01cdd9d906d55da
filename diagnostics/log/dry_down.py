"""The law by which a probe and its sample line dry: two exponentials in moisture above the air they come to.

Question: when is the dry-down 0.5 K above where it is going? Input: time since the start and moisture. Output:
`DryDown`. Method: linear systems add up in moisture, so trace = air's level (with a slow drift) + fast + slow
exponential; relative errors, weights that let what rises above the law (switchover spikes, late rises) go; time
constants on a grid, amplitudes by least squares, so that no start value matters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.log.record import Floats

_POINTS = 360
_ROUNDS = 8
_SLOWEST_S = 3.0 * 3600.0
"""What changes slower than this is the dryer's air, not a metal sample line that dries (common practice, no published
source)."""


@dataclass(frozen=True)
class DryDown:
    """A fitted dry-down, moisture in units of the level it goes to.

    Attributes
    ----------
    level : float
        Moisture it goes to [mol/mol].
    fast, slow : float
        Amplitudes over the level at time 0 [-].
    fast_s, slow_s : float
        Time constants [s].
    scatter : float
        Robust relative scatter of the readings about the law [-].
    """

    level: float
    fast: float
    slow: float
    fast_s: float
    slow_s: float
    scatter: float

    def excess(self, since_s: Floats) -> Floats:
        """Moisture above the level, over the level [-]."""
        result: Floats = self.fast * np.exp(-since_s / self.fast_s) + self.slow * np.exp(-since_s / self.slow_s)
        return result

    def settled_s(self, excess: float) -> float:
        """Time from the start at which the excess has fallen to the given one [s]."""
        low, high = 0.0, 40.0 * max(self.fast_s, self.slow_s)
        for _ in range(60):
            middle = 0.5 * (low + high)
            if float(self.excess(np.array([middle]))[0]) > excess:
                low = middle
            else:
                high = middle
        return high


def fit_dry_down(since_s: Floats, moisture: Floats) -> DryDown | None:
    """Fit the law to a stretch that begins at the start of the dry-down.

    Parameters
    ----------
    since_s : ndarray, shape (n,)
        Time since the start, ascending [s].
    moisture : ndarray, shape (n,)
        Valid readings [mol/mol].

    Returns
    -------
    DryDown or None
        None where no falling law fits.
    """
    t, x, count = _thinned(since_s, moisture)
    if t.size < 8:
        return None
    length = float(t[-1])
    step = max(float(np.median(np.diff(since_s))), 1e-3)
    constants = np.geomspace(0.5 * step, max(2.0 * step, min(0.4 * length, _SLOWEST_S)), 30)
    share = 1.0 / np.sqrt(count)
    weights = np.ones_like(x)
    best: tuple[float, Floats, float, float] | None = None
    for round_ in range(_ROUNDS):
        best = _best_on_grid(t, x, weights / share**0.5, constants, length)
        if best is None:
            return None
        _, beta, fast_s, slow_s = best
        model = _columns(t, fast_s, slow_s, length) @ beta
        error = np.log(x / np.maximum(model, 1e-12))
        scale = max(1.4826 * float(np.median(np.abs(error))), 0.02)
        upward = np.where(error > 0, error, 0.5 * error)
        weights = 1.0 / (1.0 + (upward / (2.0 * scale)) ** 2)
        if round_ == 3:
            near = [np.geomspace(c / 1.35, c * 1.35, 7) for c in (fast_s, slow_s)]
            constants = np.unique(np.concatenate((constants, *near)))
    assert best is not None
    _, beta, fast_s, slow_s = best
    level = float(beta[0])
    if level <= 0 or beta[2] + beta[3] <= 0:
        return None
    return DryDown(level, float(beta[2]) / level, float(beta[3]) / level, fast_s, slow_s, scale)


def _columns(t: Floats, fast_s: float, slow_s: float, length: float) -> Floats:
    return np.column_stack((np.ones_like(t), t / length, np.exp(-t / fast_s), np.exp(-t / slow_s)))


def _best_on_grid(
    t: Floats, x: Floats, weights: Floats, constants: Floats, length: float
) -> tuple[float, Floats, float, float] | None:
    """Amplitudes by least squares of relative errors for every pair of time constants; none may be negative."""
    root = np.sqrt(weights)
    decays = np.exp(-t[None, :] / constants[:, None])
    rows = np.vstack((np.ones_like(t), t / length, decays)) * (root / x)
    drift = 0.15 * root.sum() / np.sqrt(root.size)
    gram = rows @ rows.T
    target = rows @ root
    total = float(root @ root)
    median = float(np.median(x))
    gram[1, 1] += (drift / median) ** 2
    scale = 1.0 / np.sqrt(np.diag(gram))
    gram = gram * scale[:, None] * scale[None, :]
    target = target * scale
    one, other = np.triu_indices(constants.size, 1)
    single = np.arange(constants.size)
    choices = (
        np.column_stack((np.zeros_like(single), np.ones_like(single), 2 + single)),
        np.column_stack((np.zeros_like(one), np.ones_like(one), 2 + one, 2 + other)),
    )
    best: tuple[float, Floats, float, float] | None = None
    for index in choices:
        parts = gram[index[:, :, None], index[:, None, :]] + 1e-10 * np.eye(index.shape[1])
        aims = target[index]
        beta = np.linalg.solve(parts, aims[:, :, None])[:, :, 0]
        amplitudes = beta * scale[index]
        allowed = (beta[:, 2:] >= 0).all(axis=1) & (beta[:, 0] > 0)
        allowed &= np.minimum(amplitudes[:, 1], 0.0) > -0.7 * amplitudes[:, 0]
        cost = np.where(allowed, total - np.einsum("ij,ij->i", beta, aims), np.inf)
        i = int(np.argmin(cost))
        if np.isfinite(cost[i]) and (best is None or cost[i] < best[0]):
            found = np.zeros(4)
            found[: index.shape[1]] = amplitudes[i]
            which = index[i, 2:] - 2
            best = (float(cost[i]), found, float(constants[which[0]]), float(constants[which[-1]]))
    return best


def _thinned(since_s: Floats, moisture: Floats) -> tuple[Floats, Floats, Floats]:
    """Means over bins that widen with time, so that the fall counts as much as what follows."""
    if since_s.size <= _POINTS:
        return since_s, moisture, np.ones_like(since_s)
    early = np.geomspace(max(since_s[1], 1.0), since_s[-1] * 1.0001, _POINTS // 2)
    even = np.linspace(0.0, since_s[-1] * 1.0001, _POINTS // 2)
    edges = np.unique(np.concatenate(([0.0], early, even)))
    which = np.searchsorted(edges, since_s, side="right")
    count = np.bincount(which)
    kept = count > 0
    t = np.bincount(which, since_s)[kept] / count[kept]
    log_mean = np.bincount(which, np.log(moisture))[kept] / count[kept]
    return t, np.exp(log_mean), count[kept].astype(float)
