"""What the room of energy hands on: purge, switching, payback, and the trace of each figure."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from diagnostics.estimate import Estimate
from diagnostics.plant import Assumption


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the trace: how a figure came about."""

    key: str
    value: float | None
    unit: str
    formula: str
    inputs: tuple[tuple[str, float | str, str], ...]
    """Name, value and origin ("plant file", "log", "assumed", "computed") of each input."""
    source: str


@dataclass(frozen=True)
class PurgeEnergy:
    """Energy of regeneration over a year at the meter [kWh]; ``air``, ``heater``, ``blower`` add up to the value."""

    total: Estimate
    air: float
    heater: float
    blower: float


@dataclass(frozen=True)
class Purge:
    """Average over the half-cycle, depressurisation included; fields as in the contract's ``purge``.

    Attributes
    ----------
    depressurisation_m3_min : Estimate or None
        The part of the average that is lost when a vessel is vented.
    nameplate_m3_min : Estimate or None
        What the nameplate says at today's pressure and half-cycle, depressurisation included.
    excess_share : Estimate or None
        Measured or orifice purge over the nameplate's, less 1 [-]; None where the basis is the nameplate itself.
    while_purging_m3_min : Estimate or None
        Flow while the purge is open, without depressurisation.
    least_m3_min : Estimate or None
        Average purge that the purge balance of a heatless dryer needs at rated flow and today's pressures.
    half_cycle_s : float or None
        Mean half-cycle the average was taken over [s].
    kw_per_m3_min : Estimate or None
        Power at the meter that a m3/min of saved air saves.
    power_kw : Estimate or None
        Mean power of regeneration at the meter, air, heater and blower.
    """

    basis: Literal["measured", "orifice", "nameplate", "type_default"]
    average_m3_min: Estimate | None
    share_of_rated: Estimate | None
    share_of_inlet: Estimate | None
    energy_kwh_per_year: PurgeEnergy | None
    cost_per_year: Estimate | None
    depressurisation_m3_min: Estimate | None = None
    nameplate_m3_min: Estimate | None = None
    trace: tuple[Step, ...] = ()
    notes: tuple[str, ...] = ()
    excess_share: Estimate | None = None
    while_purging_m3_min: Estimate | None = None
    least_m3_min: Estimate | None = None
    half_cycle_s: float | None = None
    kw_per_m3_min: Estimate | None = None
    power_kw: Estimate | None = None
    assumptions: tuple[Assumption, ...] = ()


@dataclass(frozen=True)
class SwitchingFigures:
    """The figures that stand once as the central case and once as the cautious one."""

    half_cycle_s: Estimate | None
    regenerations_saved_share: Estimate | None
    purge_saved_m3_min: Estimate | None
    energy_saved_kwh_per_year: Estimate | None
    cost_saved_per_year: Estimate | None
    co2_saved_kg_per_year: Estimate | None


@dataclass(frozen=True)
class Switching:
    """What switching on dew point would change; ``figures`` is the central case.

    Attributes
    ----------
    uncapped_saved_share : Estimate or None
        Share of the regenerations saved if no longest half-cycle stood in the way, over the log's load.
    time_at_longest_share : float or None
        Part of the log's time in which the longest half-cycle binds.
    year_from : str
        "profile" or "log": whose load stands for the year.
    power_saved_at_peak_kw : Estimate or None
        Power saved at the 95th percentile of load, which is what a demand charge sees.
    drivers : tuple of (str, float, float)
        Input, and the kWh saved a year at its low and its high end; the most telling first.
    price_per_kwh : float or None
        Mean price at the hours in which it is saved.
    """

    figures: SwitchingFigures
    cautious: SwitchingFigures
    limited_by: Literal["dew_point", "longest_half_cycle", "none_possible", "air_use"]
    already_saved_share: Estimate | None = None
    trace: tuple[Step, ...] = ()
    notes: tuple[str, ...] = ()
    uncapped_saved_share: Estimate | None = None
    time_at_longest_share: float | None = None
    year_from: str = "log"
    power_saved_at_peak_kw: Estimate | None = None
    drivers: tuple[tuple[str, float, float], ...] = ()
    price_per_kwh: float | None = None
    assumptions: tuple[Assumption, ...] = ()


@dataclass(frozen=True)
class Payback:
    """The investment case; ``cash_flow`` is (year, cumulative net amount) from year 0."""

    retrofit_cost: float | None
    simple_payback_years: Estimate | None
    npv: Estimate | None
    irr: Estimate | None
    currency: str
    discounted_payback_years: Estimate | None = None
    cash_flow: tuple[tuple[int, float], ...] = ()
    sensitivity: tuple[tuple[str, float, float], ...] = ()
    """Input, and the NPV at its low and its high end; the most telling first."""
    probability_pays: dict[int, float] = field(default_factory=dict)
    trace: tuple[Step, ...] = ()
    notes: tuple[str, ...] = ()
    net_saving_per_year: Estimate | None = None
    cost_per_saved_kwh: float | None = None
    assumptions: tuple[Assumption, ...] = ()


@dataclass(frozen=True)
class Lever:
    """One thing to do, and what it saves by itself.

    ``needs_switching`` marks a lever that only works on top of switching on dew point: its saving is what it adds.
    """

    key: str
    sentence: str
    energy_saved_kwh_per_year: Estimate
    cost_saved_per_year: Estimate | None
    needs_switching: bool = False
    caution: str = ""


@dataclass(frozen=True)
class Levers:
    """Levers side by side and together.

    ``together_kwh_per_year`` is all of them at once; ``overlap_kwh_per_year`` is by how much their plain sum would
    overstate that.
    """

    levers: tuple[Lever, ...]
    together_kwh_per_year: Estimate | None
    overlap_kwh_per_year: float | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Verification:
    """Savings achieved between two logs of one dryer, baseline adjusted to the load afterwards.

    Attributes
    ----------
    quantity, unit : str
        What was compared: "power" [kW], "purge flow" [m3/min] or "regenerations" [1/h].
    option : str
        IPMVP option: "B" where the quantity was metered, "A" where it was counted and the rest estimated.
    before_mean, after_mean, baseline_after : float
        Means of the quantity; the baseline's is what the dryer would have used at the load afterwards.
    saved_share : Estimate
        Saving over that baseline [-], 95 %.
    saved : Estimate
        Saving in the quantity's unit, 95 %.
    fractional_uncertainty : float or None
        At 90 % confidence, share of the saving (ASHRAE Guideline 14); None where nothing was saved.
    fractional_uncertainty_68 : float or None
        The same at 68 %, the one the guideline bounds by 0.5.
    cv_rmse, nmbe : float
        Of the baseline model [-].
    blocks_before, blocks_after : int
    block_s : float
        Length of the blocks that were averaged [s].
    effective_blocks : float
        Blocks before, less what their autocorrelation takes.
    load_adjusted : bool
        Whether the baseline follows the moisture load.
    verdict : str
        "proven", "not_proven" or "no_saving".
    statement : str
    """

    quantity: str
    unit: str
    option: str
    before_mean: float
    after_mean: float
    baseline_after: float
    saved_share: Estimate
    saved: Estimate
    fractional_uncertainty: float | None
    fractional_uncertainty_68: float | None
    cv_rmse: float
    nmbe: float
    blocks_before: int
    blocks_after: int
    block_s: float
    effective_blocks: float
    load_adjusted: bool
    verdict: Literal["proven", "not_proven", "no_saving"]
    statement: str
    energy_saved_kwh_per_year: Estimate | None = None
    cost_saved_per_year: Estimate | None = None
    currency: str = ""
    notes: tuple[str, ...] = ()
