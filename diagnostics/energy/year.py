"""Whose load stands for the year, and what the log leaves open.

Question: is the year's load the log's? Input: log, plant file's profile. Output: a `Year`: the load pattern, a factor
around 1 for what is not covered, and the sentence that says so. Method: hours of the week seen by the log, season.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.energy.load import LoadPattern, profile_pattern
from diagnostics.energy.tariff import hours_of_week_seen
from diagnostics.energy.uncertain import Uncertain, relative
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

_SEASON_SHARE = {True: 0.25, False: 0.10}
"""How far a year's load may lie from a log's (95 %), heated by moisture and heatless by volume: the moisture of
saturated air doubles in 11 to 12 K, volume follows production only (common practice, no published source)."""
_UNSEEN_WEEK_SHARE = 0.30
"""The same for hours of the week that the log does not hold, at none seen (common practice, no published source)."""
_PROFILE_SHARE = 0.10
_DAYS_A_YEAR = 365.0


@dataclass(frozen=True, eq=False)
class Year:
    """Load over the year.

    Attributes
    ----------
    pattern : LoadPattern
    scale : Uncertain
        Factor on the load [-], 1 as its central value.
    source : str
        "profile" or "log".
    note : str
    """

    pattern: LoadPattern
    scale: Uncertain
    source: str
    note: str


def load_over_year(screened: ScreenedLog, plant: Plant, of_log: LoadPattern) -> Year:
    """Take the year's load from the profile, else from the log.

    Parameters
    ----------
    screened : ScreenedLog
    plant : Plant
    of_log : LoadPattern

    Returns
    -------
    Year
    """
    profile = profile_pattern(plant, screened)
    if profile is not None:
        note = f"The year's load is that of the plant file's profile ({len(plant.profile)} blocks)."
        return Year(profile, relative("year load", 1.0, _PROFILE_SHARE), "profile", note)
    days = (screened.log.time_s[-1] - screened.log.time_s[0]) / 86400.0
    seen = hours_of_week_seen(screened)
    season = _SEASON_SHARE[plant.heated] * max(0.0, 1.0 - days / _DAYS_A_YEAR)
    week = _UNSEEN_WEEK_SHARE * (1.0 - seen)
    scale = relative("year load", 1.0, max(float(np.hypot(season, week)), 0.02))
    left_open = "other seasons" if seen > 0.98 else f"{100 * (1.0 - seen):.0f} % of the week's hours and other seasons"
    note = (
        f"The year is reckoned at the log's load for {plant.operation.hours_per_year:,.0f} hours; {left_open} are not"
        " in the log, so the year's figures are wider than the log's. The year's load in blocks, given in the plant"
        " file ([[profile]]), narrows them."
    )
    return Year(of_log, scale, "log", note)
