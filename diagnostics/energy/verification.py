"""Whether a change really saved, and how sure that is.

Question: what was saved between a log before and a log after a change? Input: both logs with their half-cycles, the
plant. Output: a `Verification`. Method: a baseline of the quantity on moisture load from the log before, applied to the
load after (IPMVP option B where power or purge were metered, else A: regenerations counted, the air of one estimated);
uncertainty after ASHRAE Guideline 14 with the autocorrelation of the residuals.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from diagnostics.cycle.record import Cycle
from diagnostics.energy.purge import account_purge
from diagnostics.energy.record import Verification
from diagnostics.energy.savings_uncertainty import (
    cv_rmse,
    effective_count,
    fractional_uncertainty,
    lag_one,
    nmbe,
    t_value,
)
from diagnostics.energy.tariff import price_per_kwh
from diagnostics.errors import InputError
from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.moment import say_duration, say_time
from diagnostics.plant import Plant

LEAST_INDEPENDENT = 5.0
"""Independent blocks below which no baseline is believed."""
_LEAST_BLOCKS = 6
_MOST_BLOCKS = 96
PROVEN_AT_68 = 0.5
"""Fractional uncertainty at 68 % confidence below which a saving counts as proven (ASHRAE Guideline 14, as quoted)."""
MOST_CV = 0.30
"""CV(RMSE) of an hourly baseline beyond which it fits poorly (ASHRAE Guideline 14, from memory)."""

_LEAST_SHARE = 0.005
"""Share below which nothing was saved: it would read 0 %."""

Side = tuple[ScreenedLog, Cycle]


@dataclass(frozen=True, eq=False)
class _Blocks:
    """Means over blocks: the quantity, shape (n,), and the moisture load [g/min] or None."""

    value: Floats
    load: Floats | None


@dataclass(frozen=True, eq=False)
class _Baseline:
    """Straight line on load, or the plain mean."""

    level: float
    slope: float
    centre: float
    parameters: int
    fitted: Floats

    def at(self, load: Floats | None, count: int) -> Floats:
        if load is None or self.parameters == 1:
            return np.full(count, self.level)
        return self.level + self.slope * (load - self.centre)


@dataclass(frozen=True, eq=False)
class _Comparison:
    """What was compared, in blocks, with the baseline and the autocorrelation of its residuals."""

    quantity: str
    unit: str
    option: str
    block_s: float
    earlier: _Blocks
    later: _Blocks
    baseline: _Baseline
    rho: float


@dataclass(frozen=True)
class _Saving:
    """Use expected and seen, the share saved, fractional uncertainties at 90 and 68 %, CV(RMSE) and verdict."""

    would: float
    did: float
    share: Estimate
    at_90: float | None
    at_68: float | None
    cv: float
    verdict: Literal["proven", "not_proven", "no_saving"]


def verify(before: Side, after: Side, plant: Plant) -> Verification:
    """Compare a dryer's use before and after a change.

    Parameters
    ----------
    before, after : tuple of (ScreenedLog, Cycle)
    plant : Plant

    Returns
    -------
    Verification

    Raises
    ------
    InputError
        If the logs overlap or come in the wrong order, hold no common quantity, or are too short to prove anything.
    """
    _refuse_overlap(before[0], after[0])
    quantity, unit, option = _common_quantity(before, after)
    block_s = _block_length(before, after, quantity)
    earlier, later = _blocks(before, quantity, block_s), _blocks(after, quantity, block_s)
    _refuse_short(earlier, later, block_s)
    baseline = _fit(earlier, later)
    rho = lag_one(earlier.value - baseline.fitted)
    independent = effective_count(earlier.value.size, rho)
    if independent < LEAST_INDEPENDENT:
        raise InputError(
            f"{before[0].log.source}: its blocks of {say_duration(block_s)} are worth only {independent:.1f}"
            f" independent ones, {LEAST_INDEPENDENT:g} are needed; log longer before the change."
        )
    case = _Comparison(quantity, unit, option, block_s, earlier, later, baseline, rho)
    return _verified(case, _saving(case, before), before, plant)


def _refuse_overlap(before: ScreenedLog, after: ScreenedLog) -> None:
    first, second = before.log, after.log
    if first.sha256 and first.sha256 == second.sha256:
        raise InputError(f"{second.source} holds the same readings as the log before; give one from after the change.")
    if second.time_s[-1] <= first.time_s[0]:
        raise InputError(
            f"{second.source} ends before {first.source} begins; name the log before the change first, then the one"
            " after."
        )
    if second.time_s[0] <= first.time_s[-1]:
        raise InputError(
            f"{first.source} and {second.source} overlap: the first ends {say_time(first.time_s[-1], first.timezone)},"
            f" the second starts {say_time(second.time_s[0], second.timezone)}; cut them at the change."
        )


def _common_quantity(before: Side, after: Side) -> tuple[str, str, str]:
    """What both logs tell, the best evidence first."""
    for channel, quantity, unit in (("purge_flow", "purge flow", "m³/min"), ("power", "power", "kW")):
        if all(_has(side[0], channel) for side in (before, after)):
            return quantity, unit, "B"
    for screened, cycle in (before, after):
        if not cycle.resolved or cycle.complete.empty:
            raise InputError(
                f"{screened.log.source}: no half-cycles were found and neither purge flow nor power is logged in both,"
                " so there is nothing to compare; log at a shorter interval or add one of these."
            )
    return "regenerations", "1/h", "A"


def _has(screened: ScreenedLog, channel: str) -> bool:
    values = screened.log.channels.get(channel)
    return values is not None and bool(np.isfinite(values).mean() > 0.5)


def _block_length(before: Side, after: Side, quantity: str) -> float:
    """Blocks of a day for long logs, else an hour or, metered, whole half-cycles [s]."""
    spans = [side[0].log.time_s[-1] - side[0].log.time_s[0] for side in (before, after)]
    half_cycles = [side[1].half_cycle_s.value for side in (before, after) if side[1].half_cycle_s is not None]
    whole = 0.0 if quantity == "regenerations" else max(half_cycles, default=0.0)
    least = max([3600.0, whole, max(spans) / _MOST_BLOCKS])
    return 86400.0 if min(spans) >= 10 * 86400.0 else float(least)


def _blocks(side: Side, quantity: str, block_s: float) -> _Blocks:
    screened, cycle = side
    log = screened.log
    start, stop = log.time_s[0], log.time_s[-1] + log.interval_s
    value = np.full(log.samples, np.nan)
    if quantity == "regenerations":
        value = _regenerations_per_h(log.time_s, cycle)
        complete = cycle.complete
        start, stop = float(complete["start_s"].min()), float(complete["end_s"].max())
    else:
        value = log.channels["purge_flow" if quantity == "purge flow" else "power"]
    count = max(1, int((stop - start) // block_s))
    place = np.floor((log.time_s - start) / block_s)
    inside = (place >= 0) & (place < count) & np.isfinite(value)
    block = place[inside].astype(np.intp)
    readings = np.bincount(block, minlength=count)
    filled = readings > 0.5 * block_s / max(log.interval_s, 1e-9)
    mean = np.bincount(block, value[inside], count)[filled] / readings[filled]
    moisture = screened.conditions.moisture_load_g_min
    load = None if moisture is None else np.bincount(block, moisture[inside], count)[filled] / readings[filled]
    return _Blocks(mean, load)


def _regenerations_per_h(time_s: Floats, cycle: Cycle) -> Floats:
    """Rate of half-cycles at each reading [1/h]; NaN outside complete ones."""
    complete = cycle.complete
    starts = complete["start_s"].to_numpy(dtype=float)
    ends = complete["end_s"].to_numpy(dtype=float)
    place = np.clip(np.searchsorted(starts, time_s, side="right") - 1, 0, starts.size - 1)
    inside = (time_s >= starts[place]) & (time_s < ends[place])
    return np.where(inside, 3600.0 / np.maximum(ends[place] - starts[place], 1e-9), np.nan)


def _refuse_short(earlier: _Blocks, later: _Blocks, block_s: float) -> None:
    for side, name in ((earlier, "before"), (later, "after")):
        if side.value.size < _LEAST_BLOCKS:
            raise InputError(
                f"The log {name} the change holds {side.value.size} blocks of {say_duration(block_s)}, {_LEAST_BLOCKS}"
                " are needed to tell a saving from chance; log longer."
            )
    if earlier.value.mean() <= 0.0:
        raise InputError("The log before the change shows no use at all, so nothing could be saved.")


def _fit(earlier: _Blocks, later: _Blocks) -> _Baseline:
    """Line on load where load is known on both sides and explains something, else the mean."""
    value, load = earlier.value, earlier.load
    mean = float(value.mean())
    plain = _Baseline(mean, 0.0, 0.0, 1, np.full(value.size, mean))
    if load is None or later.load is None or float(np.ptp(load)) < 0.02 * abs(float(load.mean())):
        return plain
    centred = load - load.mean()
    slope = float(centred @ value / (centred @ centred))
    fitted = mean + slope * centred
    explained = 1.0 - float(np.sum((value - fitted) ** 2)) / max(float(np.sum((value - mean) ** 2)), 1e-300)
    if explained < 4.0 / value.size:
        return plain
    return _Baseline(mean, slope, float(load.mean()), 2, fitted)


def _saving(case: _Comparison, before: Side) -> _Saving:
    """Share saved with its 95 % interval, and the fractional uncertainties."""
    earlier, later, baseline = case.earlier, case.later, case.baseline
    would, did = float(baseline.at(later.load, later.value.size).mean()), float(later.value.mean())
    share = (would - did) / would if would > 0.0 else 0.0
    n, m, p = earlier.value.size, later.value.size, baseline.parameters
    cv = max(cv_rmse(earlier.value, baseline.fitted, p), _resolution(before, case.quantity) / baseline.level)
    # With a saving of 1 the formula gives the uncertainty over the baseline's use instead of over the saving.
    half, at_90, at_68 = (
        fractional_uncertainty(t_value(confidence, n - p), cv, n, case.rho, m, 1.0) for confidence in (0.95, 0.90, 0.68)
    )
    saved = share > _LEAST_SHARE
    verdict: Literal["proven", "not_proven", "no_saving"] = "no_saving"
    if saved:
        verdict = "proven" if at_68 / share < PROVEN_AT_68 and share > half else "not_proven"
    interval = Estimate(share, share - half, share + half)
    return _Saving(
        would, did, interval, at_90 / share if saved else None, at_68 / share if saved else None, cv, verdict
    )


def _verified(case: _Comparison, saving: _Saving, before: Side, plant: Plant) -> Verification:
    earlier, baseline = case.earlier, case.baseline
    energy, cost = _money(saving.share, before, plant, case.quantity, saving.would)
    return Verification(
        quantity=case.quantity,
        unit=case.unit,
        option=case.option,
        before_mean=float(earlier.value.mean()),
        after_mean=saving.did,
        baseline_after=saving.would,
        saved_share=saving.share,
        saved=saving.share.scaled(saving.would),
        fractional_uncertainty=saving.at_90,
        fractional_uncertainty_68=saving.at_68,
        cv_rmse=saving.cv,
        nmbe=round(nmbe(earlier.value, baseline.fitted, baseline.parameters), 9),
        blocks_before=earlier.value.size,
        blocks_after=case.later.value.size,
        block_s=case.block_s,
        effective_blocks=effective_count(earlier.value.size, case.rho),
        load_adjusted=baseline.parameters == 2,
        verdict=saving.verdict,
        statement=_statement(case.quantity, saving),
        energy_saved_kwh_per_year=energy,
        cost_saved_per_year=cost,
        currency=plant.economics.currency,
        notes=_notes(case, saving.cv, plant),
    )


def _resolution(before: Side, quantity: str) -> float:
    """Error of a block that a perfectly regular timer would hide: half a reading's interval in one half-cycle."""
    if quantity != "regenerations":
        return 0.0
    screened, cycle = before
    assert cycle.half_cycle_s is not None
    length = cycle.half_cycle_s.value
    return 3600.0 / length * min(0.5, screened.log.interval_s / length) * 0.29


def _money(
    share: Estimate, before: Side, plant: Plant, quantity: str, would: float
) -> tuple[Estimate | None, Estimate | None]:
    """Energy and cost of the saving over a year, from the purge before the change."""
    price = price_per_kwh(plant)
    if quantity == "power":
        energy: Estimate | None = share.scaled(would * plant.operation.hours_per_year)
    else:
        purge = account_purge(*before, plant)
        energy = None
        if purge.energy_kwh_per_year is not None:
            whole = purge.energy_kwh_per_year.total
            ends = (share.low * (whole.low if share.low > 0 else whole.high), share.high * whole.high)
            energy = Estimate.ordered(share.value * whole.value, *ends)
    return energy, None if energy is None or price is None else energy.scaled(price)


def _statement(quantity: str, saving: _Saving) -> str:
    words = {"purge flow": "purge"}.get(quantity, quantity)
    share = saving.share
    percent = f"{100 * share.value:.0f} % of the {words} ({100 * share.low:.0f} to {100 * share.high:.0f} %)"
    if saving.verdict == "proven":
        return f"Proven: {percent} saved against the baseline."
    if saving.at_68 is not None:
        return (
            f"Not proven: {percent} saved by the figures, but at 68 % confidence the uncertainty is"
            f" {100 * saving.at_68:.0f} % of the saving; log longer on both sides."
        )
    if share.value >= -_LEAST_SHARE:
        return f"No saving: {words} within half a percent of the baseline at the same load."
    return f"No saving: {-100 * share.value:.0f} % more {words} than the baseline at the same load."


def _notes(case: _Comparison, cv: float, plant: Plant) -> tuple[str, ...]:
    metered = f"{case.quantity} was metered."
    counted = "regenerations were counted, the air of one is estimated."
    notes = [f"IPMVP option {case.option}: {metered if case.option == 'B' else counted}"]
    if cv > MOST_CV:
        notes.append(f"The baseline fits poorly: {100 * cv:.0f} % scatter, {100 * MOST_CV:.0f} % is usual at most.")
    earlier, later = case.earlier.load, case.later.load
    if case.baseline.parameters == 1:
        notes.append("The baseline is the plain mean: the load is unknown or explains nothing of the use before.")
    elif earlier is not None and later is not None:
        beyond = np.mean((later < 0.9 * earlier.min()) | (later > 1.1 * earlier.max()))
        if beyond > 0.1:
            notes.append(f"For {100 * beyond:.0f} % of the time after, the load lies outside what the log before saw.")
    if plant.site.air_use in ("medical", "breathing"):
        notes.append("Medical or breathing air: the responsible person decides on any change of the half-cycle.")
    return tuple(notes)
