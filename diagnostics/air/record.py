"""What the room of the air hands on: purity and conformity of the used readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Conformity = Literal["pass", "fail", "undecided"]


@dataclass(frozen=True, slots=True)
class Purity:
    """Field names and units are those of the contract's ``purity``; None where the log cannot tell."""

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
