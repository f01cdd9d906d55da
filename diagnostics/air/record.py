"""What the room of the air hands on: purity and conformity of the used readings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from diagnostics.air.budget import Budget
from diagnostics.estimate import Estimate

Conformity = Literal["pass", "fail", "undecided"]


@dataclass(frozen=True, slots=True)
class Purity:
    """Field names and units are those of the contract's ``purity``; None where the log cannot tell.

    Attributes
    ----------
    p95, p99 : Estimate or None
        The same percentiles with the interval that the length of the log leaves them [degC]; None where it is too short
        to tell. The instrument's uncertainty is not in it.
    class_shares : mapping
        Share of the used readings in each class, "1" to "6" and "none" above +10 degC [-].
    budget : Budget or None
        Standard uncertainties by cause [K].
    """

    standard: str
    purity_class: int | None
    class_low: int | None
    class_high: int | None
    limit_dew_point_c: float
    conformity: Conformity
    conformity_by: str
    p95_dew_point_c: float | None
    p99_dew_point_c: float | None
    max_dew_point_c: float | None
    time_above_limit_share: float | None
    exceedances: int | None
    longest_exceedance_s: float | None
    dew_point_at_use_c: float | None
    frost_reserve_k: float | None
    uncertainty_c: float
    probability_of_conformity: float | None = None
    notes: tuple[str, ...] = ()
    p95: Estimate | None = None
    p99: Estimate | None = None
    class_shares: dict[str, float] = field(default_factory=dict)
    budget: Budget | None = None
