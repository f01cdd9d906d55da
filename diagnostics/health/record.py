"""What the room of health hands on: the trend of the peaks and the findings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from diagnostics.estimate import Estimate

Verdict = Literal["rising", "steady", "falling", "too_short"]
Severity = Literal["critical", "warning", "info"]


@dataclass(frozen=True)
class Trend:
    """Trend of the half-cycle peaks at equal load, both towers together.

    ``days_to_limit`` is from the end of the log; ``explained_by`` names the covariates that account for a raw rise;
    ``per_tower`` holds the slope of each tower [K/day].
    """

    peak_dew_point_c_per_day: Estimate | None
    load_adjusted: bool
    verdict: Verdict
    days_to_limit: Estimate | None
    raw_c_per_day: Estimate | None = None
    robust_c_per_day: float | None = None
    explained_by: tuple[str, ...] = ()
    per_tower: dict[str, Estimate] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """What was seen, what it most likely is, what else it could be, what to check next, how sure, and the caution."""

    code: str
    severity: Severity
    confidence: float
    start_s: float | None
    end_s: float | None
    tower: str | None
    statement: str
    evidence: tuple[str, ...]
    other_causes: tuple[str, ...]
    action: str
    caution: str
