"""An uncertainty budget: standard uncertainties by cause and their sum."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Budget:
    """Standard uncertainties [K] of a pressure dew point, by cause, and their expanded sum.

    Attributes
    ----------
    probe_k : float
        Of the instrument as stated in the plant file.
    drift_k : float
        Since its calibration; 0 where no date is given.
    pressure_k : float
        Of the line pressure, where the reading had to be brought to it.
    resolution_k : float
        Of the last digit logged.
    """

    probe_k: float
    drift_k: float
    pressure_k: float
    resolution_k: float

    @property
    def standard_k(self) -> float:
        """Combined standard uncertainty [K]."""
        return math.hypot(self.probe_k, self.drift_k, self.pressure_k, self.resolution_k)

    @property
    def expanded_k(self) -> float:
        """Expanded uncertainty U, k = 2 [K]."""
        return 2.0 * self.standard_k
