"""What switching on dew point instead of by timer would save, over the log and over the year.

Question: how long could the half-cycles last, how many regenerations go, what is that worth? Input: cycle,
breakthrough, purge, plant. Output: a `Switching`. Method: the repeatable half-cycle at each load is reserve x
nameplate half-cycle / load ratio, plus detection, held between the shortest and the longest; regenerations are counted
over the time at each load; every input's interval is carried through.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.bed.record import Breakthrough
from diagnostics.cycle.record import Cycle
from diagnostics.energy.load import LoadPattern, log_pattern, profile_pattern
from diagnostics.energy.purge import mean_half_cycle_s
from diagnostics.energy.record import Purge, Step, Switching, SwitchingFigures
from diagnostics.energy.tariff import price_per_kwh
from diagnostics.energy.uncertain import Floats, Uncertain, known, relative, uncertain
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

DETECTION_S = {True: 60.0, False: 20.0}
"""From the limit reached to the switchover, heated and heatless [s]."""
NOTHING = SwitchingFigures(None, None, None, None, None, None)


@dataclass(frozen=True, eq=False)
class _Bounds:
    today_s: float
    shortest_s: float
    longest_s: float
    detection_s: float


def switch_on_dew_point(
    screened: ScreenedLog, cycle: Cycle, breakthrough: Breakthrough, purge: Purge, plant: Plant
) -> Switching:
    """Savings of dew-point-dependent switching against the timer.

    Parameters
    ----------
    screened : ScreenedLog
    cycle : Cycle
    breakthrough : Breakthrough
    purge : Purge
    plant : Plant

    Returns
    -------
    Switching
    """
    if plant.site.air_use in ("medical", "breathing"):
        note = (
            f"{plant.site.air_use.capitalize()} air: no longer half-cycle and no saving is offered; the responsible"
            " person decides."
        )
        return Switching(NOTHING, NOTHING, "air_use", notes=(note,))
    bounds = _bounds(cycle, plant)
    if cycle.control == "dew_point":
        return _already(cycle, plant, bounds)
    pattern = log_pattern(screened, plant, bounds.today_s)
    reserve = breakthrough.reserve
    if pattern is None or reserve is None:
        note = "Flow, inlet temperature or rating is unknown, so the load and with it the saving cannot be told."
        return Switching(NOTHING, NOTHING, "none_possible", notes=(note,))
    held = uncertain("reserve", reserve) * plant.half_cycle_s
    saved = saved_share(held, pattern, bounds)
    year = profile_pattern(plant, screened) or pattern
    figures = _figures(saved, saved_share(held, year, bounds), bounds, purge, plant)
    limited = "dew_point" if saved.value > 0.005 else "none_possible"
    if limited == "dew_point" and time_at_longest(held.value, pattern, bounds) > 0.5:
        limited = "longest_half_cycle"
    return Switching(figures, figures, limited, trace=_trace(figures, bounds, held.value, pattern))  # type: ignore[arg-type]


def _bounds(cycle: Cycle, plant: Plant) -> _Bounds:
    today = mean_half_cycle_s(cycle, plant)
    dryer = plant.dryer
    assert dryer.shortest_half_cycle_s is not None
    assert dryer.longest_half_cycle_s is not None
    shortest = dryer.shortest_half_cycle_s
    if not plant.is_given("dryer.shortest_half_cycle_s") and cycle.control != "dew_point":
        shortest = today
    return _Bounds(today, shortest, max(shortest, dryer.longest_half_cycle_s), DETECTION_S[plant.heated])


def saved_share(held_s: Uncertain, pattern: LoadPattern, bounds: _Bounds) -> Uncertain:
    """Share of the timer's regenerations that are avoided; never below nought [-]."""

    def share(held: Floats) -> Floats:
        length = held[:, None] / np.maximum(pattern.ratio, 1e-6) + bounds.detection_s
        often = (1.0 / np.clip(length, bounds.shortest_s, bounds.longest_s)) @ pattern.weight
        return np.maximum(0.0, 1.0 - bounds.today_s * often)

    return held_s.map(share)


def time_at_longest(held_s: float, pattern: LoadPattern, bounds: _Bounds) -> float:
    """Share of the time in which the longest half-cycle binds [-]."""
    length = held_s / np.maximum(pattern.ratio, 1e-6) + bounds.detection_s
    return float(pattern.weight[length >= bounds.longest_s].sum())


def _figures(saved: Uncertain, over_year: Uncertain, bounds: _Bounds, purge: Purge, plant: Plant) -> SwitchingFigures:
    half_cycle = (known(1.0) - saved).map(lambda kept: bounds.today_s / np.maximum(kept, 1e-9))
    air = energy = cost = co2 = None
    if purge.average_m3_min is not None:
        air = (uncertain("purge", purge.average_m3_min) * over_year).estimate()
    if purge.energy_kwh_per_year is not None:
        energy = (uncertain("regeneration energy", purge.energy_kwh_per_year.total) * over_year).estimate()
        price = price_per_kwh(plant)
        cost = None if price is None else energy.scaled(price)
        factor = plant.economics.co2_kg_per_kwh
        co2 = None if factor is None else energy.scaled(factor)
    return SwitchingFigures(half_cycle.estimate(), saved.estimate(), air, energy, cost, co2)


def _already(cycle: Cycle, plant: Plant, bounds: _Bounds) -> Switching:
    share = relative("timer", max(bounds.today_s, 1e-9), 0.02).map(
        lambda today: np.maximum(0.0, 1.0 - plant.half_cycle_s / today)
    )
    none = Estimate.exact(0.0)
    figures = SwitchingFigures(Estimate.exact(bounds.today_s), none, none, none, None, None)
    note = "The dryer already switches on dew point; nothing further is reckoned as a saving."
    capped = cycle.longest_half_cycle_s is not None and bounds.today_s > 0.95 * cycle.longest_half_cycle_s
    limited = "longest_half_cycle" if capped else "dew_point"
    return Switching(figures, figures, limited, already_saved_share=share.estimate(), notes=(note,))  # type: ignore[arg-type]


def _trace(figures: SwitchingFigures, bounds: _Bounds, held_s: float, pattern: LoadPattern) -> tuple[Step, ...]:
    share, half_cycle = figures.regenerations_saved_share, figures.half_cycle_s
    assert share is not None
    assert half_cycle is not None
    inputs = (
        ("today's half-cycle [s]", bounds.today_s, "log or plant file"),
        ("half-cycle that can be repeated at rated load [s]", held_s, "computed"),
        ("mean load ratio", pattern.mean, "log"),
        ("longest half-cycle [s]", bounds.longest_s, "plant file or assumed"),
        ("mean extended half-cycle [s]", half_cycle.value, "computed"),
    )
    formula = "1 − today's half-cycle / mean extended half-cycle"
    return (Step("switching.regenerations_saved_share", share.value, "-", formula, inputs, "regenerations counted"),)
