"""Where the probe was still drying down after it was clipped on, so that it did not yet show the dryer's air.

Question: when does a log, or the stretch after a removal, begin to speak of the dryer? Input: time, dew point and
moisture at line pressure. Output: the end of settling, or None where the start is the dryer's own. Method: a start
that lies above whatever the air does again later, falls with the speed of a probe and keeps falling is fitted by
`dry_down`; it ends where the law is 0.5 K above where it is going (the outside contract's definition). A dryer whose
load drops or that recovers from liquid water falls slower, comes back to the same level, or falls in steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.log.dry_down import fit_dry_down
from diagnostics.log.record import Floats

ABOVE_TARGET_K = 0.5
LEAST_FALL_K = 5.0
LEAST_SPEED_K_S = 0.3 / 60.0
"""Slower than this the bed itself can be: a night's load drop brings some 10 K in an hour, recovery from liquid water
20 K (common practice, no published source); a probe's fast part takes minutes an e-fold, 7 K at -60 degC."""
_LONGEST_S = 36 * 3600.0
_NEARBY_S = 4 * 86400.0


@dataclass(frozen=True, slots=True)
class Settled:
    """End of a settling [epoch s], the fall over it [K], its slow time constant [s]; ``complete`` within the log."""

    end_s: float
    fall_k: float
    slow_s: float
    complete: bool


def find_settling(
    time_s: Floats,
    dew_point_c: Floats,
    moisture: Floats,
    half_cycle_s: float,
    *,
    earlier_c: Floats | None = None,
    load: Floats | None = None,
) -> Settled | None:
    """End of the dry-down that a stretch may begin with.

    Parameters
    ----------
    time_s, dew_point_c, moisture : ndarray, shape (n,)
        Valid readings from the start of the stretch on [epoch s, degC, mol/mol].
    half_cycle_s : float
        Nameplate half-cycle [s]; only sets how long a stretch is looked at.
    earlier_c : ndarray, optional
        Dew points before the stretch [degC], where it follows a removal.
    load : ndarray, shape (n,), optional
        Logged flow [m3/min], so that what the dryer owes to its load is not taken for the probe's tail.

    Returns
    -------
    Settled or None
    """
    since = time_s - time_s[0]
    fall = _fall(since, dew_point_c, half_cycle_s, earlier_c)
    if fall is None:
        return None
    nearby = since <= max(_NEARBY_S, 12.0 * half_cycle_s)
    since, dew_point_c, moisture = since[nearby], dew_point_c[nearby], moisture[nearby]
    later = dew_point_c[since >= min(max(6.0 * fall, 7200.0), 0.5 * float(since[-1]))]
    law = fit_dry_down(since, moisture, half_cycle_s, _excess_of(later), load=None if load is None else load[nearby])
    if law is None or law.settled_s < 2.0 * float(np.median(np.diff(since))):
        return None
    complete = law.settled_s <= since[-1]
    settled = float(min(law.settled_s, since[-1]))
    after = dew_point_c[since >= settled] if settled < 0.9 * since[-1] else later
    drop = float(dew_point_c[:3].max() - np.median(after))
    return Settled(float(time_s[0]) + settled, drop, law.slow_s, complete)


def _excess_of(dew_point_c: Floats) -> float:
    """Relative moisture of 0.5 K above the target; ice's slope d ln e/dT = L/(R T^2) (Clausius-Clapeyron, L 2.83 MJ/kg,
    R 461.5 J/(kg K))."""
    kelvin = float(np.percentile(dew_point_c, 20)) + 273.15
    return float(np.expm1(ABOVE_TARGET_K * 2.83e6 / 461.5 / kelvin**2))


def _fall(since: Floats, dew_point_c: Floats, half_cycle_s: float, earlier_c: Floats | None) -> float | None:
    """Time the first fall takes to nine tenths [s], None where the start is the dryer's own."""
    if since.size < 20:
        return None
    start = float(np.median(dew_point_c[:3])) if dew_point_c[0] - dew_point_c[2] < 1.0 else float(dew_point_c[0])
    horizon = since <= max(_LONGEST_S, 3.0 * half_cycle_s)
    near = dew_point_c[horizon]
    target = float(np.percentile(near[near.size // 4 :], 25))
    amplitude = start - target
    if amplitude < LEAST_FALL_K:
        return None
    down = np.flatnonzero(dew_point_c <= start - 0.9 * amplitude)
    half = np.flatnonzero(dew_point_c <= start - 0.5 * amplitude)
    if not down.size or not half.size or half[0] < 1:
        return None
    fallen = int(down[0])
    if since[fallen] > 0.6 * since[-1]:
        return None
    speed = 0.5 * amplitude / float(since[half[0]])
    if speed < LEAST_SPEED_K_S:
        return None
    if float(dew_point_c[half[0] : max(fallen, 2 * int(half[0]) + 2)].max()) > start - 0.3 * amplitude:
        return None
    rises = np.clip(np.diff(dew_point_c[: fallen + 1]), 0.0, None).sum()
    steps = np.diff(dew_point_c[min(2 * fallen, since.size // 2) :])
    usual = max(float(np.median(np.abs(steps))), float(np.clip(steps, 0.0, None).mean())) * fallen
    if rises > 0.15 * amplitude + usual:
        return None
    others = dew_point_c[max(2 * fallen, fallen + 3) :]
    if earlier_c is not None:
        others = np.concatenate((others, earlier_c))
    if not _stands_out(start, others, amplitude, speed):
        return None
    return float(since[fallen])


def _stands_out(start_c: float, others_c: Floats, amplitude_k: float, speed_k_s: float) -> bool:
    """Whether the start is wetter than the air is again; a single later fault must not hide a plain dry-down."""
    if others_c.size < 5:
        return False
    wettest = float(others_c.max())
    if start_c > wettest + max(2.0, 0.1 * (wettest - float(np.median(others_c)))):
        return True
    blocks = [float(b.max()) for b in np.array_split(others_c, min(12, others_c.size))]
    usual = float(np.percentile(blocks, 60))
    plain = amplitude_k > 30.0 and start_c > -25.0 and speed_k_s > 1.2 * LEAST_SPEED_K_S
    return plain and start_c > usual + 15.0
