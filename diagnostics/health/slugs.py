"""Did a wet slug pass, and did the air recover from it?

Question: when did the level rise at once, and how did it fall afterwards? Input: `Levels`. Output: a `Slug`. Method:
the largest rise within two blocks against the usual changes; recovery as a steady fall, not a drop back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.health.levels import Levels
from diagnostics.health.steps import sigma

LEAST_JUMP_K = 4.0
LEAST_RECOVERY = 0.2
_HOLE_BLOCKS = 3
"""A hole longer than this hides how fast the air got wetter."""
_AT_ONCE = 0.5
"""Share of the jump that a drying bed does not give back within two blocks."""
_LINGERS = 0.25
"""Share of the jump that is left behind the steepest fall where the air recovers and does not drop back."""
_ADJACENT = 2.5
"""Blocks from one level to the next beyond which readings are missing between them."""


@dataclass(frozen=True)
class Slug:
    """A sudden wetting and its recovery."""

    start_s: float
    end_s: float
    before_c: float
    wettest_c: float
    jump_k: float
    recovered_share: float
    half_recovery_s: float
    noise_k: float
    load_ratio: float | None


def sudden_rise(levels: Levels) -> tuple[int, int, float] | None:
    """The largest rise of the level within two blocks, if it stands out from the usual changes.

    Returns
    -------
    tuple or None
        First block after the rise, width of the windows compared, usual change [K].
    """
    values = levels.corrected_c
    n = values.size
    width = max(2, min(6, n // 6))
    if n < 3 * width:
        return None
    windows = np.lib.stride_tricks.sliding_window_view(values, width)
    medians = np.median(windows, axis=1)
    k = np.arange(width, n - width + 1)
    # what changed while nothing was read did not change at once
    joined = np.concatenate([np.diff(levels.start_s) <= _ADJACENT * levels.block_s, [False]])
    at_once = np.where(joined[k.clip(max=n - 1)], np.maximum(values[k], values[np.minimum(k + 1, n - 1)]), values[k])
    jumps = np.minimum(medians[k], at_once) - medians[k - width]
    jumps = np.where(joined[k - 1], jumps, 0.0)
    noise = sigma(jumps)
    across = levels.start_s[k] - levels.start_s[k - width] > (width + _HOLE_BLOCKS) * levels.block_s
    best = int(np.argmax(np.where(across, -np.inf, jumps)))
    if jumps[best] < max(LEAST_JUMP_K, 6 * noise):
        return None
    return int(k[best]), width, noise


def find_slug(levels: Levels) -> Slug | None:
    """The largest sudden rise of the level, if it falls slowly afterwards.

    Returns
    -------
    Slug or None
        None where no rise of `LEAST_JUMP_K` within two blocks stands out, or none that recovers.
    """
    rise = sudden_rise(levels)
    return None if rise is None else _recovery(levels, *rise)


def _recovery(levels: Levels, k: int, width: int, noise: float) -> Slug | None:
    departure = levels.corrected_c
    base = float(np.median(departure[max(0, k - 4 * width) : k]))
    while k > 1 and departure[k - 1] - base > 0.3 * (departure[k] - base):
        k -= 1
    top = k + int(np.argmax(departure[k : k + 2 * width]))
    jump = float(departure[top] - base)
    if jump < LEAST_JUMP_K:
        return None
    after = departure[top:]
    if after.size < 4:
        return None
    smooth = np.array([float(np.median(after[max(0, i - 1) : i + 2])) for i in range(after.size)])
    recovered = (departure[top] - smooth) / jump
    past = np.flatnonzero(recovered >= 0.8)
    end = int(past[0]) if past.size else after.size - 1
    share = float(np.max(recovered[: end + 1]))
    fall = np.diff(smooth[: end + 1])
    if share < LEAST_RECOVERY or fall.size < 3:
        return None
    # a wet bed that gives back most at once still takes its time over the rest
    lingers = float(smooth[int(np.argmin(fall)) + 1] - base) >= max(_LINGERS * jump, 6 * noise)
    if -fall.min() > 0.6 * jump and not lingers:
        return None
    back = departure[top : top + end + 2]
    if back.size > 4 and float(np.max(back[1:-2] - back[3:])) > _AT_ONCE * jump and end > 3 and not lingers:
        return None
    steady_fall = float((fall <= 0.15 * jump).mean())
    climbs_again = float(np.max(smooth[end:]) - base) > 0.75 * jump and past.size > 0
    if steady_fall < 0.9 or climbs_again:
        return None
    half = np.flatnonzero(recovered >= min(0.5, share))
    return Slug(
        start_s=float(levels.start_s[k]),
        end_s=float(levels.start_s[min(top + end, levels.start_s.size - 1)] + levels.block_s),
        before_c=float(np.median(levels.dew_point_c[max(0, k - 4 * width) : k])),
        wettest_c=float(levels.dew_point_c[top]),
        jump_k=jump,
        recovered_share=min(share, 1.0),
        half_recovery_s=float((half[0] if half.size else after.size) * levels.block_s),
        noise_k=noise,
        load_ratio=_load_ratio(levels, k, width),
    )


def _load_ratio(levels: Levels, k: int, width: int) -> float | None:
    if levels.load is None:
        return None
    before = float(np.mean(levels.load[max(0, k - 2 * width) : k]))
    return float(np.mean(levels.load[max(0, k - 1) : k + 2])) / before if before > 0 else None
