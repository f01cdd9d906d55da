"""What the room of the bed hands on: how far the weaker tower is from breakthrough."""

from __future__ import annotations

from dataclasses import dataclass

from diagnostics.estimate import Estimate


@dataclass(frozen=True)
class Breakthrough:
    """Margins as the contract defines them [s], and the reserve that switching builds on.

    Attributes
    ----------
    reserve : Estimate or None
        Half-cycle the dryer can repeat at rated load before the limit, as a multiple of the nameplate's half-cycle
        [-]: 1 means it just holds. Load is actual volume flow for heatless dryers, moisture load for heated ones.
        From the log where a rise shows, else from the prior 1.0 to 1.5.
    reserve_from : str
        "log" or "prior".
    load_ratio : float or None
        Mean load over the used log against the rating, in the same sense [-].
    peak_load_ratio : float or None
        The 95th percentile of it.
    rise_c : float or None
        Median rise from floor to end within half-cycles [K].
    """

    limit_dew_point_c: float
    reached: bool | None
    censored: bool
    margin_s: Estimate | None
    margin_share: Estimate | None
    sustained_margin_s: Estimate | None
    margin_at_peak_load_s: Estimate | None
    recommended_half_cycle_s: float | None
    method: str
    reserve: Estimate | None = None
    reserve_from: str = "prior"
    load_ratio: float | None = None
    peak_load_ratio: float | None = None
    rise_c: float | None = None
    weaker_tower: str | None = None
    notes: tuple[str, ...] = ()
