"""How the level of a dryer's air may move over a day while a probe dries down.

Question: which slow changes belong to the dryer, and how large are they commonly? Input: times and, where logged, the
load. Output: `LevelCourse`, columns for a linear law of the logarithm of moisture with a prior for each. A day's load
comes back after 24 h (three harmonics); a dryer answers its load at once and over hours; one that had another load
before the log began creeps to its balance within hours, which only shows apart from a slow tail where the towers'
ripple tells the level.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.log.record import Floats

_DAY_S = 86_400.0
_LAGS_S = (0.0, 5_400.0, 14_400.0)
_CREEPS_S = (7_200.0, 14_400.0)
_TOLD = (0.6, 1.5, 0.2)
_UNTOLD = (0.1, 0.2, 0.0)
"""Usual size of the day's wave [ln moisture], of the answer to the load [-], of a creep [ln moisture]: wide where the
ripple's size tells the level, narrow where a slow tail must not be taken for the dryer's (common practice, no published
source)."""


@dataclass(frozen=True)
class LevelCourse:
    """Columns of the law at the bins, and the precision of each coefficient's prior (mean 0; none for the level)."""

    time_s: Floats
    columns: Floats
    precision: Floats

    def at(self, time_s: Floats) -> Floats:
        """Columns at other times [s], shape (m, p)."""
        return np.column_stack([np.interp(time_s, self.time_s, column) for column in self.columns.T])


def level_course(time_s: Floats, drive: Floats | None, *, told: bool) -> LevelCourse:
    """Columns for the level.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Bins, ascending [s].
    drive : ndarray, shape (n,), or None
        Logarithm of the load over its usual one.
    told : bool
        Whether the towers' ripple tells the level.
    """
    wave, answer, creep = _TOLD if told else _UNTOLD
    columns, sizes = [np.ones_like(time_s)], [np.inf]
    for harmonic in (1, 2, 3):
        angle = 2.0 * np.pi * harmonic * time_s / _DAY_S
        columns += [np.cos(angle), np.sin(angle)]
        sizes += 2 * [wave / harmonic]
    if creep > 0.0:
        columns += [np.exp(-time_s / constant) for constant in _CREEPS_S]
        sizes += len(_CREEPS_S) * [creep]
    if drive is not None and float(np.ptp(drive)) > 0.02:
        columns += [_lagged(time_s, drive, lag) for lag in _LAGS_S]
        sizes += len(_LAGS_S) * [answer]
    return LevelCourse(time_s, np.column_stack(columns), 1.0 / np.array(sizes) ** 2)


def _lagged(time_s: Floats, drive: Floats, lag_s: float) -> Floats:
    """First-order answer to the drive."""
    if lag_s == 0.0:
        return drive
    pull = 1.0 - np.exp(-np.diff(time_s) / lag_s)
    answer = drive.copy()
    for i in range(1, answer.size):
        answer[i] = answer[i - 1] + pull[i - 1] * (drive[i] - answer[i - 1])
    return answer
