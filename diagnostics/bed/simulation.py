"""A log from the bed model: an invented dryer, its load, its faults, a probe, and the truth beside the log.

Question: what would a log of this plant look like, with these things wrong? Inputs: a plant file, days, faults, a seed.
Outputs: the log as a table ready to be written, and what is true of it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, Literal

import numpy as np
import pandas as pd

from diagnostics.bed.column import MASS_RATIO, Array, BedState
from diagnostics.bed.controller import Controller, Rule
from diagnostics.bed.faults import Fault, fault_named, faulty, loaded
from diagnostics.bed.instrument import Instrument, readings_c, sensed_moisture
from diagnostics.bed.isotherm import Desiccant
from diagnostics.bed.load_profile import LoadProfile, load_profile
from diagnostics.bed.logger import EXTRA_CHANNELS, log_table
from diagnostics.bed.running_on import Standing, margins_of
from diagnostics.bed.steady import Steady, steady_state
from diagnostics.bed.truth import truth_of
from diagnostics.bed.twin import Conditions, Outlet, Twin
from diagnostics.bed.vessel import FREE_AIR_KG_M3, Dryer, dryer_from
from diagnostics.errors import InputError, UsageError
from diagnostics.moment import zone_of
from diagnostics.plant import Plant

_FIRST_DAY = dt.datetime(2026, 3, 2, 6, 30)
_LONGEST_DAYS = 120.0
_TIMER_TOLERANCE = 0.002
_SLUG_S, _SLUG_SHARE = 1800.0, 8.0
_STEP_HEATED_S, _STEP_HEATLESS_S = 30.0, 10.0
_STEPS_PER_HALF_CYCLE = 20
_TELLS = 20


@dataclass
class Run:
    """What the dryer did: the air, the switchovers, the purge.

    Attributes
    ----------
    time_s, moisture, temperature_c, purge_m3_min : array
        Ends of the steps (epoch s), mole fraction and temperature of the leaving air, dried air that regeneration takes
        (20 degC, 1 bar, depressurisation apart).
    switchovers : list of (epoch s, tower that starts to dry)
    purged_m3_min : float
        Mean, depressurisation included, at 20 degC and 1 bar.
    standings : list of Standing
        Beds at each switchover inside the log.
    """

    dryer: Dryer
    profile: LoadProfile
    start_s: float
    end_s: float
    rule: Rule
    half_cycle_s: float
    time_s: Array = field(default_factory=lambda: np.empty(0))
    moisture: Array = field(default_factory=lambda: np.empty(0))
    temperature_c: Array = field(default_factory=lambda: np.empty(0))
    purge_m3_min: Array = field(default_factory=lambda: np.empty(0))
    switchovers: list[tuple[float, str]] = field(default_factory=list)
    first_tower: str = "A"
    purged_m3_min: float = 0.0
    onsets_s: dict[str, float] = field(default_factory=dict)
    standings: list[Standing] = field(default_factory=list)
    step_s: float = 10.0


def simulate(
    plant: Plant,
    *,
    days: float,
    faults: Sequence[str] = (),
    seed: int = 0,
    interval_s: float | None = None,
    start: dt.datetime | None = None,
    instrument: Instrument | None = None,
    counted_in: Literal["clock_time", "running_time"] = "clock_time",
    margins: bool = False,
    channels: Sequence[str] = (),
    desiccant: Desiccant | None = None,
    progress: Callable[[str], None] | None = None,
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Make a log with the bed model.

    Parameters
    ----------
    plant : Plant
        Needs ``dryer.rated_flow_m3_min``.
    days : float
        Length of the log.
    faults : sequence of str
        Names in `faults.FAULTS`.
    seed : int
        The same seed gives the same log.
    interval_s : float, optional
        Between readings; 10 s for half-cycles under 15 minutes, else 60 s.
    start : datetime, optional
        First reading, local time at the site; a Monday in March 2026 if not given.
    instrument : Instrument, optional
        An ordinary probe if not given.
    counted_in : {"clock_time", "running_time"}
        "running_time": air flows only while the compressor is loaded, and the timer stands while it is not.
    margins : bool
        Whether the twin is run on for the truth's margins and savings, which takes some times as long.
    channels : sequence of str
        Further channels for the log, of `EXTRA_CHANNELS`: "purge_flow" is a meter in the purge line.
    desiccant : Desiccant, optional
        Beads to fill the vessels with; those of the plant file's kind if not given.
    progress : callable, optional
        Called with what is being done.

    Returns
    -------
    log : DataFrame
        Ready for ``to_csv(index=False)``.
    truth : dict
        JSON-ready.

    Raises
    ------
    InputError
        If the plant file lacks the rated flow, or the days are out of range.
    UsageError
        If a fault's or a channel's name is unknown.
    """
    tell = progress or (lambda step: None)
    if plant.dryer.rated_flow_m3_min is None:
        raise InputError(f"{plant.source}: a simulated dryer needs dryer.rated_flow_m3_min; add it.")
    if not 0.01 <= days <= _LONGEST_DAYS:
        raise InputError(f"--days {days:g} is out of range; a simulated log lasts 0.01 to {_LONGEST_DAYS:g} days.")
    chosen = tuple(fault_named(name) for name in faults)
    for name in channels:
        if name not in EXTRA_CHANNELS:
            raise UsageError(f"there is no channel {name!r} to add; known: {', '.join(EXTRA_CHANNELS)}.")
    if interval_s is None:
        interval_s = 10.0 if plant.half_cycle_s < 900.0 else 60.0
    moment = (start or _FIRST_DAY).replace(tzinfo=zone_of(plant.site.timezone) or dt.UTC)
    tell("letting the beds settle")
    run = run_dryer(
        plant, moment.timestamp(), days * 86400.0, chosen, seed, tell, counted_in=counted_in, desiccant=desiccant
    )
    tell("reading the probe")
    probe = _probe(instrument or Instrument(), chosen)
    rng = np.random.default_rng([seed, 23])
    pressure_bar = plant.line_pressure_bar
    sample_s = np.arange(run.start_s, run.end_s, interval_s)
    moisture = run.moisture
    if probe.ingress:
        moisture = (1.0 - probe.ingress) * moisture + probe.ingress * _ambient_moisture(run)
    sensed = sensed_moisture(run.time_s, moisture, probe, pressure_bar, clipped_on_s=run.start_s)
    dew = readings_c(sample_s, run.time_s, sensed, probe, pressure_bar, rng)
    table, excluded = log_table(plant, run, sample_s, dew, chosen, rng, channels)
    truth = truth_of(plant, run, sensed, table, chosen, excluded, interval_s, pressure_bar, probe.range_c[1], channels)
    if margins:
        tell("running on for the true margins")
        truth |= margins_of(run, sensed, plant.dryer.dew_point_limit_c)
    return table, truth


def _probe(instrument: Instrument, faults: tuple[Fault, ...]) -> Instrument:
    names = {f.name for f in faults if f.kind == "instrument"}
    if "settling" in names:
        instrument = replace(instrument, settling=(2500.0, 600.0, 5400.0, 0.02))
    if "ambient_ingress" in names:
        instrument = replace(instrument, ingress=2.5e-3)
    return instrument


def _ambient_moisture(run: Run) -> Array:
    """Mole fraction of water in room air at 60 % relative humidity."""
    from diagnostics.air.humidity import moisture_fraction

    room = np.interp(run.time_s, run.profile.start_s + 60.0 * np.arange(len(run.profile.room_c)), run.profile.room_c)
    return 0.6 * np.asarray(moisture_fraction(room, 1.01325))


def run_dryer(
    plant: Plant,
    start_s: float,
    duration_s: float,
    faults: tuple[Fault, ...],
    seed: int,
    tell: Callable[[str], None] = lambda step: None,
    *,
    counted_in: Literal["clock_time", "running_time"] = "clock_time",
    desiccant: Desiccant | None = None,
) -> Run:
    """Run the plant's dryer over a stretch of time, settled beforehand.

    Parameters
    ----------
    plant : Plant
    start_s, duration_s : float
        Epoch seconds, seconds.
    faults : tuple of Fault
    seed : int
    tell : callable
    counted_in : {"clock_time", "running_time"}
    desiccant : Desiccant, optional

    Returns
    -------
    Run
    """
    rng = np.random.default_rng([seed, 5])
    healthy = dryer_from(plant) if desiccant is None else dryer_from(plant, desiccant=desiccant)
    warm_up_s = (
        (2.0 + rng.uniform(0.0, 2.0)) * healthy.half_cycle_s if healthy.heated else 5400.0 + rng.uniform(0.0, 600.0)
    )
    standing = counted_in == "running_time"
    profile = load_profile(plant, start_s - warm_up_s, duration_s + warm_up_s, seed, intermittent=standing)
    profile = loaded(profile, faults, healthy, plant.dryer.rated_inlet_temperature_c)
    dryer = faulty(healthy, faults, -1.0)
    step_s = _STEP_HEATED_S if dryer.heated else min(_STEP_HEATLESS_S, dryer.half_cycle_s / _STEPS_PER_HALF_CYCLE)
    settling_step_s = 2.0 * step_s if dryer.heated else step_s
    names = {f.name for f in faults}
    dew_point = dryer.control == "dew_point" and "control_fallback" not in names
    settling = _under_control(dryer, profile.mean()) if dew_point else dryer
    twin = Twin(dryer, _settled(settling, profile.mean(), settling_step_s), step_s=step_s)
    rule: Rule = "dew_point" if dew_point else counted_in
    half_cycle_s = dryer.half_cycle_s * (1.0 + _TIMER_TOLERANCE * float(np.clip(rng.standard_normal(), -2.5, 2.5)))
    run = Run(dryer, profile, start_s, start_s + duration_s, rule, half_cycle_s, step_s=step_s)
    controller = Controller(
        rule,
        half_cycle_s,
        max(dryer.shortest_half_cycle_s, 0.0),
        dryer.longest_half_cycle_s,
        dryer.limit_c,
        sum(p.duration_s for p in dryer.phases) * 0.999 if dew_point else 0.0,
    )
    tell("running the dryer")
    _march(run, twin, controller, healthy, faults, start_s - warm_up_s, tell)
    return run


def _under_control(dryer: Dryer, conditions: Conditions) -> Dryer:
    """The dryer with the timer that comes near what dew-point control makes of it at the mean load.

    A heatless dryer's: the half-cycle over which purge and feed have the same actual volume (Skarstrom's rule).
    """
    if dryer.heated:
        return dryer
    purging_s = sum(phase.duration_s for phase in dryer.phases if phase.state == "regenerating")
    purge_kg = dryer.purge_at(conditions.line_pa, 0) * purging_s
    balanced_s = purge_kg * conditions.line_pa / dryer.regenerating_pa / conditions.feed_kg_s
    half_cycle_s = float(np.clip(balanced_s, dryer.shortest_half_cycle_s, dryer.longest_half_cycle_s))
    return replace(dryer, half_cycle_s=half_cycle_s)


@lru_cache(maxsize=8)
def _settled_once(dryer: Dryer, conditions: Conditions, step_s: float) -> Steady:
    return steady_state(dryer, conditions, step_s=step_s)


def _settled(dryer: Dryer, conditions: Conditions, step_s: float) -> list[BedState]:
    """Beds to start from; the same dryer under the same conditions is settled once."""
    return [bed.copy() for bed in _settled_once(dryer, conditions, step_s).beds]


def _march(
    run: Run,
    twin: Twin,
    controller: Controller,
    healthy: Dryer,
    faults: tuple[Fault, ...],
    now: float,
    tell: Callable[[str], None] = lambda step: None,
) -> None:
    from diagnostics.air.humidity import dew_point_c

    outlet = Outlet()
    duration = run.end_s - run.start_s
    block_s, detection_s = (300.0, 60.0) if healthy.heated else (60.0, 20.0)
    onsets = {f.name: run.start_s + f.onset_share * duration for f in faults if f.onset_share > 0.0 and not f.gradual}
    stop_s = onsets.get("stopped_switching", np.inf)
    blown = before = 0.0
    told = 0
    while now < run.end_s - 1e-6:
        done = int(_TELLS * (now - run.start_s) / duration)
        if done > told:
            told = done
            tell(f"running the dryer, {100 * done // _TELLS} % of the log")
        if faults:
            twin.dryer = faulty(healthy, faults, (now - run.start_s) / duration)
        if now >= stop_s - 1e-6 and controller.rule != "none":
            controller.rule = "none"
            run.onsets_s["stopped_switching"] = now
        conditions = _conditions_at(run, now, onsets)
        ends = [e - now for e in (run.end_s, *onsets.values()) if e > now + 1e-6]
        part = max(min(block_s, controller.longest_block_s(detection_s), *ends), 1e-3)
        if conditions.running:
            twin.advance(conditions, part, outlet, now)
        else:
            part = min(part, 60.0)
            twin.stand(part, outlet, now)
        now += part
        if now <= run.start_s:
            before = twin.purged_kg
        controller.count(part, conditions.running)
        moisture = twin.last_ratio / (twin.last_ratio + MASS_RATIO)
        if controller.due(float(dew_point_c(moisture, conditions.line_pa / 1e5))):
            twin.switch()
            controller.restart()
            blown += _note_switchover(run, twin, now, healthy.stored_kg(conditions.line_pa))
    run.onsets_s = onsets | run.onsets_s
    run.purged_m3_min = (twin.purged_kg - before + blown) / duration * 60.0 / FREE_AIR_KG_M3
    _keep_outlet(run, outlet)


def _conditions_at(run: Run, now: float, onsets: dict[str, float]) -> Conditions:
    conditions = run.profile.at(now)
    slug_s = onsets.get("liquid_carryover", np.inf)
    if slug_s <= now < slug_s + _SLUG_S:
        return replace(conditions, liquid_share=_SLUG_SHARE)
    return conditions


def _note_switchover(run: Run, twin: Twin, now: float, blown_kg: float) -> float:
    """Write a switchover down; gives the air let out with it, nothing before the log's start."""
    tower = "AB"[twin.drying]
    if now < run.start_s:
        run.first_tower = tower
        return 0.0
    run.switchovers.append((now, tower))
    first, second = (bed.copy() for bed in twin.beds)
    run.standings.append(Standing(now, twin.drying, (first, second), twin.dryer))
    return blown_kg


def _keep_outlet(run: Run, outlet: Outlet) -> None:
    time_s, ratio, kelvin = outlet.joined()
    keep = time_s > run.start_s - 3600.0
    run.time_s, run.temperature_c = time_s[keep], kelvin[keep] - 273.15
    run.purge_m3_min = outlet.purge_kg_s()[keep] * 60.0 / FREE_AIR_KG_M3
    run.moisture = ratio[keep] / (ratio[keep] + MASS_RATIO)
