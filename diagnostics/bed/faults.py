"""What can be wrong with a dryer, its load or its log, as changes of physics rather than of the trace.

Question: which quantity does a named fault change, and from when on? `FAULTS` is the list; a fault of the hardware
turns a `Dryer` into another, a fault of the load changes the `LoadProfile`, one of measuring the instrument or the log.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from diagnostics.bed.load_profile import LoadProfile
from diagnostics.bed.vessel import FREE_AIR_KG_M3, Dryer
from diagnostics.errors import UsageError

_UNEQUAL = {False: 0.94, True: 0.7}
"""Tower B's share of its regeneration; purge rules a heatless dryer steeply, while heat is given with something to
spare."""
Kind = Literal["hardware", "control", "load", "water", "instrument", "log"]


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong.

    Attributes
    ----------
    name : str
        As the command line takes it.
    kind : str
        What it acts on.
    onset_share : float
        Where in the log it starts, 0 for a fault that has been there for long.
    gradual : bool
        Whether it grows from the onset to the end of the log.
    finding : str or None
        Code of the finding it should lead to.
    says : str
        For people.
    shows_in : str or None
        Channel without which the finding cannot be made.
    """

    name: str
    kind: Kind
    onset_share: float
    gradual: bool
    finding: str | None
    says: str
    shows_in: str | None = None


FAULTS: dict[str, Fault] = {
    f.name: f
    for f in (
        Fault(
            "lost_capacity", "hardware", 0.0, True, "desiccant_decay", "both beds lose capacity and pace over the log"
        ),
        Fault("slow_kinetics", "hardware", 0.0, False, None, "oil or dust slows both beds to 0.6 of their pace"),
        Fault("weak_purge", "hardware", 0.2, False, "purge_short", "purge falls to 0.65", "purge_flow"),
        Fault(
            "excess_purge",
            "hardware",
            0.0,
            False,
            "purge_excess",
            "a purge valve passes half as much again",
            "purge_flow",
        ),
        Fault(
            "clogged_silencer",
            "hardware",
            0.4,
            False,
            None,
            "0.5 bar builds up in the vessel that is purged; no channel shows it but a gauge there",
        ),
        Fault(
            "dead_heater",
            "hardware",
            0.4,
            False,
            "regeneration_failure",
            "tower B's heat, or without heater its purge, fails",
        ),
        Fault(
            "leaking_valve", "hardware", 0.4, False, "bypass_leak", "a seat lets 0.02 % of wet air into the dry side"
        ),
        Fault("bypass_leak", "hardware", 0.4, False, "bypass_leak", "0.15 % of the air goes round the dryer"),
        Fault(
            "tower_imbalance",
            "hardware",
            0.0,
            False,
            "tower_imbalance",
            "tower B is regenerated with 0.94 of the purge, or 0.7 of purge and heat",
        ),
        Fault("stopped_switching", "control", 0.5, False, "switching_stopped", "the same tower keeps drying"),
        Fault(
            "control_fallback",
            "control",
            0.0,
            False,
            "control_inactive",
            "meant to run on dew point, runs on the timer",
        ),
        Fault("liquid_carryover", "water", 0.5, False, "carryover", "liquid water enters for half an hour"),
        Fault("overload", "load", 0.0, False, "overload", "flow is 1.25 of the rating"),
        Fault("underload", "load", 0.0, False, "excess_regeneration", "flow is 0.35 of the rating"),
        Fault("hot_inlet", "load", 0.0, False, "overload", "the inlet is 10 K above the rating"),
        Fault("settling", "instrument", 0.0, False, "unsettled", "the probe dries down for hours"),
        Fault(
            "stagnant_sample",
            "log",
            0.5,
            False,
            "sample_stagnant",
            "the sample stands still and follows the pipe's temperature",
        ),
        Fault("ambient_ingress", "instrument", 0.0, False, "ambient_ingress", "ambient air leaks into the sample"),
        Fault("frozen_sensor", "log", 0.5, False, "sensor_frozen", "the value stands still for hours"),
        Fault("lost_rows", "log", 0.3, False, None, "an hour of rows is missing, and single rows"),
        Fault("removal", "log", 0.95, False, "unsettled", "the probe is taken off before the logger stops"),
        Fault("clock_jump", "log", 0.5, False, "clock_jump", "the logger's clock is set back by 37 minutes"),
    )
}


def fault_named(name: str) -> Fault:
    """Fault of a name.

    Raises
    ------
    UsageError
        If there is none.
    """
    found = FAULTS.get(name)
    if found is None:
        raise UsageError(f"there is no fault {name!r}; known: {', '.join(FAULTS)}.")
    return found


def _slower(dryer: Dryer, capacity: float, kinetics: float) -> Dryer:
    a, b = (p.with_faults(capacity=capacity, kinetics=kinetics) for p in dryer.packings)
    return replace(dryer, packings=(a, b))


def _less_for_b(dryer: Dryer, share: float) -> Dryer:
    a, b = dryer.purge_factor
    hot_a, hot_b = dryer.heater_factor
    if dryer.heated:
        return replace(dryer, purge_factor=(a, b * share), heater_factor=(hot_a, hot_b * share))
    return replace(dryer, purge_factor=(a, b * share))


def _purged(dryer: Dryer, share: float) -> Dryer:
    a, b = dryer.purge_factor
    return replace(dryer, purge_factor=(share * a, share * b))


def _dead(dryer: Dryer) -> Dryer:
    if dryer.heated:
        return replace(dryer, heater_factor=(dryer.heater_factor[0], 0.0))
    return replace(dryer, purge_factor=(dryer.purge_factor[0], 0.02))


_HARDWARE: dict[str, Callable[[Dryer, float], Dryer]] = {
    "lost_capacity": lambda d, grown: _slower(d, 1.0 - 0.3 * grown, 1.0 - 0.3 * grown),
    "slow_kinetics": lambda d, grown: _slower(d, 1.0, 0.6),
    "weak_purge": lambda d, grown: _purged(d, 0.65),
    "excess_purge": lambda d, grown: _purged(d, 1.5),
    "clogged_silencer": lambda d, grown: replace(d, regenerating_pa=d.regenerating_pa + 0.5e5),
    "dead_heater": lambda d, grown: _dead(d),
    "leaking_valve": lambda d, grown: replace(d, seat_leak_share=d.seat_leak_share + 2e-4),
    "bypass_leak": lambda d, grown: replace(d, bypass_share=d.bypass_share + 1.5e-3),
    "tower_imbalance": lambda d, grown: _less_for_b(d, _UNEQUAL[d.heated]),
}


def faulty(dryer: Dryer, faults: tuple[Fault, ...], share: float) -> Dryer:
    """The dryer as it is at a share of the log; below 0 is before the log's start."""
    for fault in faults:
        if fault.kind != "hardware":
            continue
        standing = fault.onset_share <= 0.0 and not fault.gradual
        if share >= fault.onset_share or standing:
            grown = max(0.0, (share - fault.onset_share) / (1.0 - fault.onset_share)) if fault.gradual else 1.0
            dryer = _HARDWARE[fault.name](dryer, grown)
    return dryer


def loaded(profile: LoadProfile, faults: tuple[Fault, ...], dryer: Dryer, rated_inlet_c: float) -> LoadProfile:
    """The load with its faults."""
    names = {f.name for f in faults if f.kind == "load"}
    for name, share in (("overload", 1.25), ("underload", 0.35)):
        if name in names:
            wanted_m3_min = share * dryer.rated_kg_s * 60.0 / FREE_AIR_KG_M3
            profile = replace(profile, flow_m3_min=profile.flow_m3_min * wanted_m3_min / np.mean(profile.flow_m3_min))
    if "hot_inlet" in names:
        profile = replace(profile, inlet_c=profile.inlet_c + rated_inlet_c + 10.0 - np.mean(profile.inlet_c))
    return profile
