"""How much load the dryer took up, from instant to instant and half-cycle by half-cycle.

Question: how many nameplate half-cycles at rated load has the bed taken up? Input: a screened log and the plant.
Output: a `Duty`. Loaded water (heatless: loaded volume) is the clock of a bed: a half-cycle at half the load is half as
old at the same time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.bed.reserve import load_ratio
from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.plant import Plant

_UNDER_PRESSURE_BAR = 1.5
_COURSE_POINTS = 400_000
_LEAST_RATIO = 0.02


@dataclass(frozen=True, eq=False)
class Duty:
    """Load against the rating over the log.

    Attributes
    ----------
    time_s : ndarray, shape (m,)
    ratio : ndarray, shape (m,)
        Load over its rating [-]; ones where the load is unknown, so that everything is counted in time.
    loaded : ndarray, shape (m,)
        Load taken up since the first reading, in nameplate half-cycles at rated load [-].
    log_flow : ndarray, shape (m,)
        ln of flow over its mean [-]; noughts where the flow is unknown.
    known : bool
        Whether the load is known.
    """

    time_s: Floats
    ratio: Floats
    loaded: Floats
    log_flow: Floats
    known: bool
    nameplate_s: float

    def loaded_at(self, time_s: Floats | float) -> Floats:
        """Load taken up until an instant; goes on at the mean load before the first and after the last reading."""
        when = np.asarray(time_s, dtype=float)
        inside = np.interp(when, self.time_s, self.loaded)
        outside = when - np.clip(when, self.time_s[0], self.time_s[-1])
        return inside + outside * self.mean / self.nameplate_s

    @property
    def mean(self) -> float:
        """Mean load ratio [-]."""
        return float(self.ratio.mean())

    @property
    def peak(self) -> float:
        """95th percentile of the load ratio [-]."""
        return float(np.percentile(self.ratio, 95))

    @property
    def log_flow_at_peak(self) -> float:
        """ln of flow over its mean, while the load is in its highest tenth [-]."""
        return float(self.log_flow[self.ratio >= np.percentile(self.ratio, 90)].mean())


def duty_of(screened: ScreenedLog, plant: Plant) -> Duty:
    """Load over the log, from channels or typical values.

    Parameters
    ----------
    screened : ScreenedLog
    plant : Plant

    Returns
    -------
    Duty
    """
    time_s = screened.log.time_s
    conditions = screened.conditions
    ratio = load_ratio(conditions, plant)
    flow = conditions.flow_m3_min
    ratio_or_one = np.ones_like(time_s) if ratio is None else np.maximum(ratio, _LEAST_RATIO)
    pressed = conditions.pressure_bar >= _UNDER_PRESSURE_BAR
    if pressed.any() and not pressed.all():
        time_s, ratio_or_one = time_s[pressed], ratio_or_one[pressed]
        flow = None if flow is None else flow[pressed]
    step_s = np.diff(time_s, prepend=time_s[0])
    loaded = np.cumsum(ratio_or_one * step_s) / plant.half_cycle_s
    log_flow = np.zeros_like(time_s)
    if flow is not None and flow.max() > 0:
        log_flow = np.log(np.maximum(flow, 0.02 * flow.max()) / flow.mean())
    thin = max(1, time_s.size // _COURSE_POINTS)
    return Duty(
        time_s[::thin], ratio_or_one[::thin], loaded[::thin], log_flow[::thin], ratio is not None, plant.half_cycle_s
    )
