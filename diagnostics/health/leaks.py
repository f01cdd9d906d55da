"""Does a constant share of wet air reach the outlet past the beds?

Question: is the moisture a constant share of the inlet's, since when, and how sure is that? Input: a `Case` and its
`Levels`. Output: a `Leak`. Method: steadiness of share and moisture, rise within half-cycles against the level, and
what the moisture follows: the inlet by the day and by the half hour, the flow not at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.health.case import Case
from diagnostics.health.levels import Levels
from diagnostics.health.slugs import sudden_rise
from diagnostics.health.steps import sigma
from diagnostics.log.record import Flags, Floats


@dataclass(frozen=True)
class Leak:
    """A wet share of the inlet air in the outlet."""

    start_s: float
    share: float
    share_spread: float
    level_c: float
    ripple_share: float
    follows_inlet: float | None
    confidence: float


WET_C = -55.0
"""Drier than this a share of a few parts per million could as well be the beds' own."""
_SATURATED = 0.2
"""Beyond this share no bed dries at all: that is no leak but a tower that was never switched over."""
_STEADY = 0.15
_RIPPLE_OF_A_LEAK = 0.12
_RIPPLE_OF_NOTHING_ELSE = 0.035
"""Asked for where no channel speaks for a leak."""
EITHER = 0.45
"""Confidence without a channel: a heatless bed at the end of its strength may show as little rise as a leak."""


def find_leak(case: Case, levels: Levels) -> Leak | None:
    """Whether a wet share stays the same whichever tower dries, over the log or from some time on."""
    inlet = inlet_moisture(case)
    if inlet is None or case.switched_on_dew_point:
        return None
    start_s = _onset(levels)
    used = case.screened.used & (case.screened.log.time_s >= start_s)
    if used.sum() < 50:
        return None
    moisture, inlet = case.screened.moisture[used], inlet[used]
    share = moisture / inlet
    middle, middle_share = float(np.median(case.screened.dew_point_c[used])), float(np.median(share))
    if middle < WET_C or middle_share > _SATURATED:
        return None
    spread = min(sigma(np.log(share)), sigma(np.log(moisture)))
    ripple = ripple_of(case, start_s, share)
    if spread > _STEADY or ripple > _RIPPLE_OF_A_LEAK:
        return None
    follows = _slope(np.log(inlet), np.log(moisture))
    confidence = _confidence_of_leak(case, used, follows, ripple, opened=start_s > levels.start_s[0])
    if confidence is None:
        return None
    if start_s > levels.start_s[0]:
        start_s = _first_wet_s(case, levels, start_s)
    return Leak(start_s, middle_share, spread, middle, ripple, follows, confidence)


def _confidence_of_leak(case: Case, used: Flags, follows: float | None, ripple: float, *, opened: bool) -> float | None:
    """From what tells a leak from an overloaded or worn dryer; None where nothing does."""
    if opened:
        return 0.9
    if follows is not None:
        return 0.92 if 0.5 < follows < 1.7 and _follows_by_the_hour(case, used) else None
    flow = case.screened.conditions.flow_m3_min
    if flow is None or "flow" not in case.screened.conditions.logged:
        return EITHER if ripple <= _RIPPLE_OF_NOTHING_ELSE and len(case.rows) else None
    known = used & (flow > 0)
    against_flow = _slope(np.log(flow[known]), np.log(case.screened.moisture[known])) if known.any() else None
    return 0.75 if against_flow is not None and abs(against_flow) < 0.3 else None


def _follows_by_the_hour(case: Case, used: Flags) -> bool:
    """Whether changes from one half hour to the next follow the inlet too; a daily wave alone may be the room's."""
    inlet = inlet_moisture(case)
    if inlet is None:
        return False
    block = ((case.screened.log.time_s - case.start_s) // 1800.0).astype(np.int64)[used]
    edges = np.flatnonzero(np.r_[True, block[1:] != block[:-1]])
    counts = np.diff(np.r_[edges, block.size])
    cause, moisture = (np.add.reduceat(np.log(v[used]), edges) / counts for v in (inlet, case.screened.moisture))
    if edges.size < 12 or float(np.diff(cause).std()) < 0.005:
        return True
    change, answer = np.diff(cause), np.diff(moisture)
    slope = float(change @ answer / (change @ change))
    # the spikes of a heated dryer's switchovers drown the answer: what cannot be told does not speak against it
    left = answer - slope * change
    reach = 2.0 * float(np.sqrt(left @ left / (left.size - 1) / (change @ change)))
    return slope + reach > 0.5 and slope - reach < 1.7


def inlet_moisture(case: Case) -> Floats | None:
    conditions, operation = case.screened.conditions, case.plant.operation
    wettest = conditions.inlet_temperature_c
    if operation.inlet_dew_point_c is not None:
        dew_point = np.full(conditions.pressure_bar.size, operation.inlet_dew_point_c)
        wettest = dew_point if wettest is None else np.minimum(dew_point, wettest)
    if wettest is None:
        wettest = np.full(conditions.pressure_bar.size, case.plant.dryer.rated_inlet_temperature_c)
    if not np.isfinite(wettest).all():
        return None
    return moisture_fraction(np.clip(wettest, -40.0, 80.0), np.maximum(conditions.pressure_bar, 1.0))


def _onset(levels: Levels) -> float:
    """Instant of a sudden rise that lasts; else the log's start."""
    rise = sudden_rise(levels)
    if rise is None:
        return float(levels.start_s[0])
    k, width, _ = rise
    values = levels.corrected_c
    before = float(np.median(values[:k]))
    after = values[k + 1 :]
    lasts = after.size >= width and (after > before + 0.5 * (float(np.median(after)) - before)).mean() > 0.9
    return float(levels.start_s[k] + levels.block_s) if lasts else float(levels.start_s[0])


def _first_wet_s(case: Case, levels: Levels, start_s: float) -> float:
    """Reading near the step from which on the air is nearer to the level after it than to the one before."""
    time_s, used, values = case.screened.log.time_s, case.screened.used, case.screened.dew_point_c
    reach_s = 5.0 * levels.block_s
    before, after = used & (time_s < start_s - reach_s), used & (time_s > start_s + reach_s)
    near = used & (time_s >= start_s - reach_s) & (time_s <= start_s + reach_s)
    if not (before.any() and after.any() and near.any()):
        return start_s
    wet_c = float(np.median(values[before])) + 0.5 * float(np.median(values[after]) - np.median(values[before]))
    dry = np.flatnonzero(near & (values <= wet_c))
    later = np.flatnonzero(near)
    later = later[later > dry[-1]] if dry.size else later
    return float(time_s[later[0]]) if later.size else start_s


def ripple_of(case: Case, start_s: float, share: Floats) -> float:
    """Rise within half-cycles as a share of the level; without half-cycles the readings' own scatter."""
    rows = case.rows[case.rows["start_s"] >= start_s] if len(case.rows) else case.rows
    if len(rows) >= 4:
        pressure = float(np.median(case.screened.conditions.pressure_bar))
        peak = moisture_fraction(rows["peak_dew_point_c"].to_numpy(float), pressure)
        floor = moisture_fraction(rows["floor_dew_point_c"].to_numpy(float), pressure)
        return float(np.median((peak - floor) / np.sqrt(peak * floor)))
    return sigma(share) / float(np.median(share))


def _slope(cause: Floats, moisture: Floats) -> float | None:
    """Slope of ln moisture on the logarithm of a cause; None where the cause hardly changes."""
    if cause.std() < 0.03:
        return None
    centred = cause - cause.mean()
    return float(centred @ (moisture - moisture.mean()) / (centred @ centred))
