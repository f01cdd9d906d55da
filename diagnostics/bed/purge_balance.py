"""The purge balance of a heatless dryer over many cycles.

Question: how much load can the purge carry away again, half-cycle after half-cycle? Input: the ends of the half-cycles
and the volume loaded in each. Output: a `Balance`. A half-cycle moves hardly any of a heatless bed's water; what counts
is whether, over tens of cycles, the purge takes out as much as the air brings in. By actual volume: the purge leaves
saturated at bed temperature, as the air came in (Skarstrom's rule).

Method: moisture at the end of half-cycle k is a dry part plus a creeping part, ``y = y_dry u^m + a``. Where the load u
(volume loaded in one half-cycle over that of a nameplate half-cycle at rated flow) is above what the purge carries, R,
the wet zone creeps towards the outlet and a grows exponentially; below it a shrinks to what each half-cycle leaves:

    a[k+1] = a[k] exp(b (u - R)) + s u,   at rest  a = s u / (1 - exp(b (u - R)))

The five numbers are fitted to the whole log at once. R is the reserve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.bed.duty import Duty
from diagnostics.bed.robust_fit import fit
from diagnostics.cycle.record import Cycle
from diagnostics.log.record import Floats

_MOST_BLOCKS = 250
_MOST_ROWS = 25_000


@dataclass(frozen=True, eq=False)
class Course:
    """Half-cycles in order, in blocks of ``block`` half-cycles.

    Attributes
    ----------
    load : ndarray, shape (n,)
        Volume loaded in one half-cycle, in nameplate half-cycles at rated load [-].
    log_moisture : ndarray, shape (n,)
        ln of the moisture at the end of the half-cycles over that at the limit; NaN where not seen.
    block : int
        Half-cycles in one block.
    """

    load: Floats
    log_moisture: Floats
    block: int


def course_of(cycle: Cycle, duty: Duty, log_moisture_end: Floats, tower: str | None) -> Course | None:
    """Loads and end moistures in order; None where fewer than twelve half-cycles are seen.

    Parameters
    ----------
    cycle : Cycle
    duty : Duty
    log_moisture_end : ndarray, shape (rows of ``cycle.half_cycles``,)
        ln moisture over limit at the end of each half-cycle.
    tower : str or None
        Only this tower's ends are looked at; None for both.
    """
    table = cycle.half_cycles
    starts, ends = table["start_s"].to_numpy(float), table["end_s"].to_numpy(float)
    good = table["complete"].to_numpy(bool) & np.isfinite(log_moisture_end)
    if cycle.stopped_s is not None:
        good &= ends <= cycle.stopped_s + 1.0
    if tower is not None:
        good &= table["tower"].to_numpy() == tower
    rows = np.flatnonzero(good)
    if rows.size < 12:
        return None
    span = slice(rows[0], rows[-1] + 1)
    if rows[-1] - rows[0] >= _MOST_ROWS:
        top = int(np.argmax(np.where(good, log_moisture_end, -np.inf)))
        begin = int(np.clip(top - _MOST_ROWS // 2, 0, good.size - _MOST_ROWS))
        span = slice(begin, begin + _MOST_ROWS)
    load = duty.loaded_at(ends[span]) - duty.loaded_at(starts[span])
    log_y = np.where(good[span], log_moisture_end[span], np.nan)
    block = -(-load.size // _MOST_BLOCKS)
    whole = load.size // block * block
    seen = np.isfinite(log_y[:whole]).reshape(-1, block)
    total = np.where(seen, log_y[:whole].reshape(-1, block), 0.0).sum(axis=1)
    count = seen.sum(axis=1)
    mean = np.divide(total, count, out=np.full(count.size, np.nan), where=count > 0)
    return Course(load[:whole].reshape(-1, block).mean(axis=1), mean, block)


@dataclass(frozen=True, eq=False)
class Balance:
    """A fitted purge balance.

    Attributes
    ----------
    values : ndarray, shape (7,)
        ln R, ln b, ln s, ln y_dry, power m, ln a at the start, ln of the dry part's lag in half-cycles; moistures over
        that at the limit.
    covariance : ndarray, shape (7, 7)
    creep_share : float
        Share of the creeping part in the moisture at the wettest twentieth of half-cycles [-].
    gain : float
        By which factor the creeping part lowers the misfit that a dry part alone leaves [-].
    residual : float
        Standard deviation of ln moisture [-].
    latest : float
        ln of the creeping part in the middle of the log, over the limit.
    """

    values: Floats
    covariance: Floats
    creep_share: float
    gain: float
    residual: float
    latest: float

    @property
    def growth(self) -> float:
        """b: e-folds of the creeping part per nameplate half-cycle of load [-]."""
        return float(np.exp(self.values[1]))

    def log_load_at_limit(self, level: float = 0.0, values: Floats | None = None) -> float:
        """ln of the load per half-cycle at which the moisture settles at the limit.

        Parameters
        ----------
        level : float
            ln of the moisture asked for over that at the limit.
        values : ndarray, shape (7,), optional
            Other parameters than the fitted ones.
        """
        th = self.values if values is None else values
        carried, growth = np.exp(th[0]), np.exp(th[1])
        # A dry part that fell with the load by chance must not pass the limit where there is no load.
        power = max(float(th[4]), 0.0)
        low, high = -4.0, float(np.log(carried))
        for _ in range(50):
            middle = 0.5 * (low + high)
            u = np.exp(middle)
            gap = -np.expm1(growth * (u - carried))
            wet = np.exp(th[3] + power * middle) + np.exp(th[2]) * u / max(gap, 1e-12)
            low, high = (low, middle) if wet > np.exp(level) else (middle, high)
        return 0.5 * (low + high)


_CENTRE = np.array([np.log(1.2), np.log(0.2), -7.0, -3.0, 0.3, -6.0, 1.5])
_WIDTH = np.array([0.45, 1.0, 3.0, 3.0, 0.5, 3.0, 1.0])
"""Prior of the seven numbers, wide; it decides only where the log is silent. Powers and lag: common practice, no
published source; R: reserves from half to three times the nameplate."""
_LOW = np.array([np.log(0.2), np.log(0.002), -16.0, -12.0, -1.0, -14.0, -2.0])
_HIGH = np.array([np.log(8.0), np.log(5.0), 3.0, 3.0, 3.0, 5.0, 4.0])


def fit_balance(course: Course) -> Balance:
    """Fit the purge balance to the ends of the half-cycles.

    Parameters
    ----------
    course : Course

    Returns
    -------
    Balance
    """
    seen = np.isfinite(course.log_moisture)
    observed = course.log_moisture[seen]
    lowest = float(np.percentile(observed, 2))
    centre = _CENTRE.copy()
    centre[3] = lowest - 0.2
    sigma = max(0.3 * float(np.std(observed)), 0.02)
    starts = []
    for carried in (0.7, 1.0, 1.5):
        start = centre.copy()
        start[0] = np.log(carried)
        start[2], start[5] = lowest - 3.0, float(np.log(max(np.exp(observed[0]) - 0.9 * np.exp(lowest), 1e-5)))
        starts.append(start)

    def model(values: Floats) -> tuple[Floats, Floats]:
        predicted, slopes = predict(course, values)
        return predicted[seen], slopes[seen]

    found = fit(model, observed, sigma, centre, _WIDTH, starts, (_LOW, _HIGH))
    residual = max(float(np.sqrt(np.mean(found.miss**2))), 1e-3)
    share = _creep_share(course, found.values, seen)
    return Balance(
        values=found.values,
        covariance=sandwich(found.jacobian, found.miss, _WIDTH),
        creep_share=share[0],
        gain=_dry_misfit(course, seen) / residual,
        residual=residual,
        latest=share[1],
    )


def predict(course: Course, values: Floats) -> tuple[Floats, Floats]:
    """ln moisture over limit at the end of each block, shape (n,), and its derivatives, shape (n, 7)."""
    slopes = np.empty((course.load.size, 7))
    dry = _dry(course, values[3], values[4], values[6], slopes)
    creep = _creep(course, values, slopes)
    whole = np.logaddexp(dry, creep)
    share = np.exp(creep - whole)
    slopes[:, (0, 1, 2, 5)] *= share[:, None]
    slopes[:, (3, 4, 6)] *= (1.0 - share)[:, None]
    return whole, slopes


def _dry(course: Course, level: float, power: float, log_lag: float, slopes: Floats) -> Floats:
    """ln of the dry part; fills the derivatives by level, power and ln of the lag."""
    step = 1e-3
    log_load, moved = (np.log(lagged(course.load, np.exp(at) / course.block)) for at in (log_lag, log_lag + step))
    slopes[:, 3], slopes[:, 4], slopes[:, 6] = 1.0, log_load, power * (moved - log_load) / step
    return level + power * log_load


def _creep(course: Course, values: Floats, slopes: Floats | None = None) -> Floats:
    """ln of the creeping part; fills its derivatives by ln R, ln b, ln s and ln a at the start."""
    carried, growth = np.exp(values[0]), np.exp(values[1])
    count, passed = np.arange(1.0, course.load.size + 1.0), np.cumsum(course.load)
    path = growth * course.block * (passed - carried * count)
    terms = values[2] + np.log(course.block * course.load) - path
    entered = np.logaddexp.accumulate(terms)
    inside = np.logaddexp(values[5], entered)
    if slopes is not None:
        # A sum of sources, each times its own path, over the sum of the sources.
        by_count, by_load = (np.exp(np.logaddexp.accumulate(terms + np.log(each)) - inside) for each in (count, passed))
        first = np.exp(values[5] - inside)
        slopes[:, 0] = growth * course.block * carried * (by_count - count)
        slopes[:, 1] = path - growth * course.block * (by_load - carried * by_count)
        slopes[:, 2], slopes[:, 5] = 1.0 - first, first
    return path + inside


def _dry_misfit(course: Course, seen: np.ndarray) -> float:
    """Standard deviation of ln moisture that a dry part alone leaves, the best of its lags [-]."""
    observed = course.log_moisture[seen]
    best = np.inf
    for lag in np.exp(np.linspace(_LOW[6], _HIGH[6], 9)):
        log_load = np.log(lagged(course.load, lag / course.block))[seen]
        spread = log_load - log_load.mean()
        # A prior as for the whole model, worth one reading.
        weight = float(spread @ spread) + float(np.var(observed)) / _WIDTH[4] ** 2
        power = (float(spread @ observed) + _CENTRE[4] * (weight - float(spread @ spread))) / max(weight, 1e-12)
        power = float(np.clip(power, _LOW[4], _HIGH[4]))
        best = min(best, float(np.std(observed - power * spread)))
    return best


def lagged(load: Floats, lag: float) -> Floats:
    """First-order lag of a series, in steps; starts settled at its first values."""
    if lag < 0.05:
        return load
    settled = float(load[: max(1, round(lag))].mean())
    return settled + faded(load - settled, lag)


def faded(values: Floats, lag: float) -> Floats:
    """First-order lag of a series that starts at nought, in steps; a kernel cut at 1e-4 of its start."""
    share = -np.expm1(-1.0 / lag)
    kernel = share * (1.0 - share) ** np.arange(min(values.size, int(9.3 * lag) + 2))
    return np.convolve(values, kernel)[: values.size]


def _creep_share(course: Course, values: Floats, seen: np.ndarray) -> tuple[float, float]:
    whole, _ = predict(course, values)
    creep = _creep(course, values)
    wettest = seen & (course.log_moisture >= np.percentile(course.log_moisture[seen], 95))
    return float(np.exp(creep - whole)[wettest].mean()), float(np.median(creep[seen]))


def sandwich(jacobian: Floats, miss: Floats, prior_width: Floats) -> Floats:
    """Sandwich covariance, clustered in stretches long against the bed's memory."""
    variance = max(float(np.mean(miss**2)), 1e-8)
    bread = np.linalg.pinv(jacobian.T @ jacobian / variance + np.diag(1.0 / prior_width**2))
    clusters = int(np.clip(miss.size // 40, 4, 40))
    which = np.arange(miss.size) * clusters // miss.size
    scores = np.zeros((clusters, jacobian.shape[1]))
    np.add.at(scores, which, jacobian * miss[:, None] / variance)
    meat = scores.T @ scores * clusters / (clusters - 1.0) + np.diag(1.0 / prior_width**2)
    return bread @ meat @ bread
