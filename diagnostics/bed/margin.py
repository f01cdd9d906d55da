"""What the two kinds of dryer are asked, and what they answer."""

from __future__ import annotations

from dataclasses import dataclass

from diagnostics.bed.duty import Duty
from diagnostics.cycle.record import Cycle
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

SHOWS_K = 1.0
"""A rise within half-cycles from which on the log, not the rating, decides [K]."""


@dataclass(frozen=True, eq=False)
class Question:
    """A log with half-cycles, and what is known of the limit.

    Attributes
    ----------
    limit_moisture : float
        Mole fraction of water at the limit [mol/mol].
    today_s : float
        Half-cycle of the log [s].
    rise_c : float or None
        Median rise within half-cycles [K].
    limit_deviation : float
        Standard uncertainty of the instrument at the limit, in ln moisture [-].
    reached : bool
        Whether the limit was reached inside more than a twentieth of the half-cycles.
    """

    screened: ScreenedLog
    cycle: Cycle
    plant: Plant
    duty: Duty
    limit_moisture: float
    today_s: float
    rise_c: float | None
    limit_deviation: float
    reached: bool

    @property
    def rise_shows(self) -> bool:
        """Whether half-cycles rise enough, or reach the limit often enough, for the log to decide."""
        return self.reached or (self.rise_c is not None and self.rise_c >= SHOWS_K)


@dataclass(frozen=True, eq=False)
class Margin:
    """Margins of the weaker tower [s] and the reserve behind them, in nameplate half-cycles at rated load [-]."""

    single_s: Estimate | None
    sustained_s: Estimate | None
    at_peak_s: Estimate | None
    reserve: Estimate | None
    censored: bool
    method: str
    weaker_tower: str | None = None
    notes: tuple[str, ...] = ()


def repeatable_s(reserve: Estimate, load_ratio: float, question: Question) -> Estimate:
    """Margin of a half-cycle that uses up ``reserve`` at ``load_ratio`` [s]."""
    scale = question.plant.half_cycle_s / load_ratio
    return reserve.map(lambda held: held * scale - question.today_s)
