"""Does moisture reach the sample from the room rather than with the air?

Question: is the moisture wet and steady, but the share of neither the load nor the inlet? Input: a `Case`. Output: an
`Ingress`. Method: rise within half-cycles against the level, steadiness, and hourly changes against those of inlet
moisture (a leak past the beds has a slope of 1) and flow (an overloaded bed goes with it). Load and room share the day,
so the flow's own wandering beside its daily wave decides where there is some. Where the room's temperature is logged,
screening judges by that; this is for logs without.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.health.case import Case
from diagnostics.health.leaks import WET_C, inlet_moisture, ripple_of
from diagnostics.health.steps import sigma
from diagnostics.log.record import Floats

_RIPPLE, _STEADY = 0.12, 0.35
_HOUR_S = 3600.0
_FEWEST_HOURS = 12
_LEAST_CHANGE = 0.005
_FOLLOWS_FLOW = 0.5
"""Share of the hourly levels' variance that a bed's answer to load has at least."""
_LEAST_MOVING = 0.03
_SLOW_H = (1.0, 3.0, 8.0, 24.0, 72.0)
_STEEPEST = 8.0
"""Growth of ln moisture with ln load that a bed at the end of its strength may show."""
_RIPPLE_BESIDE_LOAD = 0.2
"""Rise within half-cycles that is allowed where the load is ruled out by itself."""
_RIPPLE_OF_NOTHING = 0.05
_FEWEST_ROWS = 20
_BESIDE_A_DAY = 0.2
"""What a daily wave leaves of the hourly levels, as a share, where nothing but the room's day moves them."""
_FEWEST_FOR_A_WAVE, _TWO_DAYS_H = 18, 48
_FAR_BETTER = 0.25
"""Variance left by the room's day over that left by a slow bed, below which the bed is set aside: what it smooths of an
unsteady load would show beside the wave."""
_EITHER, _NO_FLOW_LOGGED = 0.4, 0.45
"""Confidence where room and bed explain the level alike, and where no flow was logged that a bed would answer."""
_LEAST_WANDER = 0.002
_ANSWERS = 0.7
"""Per cent of moisture for a per cent of flow: a bed near its limit answers severalfold."""


@dataclass(frozen=True, slots=True)
class Ingress:
    """Wet, steady moisture that is not the dryer's.

    Attributes
    ----------
    level_c : float
        Median dew point [degC].
    ripple_share : float
        Rise within half-cycles over the level [-].
    inlet_slope : float or None
        Of ln moisture on ln inlet moisture from hour to hour; None where no inlet temperature was logged.
    flow_share : float or None
        Share of the hourly variance that the flow explains, nought where its own wandering leaves no answer; None
        where no flow was logged.
    confidence : float
    """

    level_c: float
    ripple_share: float
    inlet_slope: float | None
    flow_share: float | None
    confidence: float
    or_slow_bed: bool = False


def find_ingress(case: Case) -> Ingress | None:
    """Whether the sample most likely takes up moisture from the room."""
    used, logged = case.screened.used, case.screened.conditions.logged
    if case.switched_on_dew_point or case.cycle.control == "stopped" or used.sum() < 50:
        return None
    moisture = case.screened.moisture[used]
    level_c = float(np.median(case.screened.dew_point_c[used]))
    ripple = ripple_of(case, case.start_s, moisture)
    if level_c < WET_C or ripple > _RIPPLE_BESIDE_LOAD or sigma(np.log(moisture)) > _STEADY:
        return None
    hourly = _by_the_hour(case, case.screened.moisture)
    if hourly.size < _FEWEST_HOURS:
        return None
    inlet, flow = inlet_moisture(case), case.screened.conditions.flow_m3_min
    inlet_slope = _follows_inlet(_by_the_hour(case, inlet), hourly) if "inlet_temperature" in logged else None
    flow_share, answer = None, None
    if "flow" in logged and flow is not None:
        by_hour = _by_the_hour(case, np.maximum(flow, 1e-3))
        flow_share, answer = _share(by_hour, hourly), _answer(by_hour, hourly)
    if answer is not None:
        flow_share = 0.0 if answer < _ANSWERS else flow_share
    elif ripple > _RIPPLE:
        return None
    if (inlet_slope is not None and inlet_slope > 0.5) or (flow_share is not None and flow_share > _FOLLOWS_FLOW):
        return None
    if flow is None or "flow" not in logged or (inlet_slope is None and flow_share is None):
        resolved = len(case.rows) >= _FEWEST_ROWS and ripple <= _RIPPLE_OF_NOTHING
        sure = 1.0 if resolved else 0.75 if hourly.size >= _TWO_DAYS_H else 0.5
        told = _is_a_day(hourly, sure * _BESIDE_A_DAY)
        return Ingress(level_c, ripple, inlet_slope, None, _NO_FLOW_LOGGED) if told else None
    bed = _through_a_slow_bed(case, hourly)
    if bed > _FOLLOWS_FLOW:
        room_left = _left_of_a_day(hourly) ** 2
        if room_left > _BESIDE_A_DAY**2:
            return None
        if room_left > _FAR_BETTER * (1.0 - bed):
            return Ingress(level_c, ripple, inlet_slope, flow_share, _EITHER, or_slow_bed=True)
    known = inlet_slope is not None
    return Ingress(level_c, ripple, inlet_slope, flow_share, 0.85 if known and flow_share is not None else 0.75)


def _by_the_hour(case: Case, values: Floats | None) -> Floats:
    """Hourly means of a logarithm over the used readings."""
    if values is None:
        return np.empty(0)
    used = case.screened.used
    hour = ((case.screened.log.time_s - case.start_s) // _HOUR_S).astype(np.int64)[used]
    edges = np.flatnonzero(np.r_[True, hour[1:] != hour[:-1]])
    return np.asarray(np.add.reduceat(np.log(values[used]), edges) / np.diff(np.r_[edges, hour.size]))


def _follows_inlet(inlet: Floats, hourly: Floats) -> float | None:
    """Slope on the inlet's moisture; where inlet and room share the day, what the inlet does beside it speaks."""
    slope, own = _slope_of_changes(inlet, hourly), _answer(inlet, hourly, hours=1)
    return slope if slope is None or own is None else min(slope, own)


def _slope_of_changes(cause: Floats, answer: Floats) -> float | None:
    """Slope of hourly changes; None where the cause hardly changes."""
    if cause.size != answer.size:
        return None
    change = np.diff(cause)
    power = float(change @ change)
    if power < change.size * _LEAST_CHANGE**2:
        return None
    return float(change @ np.diff(answer)) / power


def _through_a_slow_bed(case: Case, hourly: Floats) -> float:
    """Share of the hourly levels' variance that load and inlet explain through a bed that answers over hours to days.

    Each cause passes a first-order lag, the state in which the bed entered the log dies away with the same time
    constant, and more load never dries.
    """
    from scipy.optimize import lsq_linear

    conditions = case.screened.conditions
    named = {"flow": conditions.flow_m3_min, "inlet_temperature": inlet_moisture(case)}
    causes = [
        _by_the_hour(case, np.maximum(v, 1e-6)) for k, v in named.items() if v is not None and k in conditions.logged
    ]
    moving = [cause for cause in causes if cause.std() >= _LEAST_MOVING]
    if not moving or hourly.std() <= 0:
        return 0.0
    hours, best = np.arange(hourly.size, dtype=np.float64), 0.0
    bounds = ([-np.inf, -np.inf] + [0.0] * len(moving), [np.inf, np.inf] + [_STEEPEST] * len(moving))
    for slow_h in _SLOW_H:
        columns = [np.ones_like(hourly), np.exp(-hours / slow_h), *(_lagged(cause, slow_h) for cause in moving)]
        design = np.stack(columns, axis=1)
        left = hourly - design @ lsq_linear(design, hourly, bounds).x
        freedom = max(1, hourly.size - design.shape[1])
        best = max(best, 1.0 - float(left @ left) / freedom / float(hourly.var(ddof=1)))
    return best


def _lagged(cause: Floats, slow_h: float) -> Floats:
    # a few hundred hours at most: a loop is done before scipy.signal is imported
    share = 1.0 - float(np.exp(-1.0 / slow_h))
    level, found = float(cause[0]), []
    for value in cause.tolist():
        level = share * value + (1.0 - share) * level
        found.append(level)
    return np.array(found)


def _share(cause: Floats, answer: Floats, hours: int = 8) -> float | None:
    """Largest share of variance that a cause explains, up to some hours late; None where it hardly changes."""
    if cause.std() < 0.03 or answer.std() <= 0:
        return None
    best = 0.0
    for late in range(hours + 1):
        x, y = cause[: cause.size - late], answer[late:]
        r = float(np.corrcoef(x, y)[0, 1])
        best = max(best, r * abs(r))
    return best


def _without_day(values: Floats) -> Floats:
    """Hourly values, a line and a daily wave taken out."""
    day = 2.0 * np.pi * np.arange(values.size) / 24.0
    basis, _ = np.linalg.qr(np.column_stack([np.ones_like(day), day, np.sin(day), np.cos(day)]))
    return np.asarray(values - basis @ (basis.T @ values))


def _left_of_a_day(hourly: Floats) -> float:
    """What a plain daily wave, as of a room, leaves of the hourly levels, as a share of their standard deviation."""
    if hourly.size < _FEWEST_FOR_A_WAVE or hourly.std() <= 0:
        return 1.0
    return float(_without_day(hourly).std()) / float(hourly.std())


def _is_a_day(hourly: Floats, beside: float) -> bool:
    """Whether a plain daily wave is all that moves the level, as in a room."""
    return _left_of_a_day(hourly) < beside


def _answer(cause: Floats, answer: Floats, hours: int = 8) -> float | None:
    """Size of the moisture's answer to the flow's own wandering, a line and a daily wave taken out of both.

    None where the flow hardly wanders by itself.
    """
    if cause.size != answer.size or cause.size < _FEWEST_FOR_A_WAVE:
        return None
    own, left = _without_day(cause), _without_day(answer)
    if own.std() < _LEAST_WANDER:
        return None
    best, size = 0.0, 0.0
    for late in range(min(hours, cause.size // 4) + 1):
        x, y = own[: own.size - late], left[late:]
        product, power = float(x @ y), float(x @ x)
        alike = abs(product) / np.sqrt(max(power * float(y @ y), 1e-300))
        if alike > best:
            best, size = alike, abs(product) / max(power, 1e-300)
    return size
