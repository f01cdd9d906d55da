"""Straight line through an autocorrelated series, at equal covariates.

Question: by how much does it rise per day, and how sure is that? Input: a `PeakSeries`. Output: a `Line`. Method:
generalised least squares with first-order autocorrelation that fades over gaps (Prais & Winsten 1954), its small-sample
bias taken out; outliers drawn in (Huber); the largest of its error, the Newey-West error (1987) and the error that the
scatter of whole days leaves counts, because days differ by more than neighbouring hours tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.health.trend_series import PeakSeries
from diagnostics.log.record import Floats

_HUBER = 2.0
_THIN = 2000
_MOST_CORRELATION = 0.985
_FEWEST_DAYS = 4
_FEWEST_FOR_MEMORY = 8
"""Days from which on the memory from day to day can be told."""
_FEWEST_FREE = 3.0
_STRIDE_D = 6.0 / 24.0
_FEWEST_STRIDES = 7.0


@dataclass(frozen=True, eq=False)
class Line:
    """A fitted line.

    Attributes
    ----------
    slope, error : float
        Rise per day and its standard error [K/d].
    level_c, level_error : float
        At the end of the log and mean covariates [degC], [K].
    freedom : float
        Degrees of freedom left to level and slope, autocorrelation counted.
    correlation : float
        Between neighbouring blocks.
    scatter_k : float
        Standard deviation of a block about the line [K].
    effects : dict of str to float
        Coefficient of each covariate.
    rest_c : ndarray, shape (n,)
        The series with the covariates' part taken out.
    """

    slope: float
    error: float
    level_c: float
    level_error: float
    freedom: float
    correlation: float
    scatter_k: float
    effects: dict[str, float]
    rest_c: Floats

    @property
    def quantile(self) -> float:
        """97.5 % point of Student's t at the degrees of freedom."""
        from scipy.special import stdtrit

        return float(stdtrit(max(self.freedom, 1.0), 0.975))


def fit_line(series: PeakSeries, covariates: dict[str, Floats], visit_deviation_k: float = 0.0) -> Line:
    """Fit peak = level + slope x time + covariates, errors autocorrelated.

    Parameters
    ----------
    series : PeakSeries
    covariates : dict of str to ndarray, shape (n,)
        Centred columns.
    visit_deviation_k : float
        Standard deviation with which the instrument comes back to another visit [K].

    Returns
    -------
    Line
    """
    columns = [np.ones_like(series.time_d), series.time_d, *covariates.values()]
    design = np.column_stack(columns)
    peak = series.peak_c
    steps = np.diff(series.time_d) / series.step_d
    weights: Floats = np.ones_like(peak)
    correlation = 0.0
    for _ in range(6):
        whitened, target = _whiten(design * weights[:, None], peak * weights, correlation, steps)
        beta = np.asarray(np.linalg.lstsq(whitened, target, rcond=None)[0], dtype=np.float64)
        miss = peak - design @ beta
        scale = max(1.4826 * float(np.median(np.abs(miss - np.median(miss)))), 1e-6)
        weights = np.asarray(np.sqrt(np.minimum(1.0, _HUBER * 1.5 * scale / np.maximum(np.abs(miss), 1e-12))), float)
        correlation = _correlation(_unbent(series.time_d, miss) * weights, steps, design.shape[1] + 1)
    return _line(series, covariates, design * weights[:, None], peak * weights, beta, correlation, visit_deviation_k)


def _line(
    series: PeakSeries,
    covariates: dict[str, Floats],
    design: Floats,
    peak: Floats,
    beta: Floats,
    correlation: float,
    visit_deviation_k: float,
) -> Line:
    steps = np.diff(series.time_d) / series.step_d
    whitened, target = _whiten(design, peak, correlation, steps)
    n, p = design.shape
    miss = target - whitened @ beta
    bread = np.linalg.pinv(whitened.T @ whitened)
    variance = float(miss @ miss) / max(n - p, 1)
    plain = variance * bread
    lags = int(np.clip(round(1.0 / series.step_d), 1, max(n // 6, 1)))
    robust = bread @ _newey_west(whitened * miss[:, None], lags) @ bread * n / max(n - p, 1)
    covariance = np.maximum(np.diag(plain), np.diag(robust))
    between = _between_visits(series, visit_deviation_k)
    effective = n * (1.0 - correlation) / (1.0 + correlation)
    residual = series.peak_c - np.column_stack([np.ones(n), series.time_d, *covariates.values()]) @ beta
    explained = sum((beta[2 + i] * x for i, x in enumerate(covariates.values())), np.zeros(n))
    rest = series.peak_c - explained
    by_days, days = _error_by_days(series.time_d, rest)
    freedom = max(effective, float(days) if days > _FEWEST_DAYS else 0.0) - 2.0
    wandering = 0.0
    if freedom < _FEWEST_FREE:
        wandering, freedom = _error_of_wandering(series, residual, freedom)
    effects = dict(zip(covariates, map(float, beta[2:]), strict=True))
    return Line(
        slope=float(beta[1]),
        error=float(np.sqrt(max(covariance[1], by_days**2, wandering**2) + between)),
        level_c=float(beta[0]),
        level_error=float(np.sqrt(covariance[0] + visit_deviation_k**2 * (np.unique(series.visit).size > 1))),
        freedom=freedom,
        correlation=correlation,
        scatter_k=float(np.sqrt(np.mean(residual**2))),
        effects=effects,
        rest_c=rest,
    )


def _whiten(design: Floats, target: Floats, correlation: float, steps: Floats) -> tuple[Floats, Floats]:
    """Take out an autocorrelation of ``correlation`` per step that fades over longer steps."""
    carried: Floats = np.power(correlation, np.maximum(steps, 1.0))
    root = 1.0 / np.sqrt(1.0 - carried**2)
    own = np.sqrt(1.0 - correlation**2)
    x, y = own * design.copy(), own * target.copy()
    x[1:] = own * (design[1:] - carried[:, None] * design[:-1]) * root[:, None]
    y[1:] = own * (target[1:] - carried * target[:-1]) * root
    return x, y


def _unbent(time_d: Floats, miss: Floats) -> Floats:
    """What a bend leaves of the misfits: a rise that quickens is no autocorrelation."""
    return miss - np.asarray(np.polyval(np.polyfit(time_d, miss, 2), time_d))


def _correlation(miss: Floats, steps: Floats, parameters: int) -> float:
    """Lag-one autocorrelation of neighbours, with the bias a fitted line and covariates leave taken out."""
    near = steps < 1.8
    pairs = int(near.sum())
    if pairs < 4 or not miss.any():
        return 0.0
    before, after = miss[:-1][near], miss[1:][near]
    power = 0.5 * float(before @ before + after @ after)
    raw = float(before @ after) / max(power, 1e-300)
    mended = (pairs * raw + 0.5 * parameters) / max(pairs - 1.5 * parameters, 1.0)
    return float(np.clip(mended, 0.0, _MOST_CORRELATION))


def _newey_west(scores: Floats, lags: int) -> Floats:
    total = scores.T @ scores
    for lag in range(1, min(lags, len(scores) - 1) + 1):
        cross = scores[lag:].T @ scores[:-lag]
        total = total + (1.0 - lag / (lags + 1.0)) * (cross + cross.T)
    return total


def _error_by_days(time_d: Floats, rest_c: Floats) -> tuple[float, int]:
    """Standard error of the slope through day means [K/d], raised for their few degrees of freedom, and the number of
    whole days; nought below four days."""
    from scipy.special import stdtrit

    day = np.floor(time_d - time_d[-1] - 1e-9).astype(int)
    _, which, count = np.unique(day, return_inverse=True, return_counts=True)
    whole = count >= 0.5 * np.median(count)
    if whole.sum() < _FEWEST_DAYS:
        return 0.0, int(whole.sum())
    middle = (np.bincount(which, time_d) / count)[whole]
    level = (np.bincount(which, rest_c) / count)[whole]
    apart = middle - middle.mean()
    power = float(apart @ apart)
    miss = level - level.mean() - apart * float(apart @ level) / power
    few = float(stdtrit(level.size - 2, 0.975)) / 1.96
    bent = level.size >= _FEWEST_FOR_MEMORY
    alike = _correlation(_unbent(middle, miss), np.diff(middle), 2) if bent else 0.0
    few *= float(np.sqrt((1.0 + alike) / (1.0 - alike)))
    return few * float(np.sqrt(miss @ miss / (level.size - 2) / power)), level.size


def _error_of_wandering(series: PeakSeries, residual: Floats, freedom: float) -> tuple[float, float]:
    """Standard error of the slope if what is left wanders without ever coming back, and its degrees of freedom.

    A random walk is the worst that neighbours so much alike can be; its steps over `_STRIDE_D` are independent. A
    series that comes back to its level errs less.
    """
    span_d = float(series.time_d[-1] - series.time_d[0])
    stride = max(1, round(_STRIDE_D / series.step_d))
    strides = span_d / (stride * series.step_d)
    if np.unique(series.visit).size > 1 or strides < _FEWEST_STRIDES or residual.size <= stride:
        return 0.0, freedom
    moved = residual[stride:] - residual[:-stride]
    return float(np.sqrt(strides * np.mean(moved**2)) / span_d), strides - 4.0


def _between_visits(series: PeakSeries, deviation_k: float) -> float:
    visits = np.unique(series.visit)
    if visits.size < 2:
        return 0.0
    middles = np.array([series.time_d[series.visit == v].mean() for v in visits])
    return float(deviation_k**2 / np.sum((middles - middles.mean()) ** 2))


def median_slope(time_d: Floats, values: Floats) -> float:
    """Theil-Sen slope [per day]; evenly thinned above 2000 points because it looks at all pairs."""
    if time_d.size > _THIN:
        keep = np.linspace(0, time_d.size - 1, _THIN).astype(int)
        time_d, values = time_d[keep], values[keep]
    apart = np.subtract.outer(time_d, time_d)
    pairs = apart > 0
    return float(np.median(np.subtract.outer(values, values)[pairs] / apart[pairs])) if pairs.any() else 0.0


def is_step(time_d: Floats, values: Floats, better: float = 0.7) -> bool:
    """Whether one step tells a series better than one line: squares left below ``better`` of the line's.

    A line seen through noise leaves a step with as much; a clean line leaves a step with far more.
    """
    n = values.size
    edge = max(2, n // 20)
    centred = values - values.mean()
    line = centred - np.polyval(np.polyfit(time_d, centred, 1), time_d)
    total = np.cumsum(centred)[edge - 1 : n - edge]
    left = np.arange(edge, n - edge + 1)
    gained = total**2 * n / (left * (n - left))
    stepped = float(centred @ centred) - float(gained.max())
    return stepped < better * float(line @ line)
