"""The diagnosis document's shape: one model that checks what is written and publishes its JSON Schema.

Keys, units and meaning are the outside contract: keys may be added, never renamed, never given another unit.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

SCHEMA_NAME = "dewswing/diagnosis/1"
_NO_INTERVAL_ROBUST = (
    "Median of the slopes between pairs of peaks [K/d]: a check on the trend's sign. No interval: one from ranks takes"
    " peaks as independent, which they are not, and would be too narrow; peak_dew_point_c_per_day has one."
)
_NO_INTERVAL_LOAD = (
    "No interval: it follows from flow, pressure and inlet temperature as logged or given, and nobody states the errors"
    " of those."
)


class Part(BaseModel):
    """A part of the document."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True, serialize_by_alias=True, allow_inf_nan=False)


class EstimatePart(Part):
    """A value with its 95 % interval."""

    value: float
    low: float
    high: float


class PurgeEnergyPart(EstimatePart):
    """Energy over a year at the meter [kWh], split by what uses it."""

    air: float
    heater: float
    blower: float


Maybe = EstimatePart | None


class ColumnPart(Part):
    """Where a channel came from."""

    header: str
    unit: str


class ExclusionPart(Part):
    """A stretch set aside."""

    start: str
    end: str
    reason: Literal["settling", "removal", "gap", "frozen", "range_end", "implausible", "stagnant", "clock_jump"]


class LogPart(Part):
    """What was read and what was set aside."""

    source: str
    start: str
    end: str
    duration_h: float
    interval_s: float
    samples: int
    used_samples: int
    columns: dict[str, ColumnPart]
    statistics: dict[str, dict[str, float]]
    used_statistics: dict[str, dict[str, float]]
    excluded: list[ExclusionPart]
    sha256: str


class InstrumentPart(Part):
    """What the probe and its line did to the trace."""

    time_constant_s: dict[str, EstimatePart]
    peak_lowered_c: Maybe
    uncertainty_c: float


class SpreadPart(Part):
    """5th and 95th percentile over complete half-cycles."""

    p05: float
    p95: float


class ControlSpanPart(Part):
    """A stretch that obeys one kind of control."""

    start: str
    end: str
    control: Literal["fixed", "dew_point", "stopped", "unresolved"]


class TowerPart(Part):
    """Medians over one tower's complete half-cycles."""

    half_cycle_s: float | None
    peak_dew_point_c: float | None
    floor_dew_point_c: float | None
    half_cycles: int


class HalfCyclePart(Part):
    """One half-cycle; ``start`` is the switchover."""

    index: int
    start: str
    end: str
    tower: Literal["A", "B"] | None
    complete: bool
    peak_dew_point_c: float | None
    floor_dew_point_c: float | None
    end_dew_point_c: float | None
    mean_dew_point_c: float | None
    spike_dew_point_c: float | None


class PhasePart(Part):
    """What one tower does over a stretch of time."""

    start: str
    end: str
    tower: Literal["A", "B"]
    state: Literal["drying", "depressurising", "regenerating", "cooling", "repressurising", "standby"]


class CyclePart(Part):
    """The towers' rhythm."""

    control: Literal["fixed", "dew_point", "stopped", "unresolved"]
    control_spans: list[ControlSpanPart]
    resolved: bool
    half_cycle_s: Maybe
    half_cycle_spread_s: SpreadPart | None
    counted_in: Literal["clock_time", "running_time"]
    false_alarm_probability: float | None
    readings_per_half_cycle: float | None
    set_point_c: Maybe
    stopped: str | None
    towers: dict[str, TowerPart]
    half_cycles: list[HalfCyclePart]
    phases: list[PhasePart]


class BudgetPart(Part):
    """Standard uncertainties of the pressure dew point by cause, their root sum of squares and U at k = 2 [K]."""

    probe_k: float
    drift_k: float
    pressure_k: float
    resolution_k: float
    standard_k: float
    expanded_k: float


class PurityPart(Part):
    """Purity class and conformity with the limit."""

    standard: str
    purity_class: int | None = Field(alias="class")
    class_low: int | None
    class_high: int | None
    limit_dew_point_c: float
    conformity: Literal["pass", "fail", "undecided"] | None
    conformity_by: Literal["p95", "longest_exceedance", "maximum"]
    probability_of_conformity: float | None
    p95_dew_point_c: float | None
    p99_dew_point_c: float | None
    max_dew_point_c: float | None
    time_above_limit_share: float | None
    exceedances: int | None
    longest_exceedance_s: float | None
    dew_point_at_use_c: float | None
    frost_reserve_k: float | None
    p95_estimate_c: Maybe
    p99_estimate_c: Maybe
    class_shares: dict[str, float]
    budget: BudgetPart | None


class TrendPart(Part):
    """Trend of half-cycle peaks at equal load."""

    peak_dew_point_c_per_day: Maybe
    load_adjusted: bool
    verdict: Literal["rising", "steady", "falling", "too_short"]
    days_to_limit: Maybe
    raw_c_per_day: Maybe
    robust_c_per_day: float | None = Field(description=_NO_INTERVAL_ROBUST)
    explained_by: list[str]
    per_tower: dict[str, EstimatePart]


class BreakthroughPart(Part):
    """How far the weaker tower is from breakthrough."""

    limit_dew_point_c: float
    reached: bool | None
    censored: bool
    margin_s: Maybe
    margin_share: Maybe
    sustained_margin_s: Maybe
    margin_at_peak_load_s: Maybe
    recommended_half_cycle_s: float | None
    method: str
    reserve: Maybe
    reserve_from: str
    load_ratio: float | None = Field(description=f"Mean load over the rating [-]. {_NO_INTERVAL_LOAD}")
    peak_load_ratio: float | None = Field(
        description=f"95th percentile of the load over the rating [-]. {_NO_INTERVAL_LOAD}"
    )
    rise_c: float | None
    weaker_tower: str | None


class PurgePart(Part):
    """What regeneration takes."""

    basis: Literal["measured", "orifice", "nameplate", "type_default"]
    average_m3_min: Maybe
    share_of_rated: Maybe
    share_of_inlet: Maybe
    depressurisation_m3_min: Maybe
    nameplate_m3_min: Maybe
    excess_share: Maybe
    while_purging_m3_min: Maybe
    least_m3_min: Maybe
    half_cycle_s: float | None
    kw_per_m3_min: Maybe
    power_kw: Maybe
    energy_kwh_per_year: PurgeEnergyPart | None
    cost_per_year: Maybe


class SwitchingFiguresPart(Part):
    """What switching on dew point would change."""

    half_cycle_s: Maybe
    regenerations_saved_share: Maybe
    purge_saved_m3_min: Maybe
    energy_saved_kwh_per_year: Maybe
    cost_saved_per_year: Maybe
    co2_saved_kg_per_year: Maybe


class SwitchingPart(SwitchingFiguresPart):
    """The central case, with the cautious one beside it."""

    limited_by: Literal["dew_point", "longest_half_cycle", "none_possible", "air_use"]
    already_saved_share: Maybe
    uncapped_saved_share: Maybe
    time_at_longest_share: float | None
    year_from: str
    power_saved_at_peak_kw: Maybe
    price_per_kwh: float | None
    drivers: list[tuple[str, float, float]] = Field(
        description="Input, and the kWh saved a year at its low and its high end; the most telling first"
    )
    cautious: SwitchingFiguresPart


class PaybackPart(Part):
    """The investment case."""

    retrofit_cost: float | None
    simple_payback_years: Maybe
    discounted_payback_years: Maybe
    npv: Maybe
    irr: Maybe
    currency: str
    cash_flow: list[tuple[int, float]]
    sensitivity: list[tuple[str, float, float]]
    probability_pays: dict[str, float]
    net_saving_per_year: Maybe
    cost_per_saved_kwh: float | None


class LeverPart(Part):
    """One thing to do and what it saves by itself; ``needs_switching``: what it adds on top of switching."""

    key: str
    sentence: str
    energy_saved_kwh_per_year: EstimatePart
    cost_saved_per_year: Maybe
    needs_switching: bool
    caution: str


class LeversPart(Part):
    """Levers side by side and together; the plain sum overstates the total by ``overlap_kwh_per_year``."""

    levers: list[LeverPart]
    together_kwh_per_year: Maybe
    overlap_kwh_per_year: float | None
    notes: list[str]


class FindingPart(Part):
    """What was seen, what it means, what to do."""

    code: str
    severity: Literal["critical", "warning", "info"]
    confidence: float = Field(ge=0, le=1)
    start: str | None
    end: str | None
    tower: Literal["A", "B"] | None
    statement: str
    evidence: list[str]
    other_causes: list[str]
    action: str
    caution: str


class AssumptionPart(Part):
    """A value nobody gave, and why it was taken."""

    key: str
    value: float | str | None
    why: str


class StepPart(Part):
    """How one figure came about."""

    key: str
    value: float | None
    unit: str
    formula: str
    inputs: list[tuple[str, float | str, str]]
    source: str


class DiagnosisDocument(Part):
    """The whole diagnosis document."""

    schema_name: Literal["dewswing/diagnosis/1"] = Field(alias="schema")
    version: str
    site: str | None
    air_use: str
    log: LogPart
    instrument: InstrumentPart
    cycle: CyclePart
    purity: PurityPart
    trend: TrendPart
    breakthrough: BreakthroughPart
    purge: PurgePart
    switching: SwitchingPart
    payback: PaybackPart
    levers: LeversPart
    findings: list[FindingPart]
    notes: list[str]
    assumptions: list[AssumptionPart]
    trace: list[StepPart]


def json_schema() -> dict[str, Any]:
    """JSON Schema of the diagnosis document, as ``dewswing diagnose --schema`` prints it."""
    return DiagnosisDocument.model_json_schema(by_alias=True, mode="serialization")
