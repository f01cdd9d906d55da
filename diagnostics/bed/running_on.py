"""How much longer the dryer could have gone on: the true margins of a simulated log, by running the twin on.

Question: when would the leaving air have reached the limit, had the towers not changed over? Inputs: the beds as they
stood at switchovers, and the load that followed. `single_margin` lets one half-cycle run on; `repeatable_s` searches
the longest half-cycle that holds the limit when it is repeated with today's regeneration at the mean load.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from diagnostics.air.humidity import dew_point_c, moisture_fraction
from diagnostics.bed.column import MASS_RATIO, Array, BedState
from diagnostics.bed.steady import steady_state
from diagnostics.bed.twin import Conditions, Outlet, Twin
from diagnostics.bed.vessel import Dryer

if TYPE_CHECKING:
    from diagnostics.bed.simulation import Run

SPIKE_SHARE = 0.25
_MOST_RUN_ON = 6
_FARTHEST = {True: 5.0, False: 48.0}
_FARTHEST_REPEATED = 6.0
_RESOLUTION = 0.04
_LONGEST_STEPS = 2.5
_MOST_CYCLES = {True: 4, False: 400}
_RISE_K = 1.0


@dataclass(frozen=True)
class Standing:
    """The dryer at a switchover: time (epoch s), which tower starts to dry, its beds (A, B) and hardware."""

    at_s: float
    drying: int
    beds: tuple[BedState, BedState]
    dryer: Dryer


def margins_of(run: Run, shown: Array, limit_c: float) -> dict[str, Any]:
    """True margins of a run, JSON-ready; what cannot be told within the search is left out.

    Parameters
    ----------
    run : Run
        With its standings kept.
    shown : array
        Moisture the sensor felt at ``run.time_s``.
    limit_c : float

    Returns
    -------
    dict
        Spans ``[low, high]``: margin_s, sustained_margin_s, extended_half_cycle_s, saved_share, saved_share_uncapped;
        margin_at_least_s where the limit stays out of reach; rise_shows.
    """
    found: dict[str, Any] = {"rise_shows": _rise_shows(run, shown, limit_c)}
    if run.rule == "none" or not run.standings or "stopped_switching" in run.onsets_s:
        return found
    dryer = run.dryer
    if run.rule == "dew_point":
        lengths = np.diff([at for at, _ in run.switchovers])
        if lengths.size:
            saved = 1.0 - dryer.half_cycle_s / float(lengths.mean())
            found["saved_share"] = [saved - 0.02, saved + 0.02]
        return found
    today_s = run.half_cycle_s
    single, reached = _single_s(run, limit_c)
    if reached:
        found["margin_s"] = [single - today_s - 0.02 * single, single - today_s + 0.02 * single]
    else:
        found["margin_at_least_s"] = single - today_s
    # A heated bed that repeats does not hold longer than one that runs on once from today's regeneration.
    most_s = 1.15 * single if dryer.heated else _FARTHEST_REPEATED * dryer.half_cycle_s
    longest = repeatable_s(run.standings[-1].dryer, run.profile.mean(), limit_c, run.step_s, most_s)
    if longest is not None:
        low, high = longest
        found["sustained_margin_s"] = [low - today_s, high - today_s]
        capped = [min(max(x, dryer.shortest_half_cycle_s), dryer.longest_half_cycle_s) for x in longest]
        found["extended_half_cycle_s"] = capped
        found["saved_share"] = [max(0.0, 1.0 - today_s / x) for x in capped]
        found["saved_share_uncapped"] = [max(0.0, 1.0 - today_s / x) for x in longest]
    return found


def _rise_shows(run: Run, shown: Array, limit_c: float) -> bool:
    """Whether half-cycles end a kelvin or more above their middle and within 15 K of the limit."""
    dew = np.asarray(dew_point_c(np.maximum(shown, 1e-9), float(run.profile.pressure_bar.mean())))
    rises, ends = [], []
    for (begin, _), (end, _) in zip(run.switchovers, run.switchovers[1:], strict=False):
        middle = (run.time_s > begin + 0.4 * (end - begin)) & (run.time_s <= begin + 0.6 * (end - begin))
        late = (run.time_s > begin + 0.95 * (end - begin)) & (run.time_s <= end)
        if middle.any() and late.any():
            ends.append(float(np.median(dew[late])))
            rises.append(ends[-1] - float(np.median(dew[middle])))
    return bool(rises and np.median(rises) >= _RISE_K and np.median(ends) > limit_c - 15.0)


def _single_s(run: Run, limit_c: float) -> tuple[float, bool]:
    """Median length of a half-cycle of the weaker tower that runs until the limit, and whether most got there."""
    lengths: dict[int, list[tuple[float, bool]]] = {0: [], 1: []}
    whole = [s for s in run.standings if s.at_s + run.half_cycle_s <= run.end_s]
    for tower in (0, 1):
        own = [s for s in whole if s.drying == tower]
        picked = np.unique(np.linspace(0, len(own) - 1, min(len(own), _MOST_RUN_ON // 2)).round().astype(int))
        lengths[tower] = [_until_limit(run, own[i], limit_c) for i in picked]
    weaker = min((t for t in lengths if lengths[t]), key=lambda t: float(np.median([s for s, _ in lengths[t]])))
    seconds = [s for s, _ in lengths[weaker]]
    return float(np.median(seconds)), bool(np.mean([r for _, r in lengths[weaker]]) > 0.5)


def _until_limit(run: Run, standing: Standing, limit_c: float) -> tuple[float, bool]:
    dryer = standing.dryer
    step_s = run.step_s if dryer.heated else 3.0 * run.step_s
    twin = Twin(dryer, [bed.copy() for bed in standing.beds], drying=standing.drying, step_s=step_s)
    outlet, block_s = Outlet(), 0.02 * run.half_cycle_s if dryer.heated else 0.5 * run.half_cycle_s
    elapsed, before = 0.0, 0.0
    while elapsed < _FARTHEST[dryer.heated] * run.half_cycle_s:
        conditions = run.profile.at(standing.at_s + elapsed)
        limit = float(moisture_fraction(limit_c, conditions.line_pa / 1e5))
        ratio = twin.advance(conditions, block_s, outlet, standing.at_s + elapsed)
        elapsed += block_s
        excess = ratio / (ratio + MASS_RATIO) - limit
        if excess >= 0.0 and elapsed > SPIKE_SHARE * run.half_cycle_s:
            return elapsed - (block_s * excess / (excess - before) if before < 0.0 else 0.0), True
        before = excess
    return elapsed, False


def repeatable_s(
    dryer: Dryer, conditions: Conditions, limit_c: float, step_s: float, most_s: float
) -> tuple[float, float] | None:
    """Bracket of the longest half-cycle that holds the limit when repeated; None where it lies outside the search.

    Parameters
    ----------
    dryer : Dryer
        Its regeneration stays as it is, and a longer half-cycle ends in a wait.
    conditions : Conditions
    limit_c, step_s : float
    most_s : float
        Where the search ends [s].
    """
    limit = float(moisture_fraction(limit_c, conditions.line_pa / 1e5))
    tried: dict[float, tuple[BedState, BedState]] = {}

    def holds(length_s: float) -> bool:
        changed = replace(dryer, half_cycle_s=length_s)
        longer = length_s / dryer.half_cycle_s
        step = 2.0 * step_s if dryer.heated else step_s * float(np.clip(longer, 1.0, _LONGEST_STEPS))
        # A heatless bed settles over thousands of half-cycles, so a trial begins where the nearest one ended.
        near = None if dryer.heated else min(tried, key=lambda other: abs(np.log(other / length_s)), default=None)
        settled = steady_state(
            changed,
            conditions,
            step_s=step,
            tolerance=1e-3,
            most_cycles=_MOST_CYCLES[dryer.heated],
            beds=None if near is None else list(tried[near]),
        )
        tried[length_s] = settled.beds
        twin = Twin(changed, [bed.copy() for bed in settled.beds], step_s=step)
        outlet = Outlet()
        twin.advance(conditions, length_s, outlet, 0.0)
        ends, ratio, _ = outlet.joined()
        late = ends > SPIKE_SHARE * min(length_s, dryer.half_cycle_s)
        return bool(np.max(ratio[late] / (ratio[late] + MASS_RATIO)) < limit)

    least_s = sum(phase.duration_s for phase in dryer.phases)
    low, high = least_s, max(most_s, 1.05 * dryer.half_cycle_s)
    today = holds(dryer.half_cycle_s)
    low, high = (dryer.half_cycle_s, high) if today else (low, dryer.half_cycle_s)
    if holds(high) if today else not holds(low):
        return None
    while high / low > 1.0 + 2.0 * _RESOLUTION:
        middle = float(np.sqrt(low * high))
        if holds(middle):
            low = middle
        else:
            high = middle
    return low, high
