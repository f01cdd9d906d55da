"""How the half-cycle that can be repeated changes when the limit moves.

Question: how much shorter for a set point some kelvin drier, how much longer for a relaxed limit? Input: margin, cycle.
Output: a factor on the reserve. Method: between today's end of the half-cycle and the limit the logarithm of the
moisture is taken as linear in time, as the early tail of a breakthrough is. Below the limit that line lies above a tail
that stays flat and then climbs, so it asks for the shorter half-cycle; beyond the limit it would promise too much.
"""

from __future__ import annotations

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.bed.record import Breakthrough
from diagnostics.cycle.record import Cycle

SAFETY_K = 5.0
"""How much drier than the limit a cautious set point is (common practice, no published source)."""
_MARGIN_WITHOUT_TAIL = 0.85
"""Factor for a cautious set point where no tail can be seen (common practice, no published source)."""


def reserve_factor(
    breakthrough: Breakthrough, cycle: Cycle, pressure_bar: float, shift_k: float, today_s: float
) -> float:
    """Factor on the reserve when the limit moves.

    Parameters
    ----------
    breakthrough : Breakthrough
    cycle : Cycle
    pressure_bar : float
        Line pressure [bar abs].
    shift_k : float
        How far the limit moves [K]; negative is drier.
    today_s : float
        Today's half-cycle [s].

    Returns
    -------
    float
        Repeatable half-cycle at the moved limit over that at the limit [-]; not below today's half-cycle over it. 1 for
        a relaxed limit where no half-cycles or no margin are known.
    """
    if shift_k == 0.0:
        return 1.0
    peak_c, sustained = weaker_peak_c(cycle), breakthrough.sustained_margin_s
    limit_c = breakthrough.limit_dew_point_c
    if peak_c is None or sustained is None or sustained.value <= 0.0 or peak_c >= limit_c - 0.5:
        return _MARGIN_WITHOUT_TAIL ** (-shift_k / SAFETY_K) if shift_k < 0.0 else 1.0
    levels = np.log(moisture_fraction(np.array([peak_c, limit_c, limit_c + shift_k]), pressure_bar))
    reached = float((levels[2] - levels[0]) / (levels[1] - levels[0]))
    whole_s = today_s + sustained.value
    return max(today_s, today_s + sustained.value * reached) / whole_s


def weaker_peak_c(cycle: Cycle) -> float | None:
    """Median peak of the tower whose peaks are wetter [degC]; None without complete half-cycles."""
    by_tower = _median_peaks_c(cycle)
    return max(by_tower.values(), default=None)


def better_peak_c(cycle: Cycle) -> float | None:
    """Median peak of the tower whose peaks are drier [degC]; None unless two towers are told apart."""
    by_tower = {tower: peak_c for tower, peak_c in _median_peaks_c(cycle).items() if tower is not None}
    return min(by_tower.values()) if len(by_tower) == 2 else None


def _median_peaks_c(cycle: Cycle) -> dict[str | None, float]:
    """Median peak by tower [degC]; under None those of half-cycles whose tower is not known."""
    complete = cycle.complete
    peaks_c = complete["peak_dew_point_c"].to_numpy(float)
    towers = [tower if isinstance(tower, str) else None for tower in complete["tower"]]
    known = np.isfinite(peaks_c)
    return {
        tower: float(np.median(peaks_c[mine]))
        for tower in ("A", "B", None)
        if (mine := known & np.array([named == tower for named in towers], bool)).any()
    }
