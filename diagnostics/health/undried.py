"""Does one tower not dry at all any more while the other does?

Question: is the air of one tower's half-cycles nearly as wet at their end as the air that enters, the other's dry?
Input: a `Case` with half-cycles. Output: an `Undried`. Method: peaks against the inlet's moisture at the end of the
log; needs no level before the failure, so it also speaks where the log begins after it or the tower still fills up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.health.case import Case
from diagnostics.health.leaks import inlet_moisture

_FEW = 3
"""Half-cycles of each tower at the end of the log."""
_SHARE_OF_INLET = 0.1
_APART_K = 25.0
_DEPARTED_K = 3.0


@dataclass(frozen=True, slots=True)
class Undried:
    """A tower that comes back undried; ``start_s`` is None where the log begins after it failed.

    Attributes
    ----------
    tower : str
    start_s : float or None
        Start of the first regeneration that shows as failed [epoch s].
    wet_c, other_c : float
        Median of the last peaks of this tower and of the last means of the other [degC].
    share : float
        Moisture of this tower's last peaks over the inlet's [-].
    """

    tower: str
    start_s: float | None
    wet_c: float
    other_c: float
    share: float


def find_undried(case: Case) -> Undried | None:
    """The tower that no longer dries; None where both do, or neither."""
    rows, inlet = case.rows, inlet_moisture(case)
    if case.switched_on_dew_point or inlet is None:
        return None
    last = {tower: part.tail(_FEW) for tower, part in rows.groupby("tower")}
    if len(last) != 2 or min(len(part) for part in last.values()) < _FEW - 1:
        return None
    wet = max(last, key=lambda tower: float(last[tower]["mean_dew_point_c"].median()))
    [dry] = set(last) - {wet}
    peaks_c, other_c = last[wet]["peak_dew_point_c"].to_numpy(float), float(last[dry]["mean_dew_point_c"].median())
    pressure_bar = float(np.median(case.screened.conditions.pressure_bar))
    share = np.asarray(moisture_fraction(peaks_c, pressure_bar)) / float(np.median(inlet))
    if share.min() < _SHARE_OF_INLET or float(last[wet]["mean_dew_point_c"].median()) - other_c < _APART_K:
        return None
    return Undried(str(wet), _start_s(case, str(wet)), float(np.median(peaks_c)), other_c, float(np.median(share)))


def _start_s(case: Case, wet: str) -> float | None:
    """Start of the half-cycle before the tower's first one from which on its means lie above both neighbours."""
    rows = case.rows
    means, own = rows["mean_dew_point_c"].to_numpy(float), np.flatnonzero(rows["tower"].to_numpy() == wet)
    around = np.concatenate([[-np.inf], means, [-np.inf]])
    apart = means[own] - np.maximum(around[own], around[own + 2])
    sound = np.flatnonzero(apart < _DEPARTED_K)
    if sound.size == 0 or sound[-1] + 1 >= own.size:
        return None
    return float(rows["start_s"].iloc[int(own[sound[-1] + 1]) - 1])
