"""The tail of a breakthrough front at the end of a heated dryer's half-cycles.

Question: after how much loaded water does the leaving air reach the limit? Input: half-cycles and the load they took
up. Output: two `Front` fits that bracket the truth. Method: moisture = plateau + front, the front fitted in ln moisture
over loaded water, pooled over half-cycles.

* ``exponential``: the early tail of a constant pattern front, ln y linear in load (Thomas; linear driving force).
* ``gaussian``: the front of a bed in which the pattern still spreads (Klinkenberg 1954), ln y falls with the square of
  the distance to the middle of the front, so that its slope eases on the way to the limit.

Higher flow brings the front forward (shorter contact time); that is a power of flow, fitted where flow varies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from diagnostics.bed.duty import Duty
from diagnostics.bed.robust_fit import Model, fit
from diagnostics.cycle.record import Cycle
from diagnostics.log.record import Floats, ScreenedLog

BINS = 24
_MOST_HALF_CYCLES = 120
_OUTLIER_FLOOR_K = 6.0

Kind = Literal["exponential", "gaussian"]


@dataclass(frozen=True, eq=False)
class TailPoints:
    """Pooled readings from each half-cycle's floor to its end, averaged within equal parts of it.

    Attributes
    ----------
    half_cycle : ndarray of int, shape (n,)
        Row of the half-cycle in ``Cycle.half_cycles``.
    side : ndarray, shape (n,)
        +1/2 for tower A, -1/2 for tower B, 0 where unknown.
    loaded : ndarray, shape (n,)
        Load taken up since the switchover, in nameplate half-cycles at rated load.
    log_moisture : ndarray, shape (n,)
        ln of moisture over the moisture at the limit.
    log_flow : ndarray, shape (n,)
    """

    half_cycle: np.ndarray
    side: Floats
    loaded: Floats
    log_moisture: Floats
    log_flow: Floats


def tail_points(screened: ScreenedLog, cycle: Cycle, duty: Duty, limit_moisture: float) -> TailPoints | None:
    """Pooled readings between floor and end of the half-cycles; None where fewer than two half-cycles can be used."""
    rows = usable_rows(cycle)
    if len(rows) > _MOST_HALF_CYCLES:
        rows = rows[np.linspace(0, len(rows) - 1, _MOST_HALF_CYCLES).astype(int)]
    time_s = screened.log.time_s
    table = cycle.half_cycles
    starts, ends = table["start_s"].to_numpy(), table["end_s"].to_numpy()
    towers = table["tower"].to_numpy()
    parts = []
    for row in rows:
        start, end = starts[row], ends[row]
        first, last = np.searchsorted(time_s, (start, end))
        inside = slice(first, last)
        valid = screened.used[inside] & np.isfinite(screened.moisture[inside])
        if valid.sum() < 8:
            continue
        when = time_s[inside][valid]
        ratio = np.log(screened.moisture[inside][valid] / limit_moisture)
        part = _binned(when, ratio, start, end, duty)
        if part is None:
            continue
        side = {"A": 0.5, "B": -0.5}.get(towers[row], 0.0)
        parts.append((np.full(part[0].size, row), np.full(part[0].size, side), *part))
    if len(parts) < 2:
        return None
    return TailPoints(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def usable_rows(cycle: Cycle) -> np.ndarray:
    """Rows of complete half-cycles that are no incident: floor not far above the usual."""
    table = cycle.half_cycles
    floor = table["floor_dew_point_c"].to_numpy(float)
    good = table["complete"].to_numpy(bool) & np.isfinite(floor)
    if cycle.stopped_s is not None:
        good &= table["end_s"].to_numpy(float) <= cycle.stopped_s + 1.0
    if good.any():
        good &= floor <= np.median(floor[good]) + _OUTLIER_FLOOR_K
    return np.flatnonzero(good)


def _binned(when: Floats, log_moisture: Floats, start: float, end: float, duty: Duty) -> tuple[Floats, ...] | None:
    bins = min(BINS, when.size // 2)
    which = np.minimum(((when - start) / (end - start) * bins).astype(int), bins - 1)
    count = np.bincount(which, minlength=bins)
    there = count > 0
    mean = np.bincount(which, log_moisture, bins)[there] / count[there]
    middle = np.bincount(which, when, bins)[there] / count[there]
    flow = np.interp(when, duty.time_s, duty.log_flow)
    log_flow = np.bincount(which, flow, bins)[there] / count[there]
    if mean.size < 4:
        return None
    smooth = np.convolve(np.pad(mean, 1, mode="edge"), np.ones(3) / 3.0, mode="valid")
    floor = max(int(np.argmin(smooth)), mean.size // 5)
    if mean.size - floor < 3:
        return None
    loaded = duty.loaded_at(middle[floor:]) - float(duty.loaded_at(start))
    return loaded, mean[floor:], log_flow[floor:]


@dataclass(frozen=True, eq=False)
class Front:
    """A fitted front.

    Attributes
    ----------
    values : ndarray, shape (6,)
        ln plateau over limit; power of flow of the plateau; two numbers of the front (exponential: ln moisture over
        limit at no load, ln slope; gaussian: middle, ln width); power of flow of the front; lead of tower A over B in
        ln y.
    covariance : ndarray, shape (6, 6)
        Clustered by half-cycle.
    inlet : float
        ln of inlet moisture over moisture at the limit.
    spread : float
        Standard deviation of a half-cycle's own lead over the pooled front, in ln y.
    residual : float
        Standard deviation of a point [-].
    """

    kind: Kind
    values: Floats
    covariance: Floats
    inlet: float
    spread: float
    residual: float

    def loaded_at_limit(
        self,
        log_flow: Floats | float = 0.0,
        lead: Floats | float = 0.0,
        level: float = 0.0,
        values: Floats | None = None,
    ) -> Floats:
        """Loaded water at which moisture reaches the limit, in nameplate half-cycles at rated load.

        Parameters
        ----------
        log_flow, lead : float or ndarray
            ln of flow over its mean; lead of the half-cycle in ln y.
        level : float
            ln of the moisture asked for over that at the limit; 0 for the limit itself.
        values : ndarray, shape (6,), optional
            Other parameters than the fitted ones.
        """
        th = self.values if values is None else values
        plateau = np.minimum(np.exp(th[0] + th[1] * np.asarray(log_flow) - level), 0.98)
        front = level + np.log1p(-plateau) - th[4] * np.asarray(log_flow) - lead
        if self.kind == "exponential":
            return (front - th[2]) / np.exp(th[3])
        height = np.maximum(self.inlet - np.log(2.0) - front, 0.0)
        return th[2] - np.exp(th[3]) * np.sqrt(2.0 * height)

    def predicted(self, points: TailPoints) -> Floats:
        """ln moisture over that at the limit which the front gives the readings, shape (n,)."""
        return _model(points, self.kind, self.inlet)(self.values)[0]

    @property
    def slope_at_limit(self) -> float:
        """d ln y of the front over loaded water where it reaches the limit [-]."""
        if self.kind == "exponential":
            return float(np.exp(self.values[3]))
        height = max(self.inlet - np.log(2.0), 0.1)
        return float(np.sqrt(2.0 * height) / np.exp(self.values[3]))


_PRIOR_FLOW = (0.3, 0.6), (1.0, 0.8)
"""Mean and standard deviation of the powers of flow of plateau and front: a front widens with velocity between not at
all (dispersion) and in proportion (transfer within the bead), some six to nine e-folds below the inlet's moisture."""


def fit_fronts(points: TailPoints, inlet: float) -> tuple[Front, Front]:
    """Both kinds of front, the spreading one started where the exponential one touches it."""
    exponential = fit_front(points, "exponential", inlet)
    th = exponential.values
    furthest = float(np.percentile(points.loaded, 95))
    slope = float(np.exp(th[3]))
    height = max(inlet - np.log(2.0) - float(th[2]) - slope * furthest, 0.5)
    width = float(np.sqrt(2.0 * height)) / slope
    start = th.copy()
    start[2:4] = furthest + width * np.sqrt(2.0 * height), np.log(width)
    return exponential, fit_front(points, "gaussian", inlet, start)


def fit_front(points: TailPoints, kind: Kind, inlet: float, start: Floats | None = None) -> Front:
    """Fit plateau and front to pooled readings.

    Parameters
    ----------
    points : TailPoints
    kind : {"exponential", "gaussian"}
    inlet : float
        ln of inlet moisture over moisture at the limit.
    start : ndarray, shape (6,), optional
        First guess.

    Returns
    -------
    Front
    """
    model = _model(points, kind, inlet)
    lowest = float(points.log_moisture.min()) - 0.1
    furthest = float(points.loaded.max())
    first = np.array([lowest, 0.3, lowest - 6.0, np.log(7.0 / furthest), 1.0, 0.0])
    low = np.array([-14.0, -1.0, -60.0, -1.5, -1.0, -3.0])
    high = np.array([1.0, 3.0, 3.0, 5.5, 5.0, 3.0])
    if kind == "gaussian":
        first[2:4] = 2.0 * furthest, np.log(0.35 * furthest)
        low[2], low[3], high[2], high[3] = 0.05, -7.0, 60.0, 3.0
    centre = np.array([first[0], _PRIOR_FLOW[0][0], 0.0, 0.0, _PRIOR_FLOW[1][0], 0.0])
    width = np.array([2.0, _PRIOR_FLOW[0][1], np.inf, np.inf, _PRIOR_FLOW[1][1], 0.5])
    guess, sigma = first if start is None else start, 0.05
    for _ in range(2):
        used = sigma
        found = fit(model, points.log_moisture, used, centre, width, [guess], (low, high), most_calls=80)
        guess = found.values
        sigma = max(float(1.4826 * np.median(np.abs(found.miss))), 0.004)
    spread = _spread(points, found.miss)
    scaled = np.clip(found.miss / sigma, -4, 4)
    covariance = _clustered(found.jacobian / used, scaled, points.half_cycle, 1.0 / width**2)
    return Front(kind, found.values, covariance, inlet, spread, sigma)


def _model(points: TailPoints, kind: Kind, inlet: float) -> Model:
    w, flow, side = points.loaded, points.log_flow, points.side

    def predict(th: Floats) -> tuple[Floats, Floats]:
        lead = th[4] * flow + th[5] * side
        slopes = np.empty((w.size, 6))
        if kind == "exponential":
            climb = np.exp(th[3]) * w
            front = th[2] + climb + lead
            slopes[:, 2], slopes[:, 3] = 1.0, climb
        else:
            distance = np.maximum(th[2] - w, 0.0) / np.exp(th[3])
            front = inlet - np.log(2.0) - 0.5 * distance**2 + lead
            slopes[:, 2], slopes[:, 3] = -distance / np.exp(th[3]), distance**2
        whole = np.logaddexp(th[0] + th[1] * flow, front)
        share = np.exp(front - whole)
        slopes[:, 4], slopes[:, 5] = flow, side
        slopes[:, 2:] *= share[:, None]
        slopes[:, 0], slopes[:, 1] = 1.0 - share, (1.0 - share) * flow
        return whole, slopes

    return predict


def _spread(points: TailPoints, miss: Floats) -> float:
    """Standard deviation between half-cycles of the mean misfit over their last quarter [-]."""
    rows, which = np.unique(points.half_cycle, return_inverse=True)
    leads = np.zeros(rows.size)
    for i in range(rows.size):
        mine = -miss[which == i]
        leads[i] = mine[-max(3, mine.size // 4) :].mean()
    return float(1.4826 * np.median(np.abs(leads - np.median(leads))))


def _clustered(jacobian: Floats, scaled: Floats, cluster: np.ndarray, precision: Floats) -> Floats:
    """Sandwich covariance with half-cycles as clusters."""
    bread = np.linalg.pinv(jacobian.T @ jacobian + np.diag(precision))
    rows, which = np.unique(cluster, return_inverse=True)
    scores = np.zeros((rows.size, jacobian.shape[1]))
    np.add.at(scores, which, jacobian * scaled[:, None])
    meat = scores.T @ scores * rows.size / max(rows.size - 1, 1) + np.diag(precision)
    return bread @ meat @ bread
