"""How large the towers' ripple is in moisture, block by block: a measure of the dryer's own level under a dry-down.

Question: how moist is the dryer's air while a drying probe adds moisture of its own? Input: time and logarithm of
moisture. Output: `RippleSizes` or None where no rhythm shows. Method: what the probe adds is smooth, so within a block
of whole cycles the spread about a cubic is the dryer's alone; as a share of the level it hardly changes over hours.
The logger's noise, which grows with the reading, is taken off by the share of the spread that a fold explains.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from diagnostics.log.record import Floats

_LEAST_BLOCK_S = 1200.0
_FEWEST_READINGS = 24
_FEWEST_BLOCKS = 12
_LEAST_EXPLAINED = 0.5
_NEAR = 2.5
"""Readings more than e^2.5 above the target say nothing: there the curve of the fall outweighs the ripple."""


@dataclass(frozen=True)
class RippleSizes:
    """Block's middle [s], logarithm of its ripple [ln mol/mol], and the usual ripple over the level as a logarithm."""

    time_s: Floats
    log_size: Floats
    share: float


def ripple_sizes(since_s: Floats, logs: Floats, half_cycle_s: float, target: float) -> RippleSizes | None:
    """Sizes of the ripple.

    Parameters
    ----------
    since_s, logs : ndarray, shape (n,)
        Time [s], logarithm of moisture.
    half_cycle_s : float
        Nameplate [s].
    target : float
        Logarithm of the moisture that the trace comes to.

    Returns
    -------
    RippleSizes or None
    """
    period = 2.0 * half_cycle_s
    step = max(float(np.median(np.diff(since_s))), 1e-3)
    if half_cycle_s < 3.0 * step:
        return None
    explained = _explained(since_s, logs, period, step)
    if explained < _LEAST_EXPLAINED:
        return None
    block = period * max(1, int(np.ceil(_LEAST_BLOCK_S / period)), int(np.ceil(_FEWEST_READINGS * step / period)))
    edges = np.searchsorted(since_s, np.arange(0.0, since_s[-1], block))
    found = [_block(since_s[a:b], logs[a:b]) for a, b in pairwise(edges) if b - a >= 12]
    if len(found) < _FEWEST_BLOCKS:
        return None
    middle, spread, level = np.array(found).T
    late = middle > 0.4 * since_s[-1]
    if not late.any():
        return None
    noise = (1.0 - min(explained, 1.0)) * float(np.median(spread[late] / np.exp(level[late]))) ** 2
    square = spread**2 - noise * np.exp(2.0 * level)
    kept = (square > 0.2 * spread**2) & (spread > 0) & (level < target + _NEAR)
    if kept.sum() < _FEWEST_BLOCKS or not (kept & late).any():
        return None
    size = 0.5 * np.log(square[kept])
    return RippleSizes(middle[kept], size, float(np.median((size - level[kept])[late[kept]])))


def _block(time_s: Floats, logs: Floats) -> tuple[float, float, float]:
    """Middle [s], spread of moisture about a cubic [mol/mol], mean logarithm."""
    moisture = np.exp(logs)
    return float(time_s.mean()), float(np.sqrt(np.mean(_about_cubic(time_s, moisture) ** 2))), float(logs.mean())


def _about_cubic(time_s: Floats, values: Floats) -> Floats:
    middle = 0.5 * (time_s[0] + time_s[-1])
    powers = np.vander((time_s - middle) / max(float(time_s[-1] - time_s[0]), 1e-9), 4)
    result: Floats = values - powers @ np.linalg.lstsq(powers, values, rcond=None)[0]
    return result


def _explained(since_s: Floats, logs: Floats, period: float, step: float) -> float:
    """Share of the spread within eight cycles that a fold explains, as the median of five places in the later part."""
    window = 8.0 * period
    shares = []
    first = 0.4 * float(since_s[-1])
    for begin in np.linspace(first, max(float(since_s[-1]) - window, first), 5):
        a, b = np.searchsorted(since_s, (begin, begin + window))
        if b - a < _FEWEST_READINGS:
            continue
        every = max(1, (b - a) // 400)
        t = since_s[a:b:every] - begin
        rest = _about_cubic(t, logs[a:b:every])
        bins = int(np.clip(period / (step * every), 4, 24))
        total = float(rest @ rest)
        freedom = (t.size - 1) / max(t.size - bins - 3, 1)
        shares.append(max(1.0 - _unexplained(t, rest, p, bins) / max(total, 1e-30) * freedom for p in _periods(period)))
    return float(np.median(shares)) if shares else 0.0


def _periods(period: float) -> Floats:
    result: Floats = period * np.linspace(0.94, 1.06, 25)
    return result


def _unexplained(t: Floats, rest: Floats, period: float, bins: int) -> float:
    which = np.minimum((t / period % 1.0 * bins).astype(int), bins - 1)
    mean = np.bincount(which, rest, bins) / np.maximum(np.bincount(which, minlength=bins), 1)
    return float(np.sum((rest - mean[which]) ** 2))
