"""Cases of the bed model for the studies of margin and saving: a timer's run, and the same dryer run otherwise.

Question: what would the dryer have done under dew-point control, with longer half-cycles, or left to dry on? Input: a
case's number. Output: a `Case`. Only public parts of the bed model are used.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np

from diagnostics.air.humidity import dew_point_c, mixing_ratio_g_kg, moisture_fraction
from diagnostics.bed.column import MASS_RATIO
from diagnostics.bed.instrument import Instrument, readings_c, sensed_moisture
from diagnostics.bed.simulation import Run, run_dryer
from diagnostics.bed.steady import steady_state
from diagnostics.bed.twin import Conditions, Outlet, Twin
from diagnostics.bed.vessel import FREE_AIR_KG_M3, Dryer, dryer_from
from diagnostics.log.record import Log
from diagnostics.plant import plant_from
from tests.energy.study_plants import DETECTION_S, LEAD_DAYS, LOG_DAYS, SEEDS, Case, drawn, saved

WITH_MARGINS = 16
"""Heated cases below this number also carry the true margins, which take as long as the runs."""
_START_S = 1_772_433_000.0


@dataclass(frozen=True)
class _Base:
    """A physical dryer by its plate at 20 m3/min, and the inlet air."""

    kind: str
    half_cycle_s: float
    purge_share: float
    desiccant: str
    mass_kg: float
    inlet_c: float
    heater_s: float = 0.0

    def tables(self) -> dict[str, dict[str, Any]]:
        heated = self.kind != "heatless"
        purge_s = (0.25 if self.kind == "blower_purge" else 0.94 if heated else 0.8) * self.half_cycle_s
        density = {"activated_alumina": 769.0, "silica_gel": 700.0, "molecular_sieve": 689.0}[self.desiccant]
        dryer = {
            "regeneration": self.kind,
            "rated_flow_m3_min": 20.0,
            "half_cycle_s": self.half_cycle_s,
            "purge_share": self.purge_share,
            "purge_share_means": "average" if self.kind == "heatless" else "while_purging",
            "purge_s": purge_s,
            "desiccant": self.desiccant,
            "desiccant_mass_kg": self.mass_kg,
            "vessel_volume_m3": round(1.1 * self.mass_kg / density, 3),
            "dew_point_limit_c": -40.0,
            "shortest_half_cycle_s": self.half_cycle_s,
            "longest_half_cycle_s": self.half_cycle_s * 6.0,
        }
        if heated:
            dryer["heater_s"] = self.heater_s
        return {
            "site": {"name": "Invented study plant", "timezone": "Europe/Stockholm"},
            "dryer": dryer,
            "operation": {"inlet_temperature_c": self.inlet_c, "pressure_bar_g": 7.0, "ambient_temperature_c": 22.0},
            "measurement": {"pressure_bar_g": 7.0, "basis": "pressure"},
        }


BASES = (
    _Base("heatless", 300.0, 0.15, "activated_alumina", 300.0, 30.0),
    _Base("heatless", 240.0, 0.16, "activated_alumina", 240.0, 28.0),
    _Base("heatless", 300.0, 0.18, "silica_gel", 260.0, 32.0),
    _Base("heatless", 180.0, 0.16, "activated_alumina", 200.0, 30.0),
    _Base("heatless", 300.0, 0.165, "activated_alumina", 420.0, 27.0),
    _Base("heated_purge", 14400.0, 0.14, "activated_alumina", 420.0, 31.0, 9000.0),
    _Base("blower_purge", 14400.0, 0.03, "activated_alumina", 480.0, 30.0, 8600.0),
)


def _steady_conditions(base: _Base, flow_m3_min: float) -> Conditions:
    kelvin = base.inlet_c + 273.15
    return Conditions(
        feed_kg_s=flow_m3_min / 60.0 * FREE_AIR_KG_M3,
        inlet_k=kelvin,
        inlet_dew_point_k=kelvin,
        line_pa=8.01325e5,
        room_k=295.15,
    )


def _end_moisture(dryer: Dryer, conditions: Conditions) -> float:
    """Moisture at the end of a half-cycle that repeats itself."""
    step_s = 60.0 if dryer.heated else 10.0
    settled = steady_state(dryer, conditions, step_s=step_s)
    twin = Twin(dryer, [bed.copy() for bed in settled.beds], step_s=step_s)
    ratio = twin.advance(conditions, dryer.half_cycle_s, Outlet(), 0.0)
    return ratio / (ratio + MASS_RATIO)


@lru_cache(maxsize=32)
def held_flow_m3_min(number: int) -> float:
    """Flow at which base ``number`` ends its half-cycles at the limit, settled [m3/min]."""
    base = BASES[number]
    dryer = dryer_from(plant_from(base.tables()))
    limit = float(moisture_fraction(-40.0, 8.01325))
    low, high = 10.0, 45.0
    for _ in range(7):
        middle = float(np.sqrt(low * high))
        moisture = _end_moisture(dryer, _steady_conditions(base, middle))
        low, high = (low, middle) if moisture > limit else (middle, high)
    return float(np.sqrt(low * high))


def bed_case(number: int) -> Case:
    """Case of the bed model."""
    rng = np.random.default_rng([SEEDS["bed"], number])
    heated = (number // 2) % 2 == 1
    of_kind = [i for i, base in enumerate(BASES) if (base.kind != "heatless") == heated]
    which = int(rng.choice(of_kind))
    base = BASES[which]
    # A column's front is steep: it shows later than the lumped plant's.
    reserve, use = drawn(rng, (0.85, 1.06) if heated else (0.92, 1.06))
    held = held_flow_m3_min(which)
    tables = base.tables()
    # The shift pattern's mean over a working day.
    tables["operation"]["flow_m3_min"] = round(held * use / 0.99, 2)
    lead_s, span_s = LEAD_DAYS[heated] * 86400.0, LOG_DAYS[heated] * 86400.0
    seed = SEEDS["bed"] + number
    begin = _START_S + lead_s
    timer = run_dryer(plant_from(tables), _START_S, lead_s + span_s, (), seed)
    plate = _plate(tables, base, held, reserve)
    log = _read(timer, begin, 60.0 if heated else float(rng.choice([10.0, 30.0])), seed)
    mean = _mean_conditions(timer, begin)
    spare = held / float(mean.feed_kg_s / FREE_AIR_KG_M3 * 60.0)
    margins = number < WITH_MARGINS
    # A heatless bed takes days to fill up: only one that starts filled shows what its control goes on to save.
    within = (0.75, 1.3, 6) if heated else (0.97, 1.14, 4)
    sustained_s = _sustained_s(timer.dryer, mean, timer.half_cycle_s * spare, within) if margins or not heated else None
    settled_at_s = timer.half_cycle_s * spare if sustained_s is None else sustained_s
    known = {
        "use": use,
        "reserve": reserve,
        "half_cycle_s": timer.half_cycle_s,
        "sustained_s": sustained_s,
        "switchovers": [list(each) for each in timer.switchovers],
        "single_margin_s": _single_margin_s(timer, begin) if heated and margins else None,
        **saved(_switched(timer, settled_at_s), timer.half_cycle_s, begin),
    }
    return Case("bed", number, "heated" if heated else "heatless", plate, log, known)


def _plate(tables: dict, base: _Base, held: float, reserve: float) -> dict[str, dict[str, Any]]:
    """The plant file the engine gets: the plate is off by the reserve, the purge is what it is."""
    rated = held / reserve
    if base.kind != "heatless":
        at_inlet, at_rating = (float(mixing_ratio_g_kg(moisture_fraction(c, 8.01325))) for c in (base.inlet_c, 35.0))
        rated *= at_inlet / at_rating
    dryer = dict(tables["dryer"])
    dryer["purge_share"] = min(round(dryer["purge_share"] * 20.0 / rated, 4), 0.9)
    dryer["rated_flow_m3_min"] = round(rated, 2)
    return {**tables, "dryer": dryer}


def _read(run: Run, begin: float, interval_s: float, seed: int) -> Log:
    rng = np.random.default_rng([seed, 23])
    probe, pressure = Instrument(), 8.01325
    sample_s = np.arange(begin, run.end_s, interval_s)
    sensed = sensed_moisture(run.time_s, run.moisture, probe, pressure)
    profile = run.profile
    minute = profile.start_s + 60.0 * np.arange(profile.flow_m3_min.size)
    channels = {
        "dew_point": readings_c(sample_s, run.time_s, sensed, probe, pressure, rng),
        "flow": np.round(np.interp(sample_s, minute, profile.flow_m3_min), 2),
        "inlet_temperature": np.round(np.interp(sample_s, minute, profile.inlet_c), 1),
        "pressure": np.round(np.interp(sample_s, minute, profile.pressure_bar - 1.01325), 2),
    }
    return Log("bed model", sample_s, channels, {}, None, interval_s)


def _mean_conditions(run: Run, begin: float) -> Conditions:
    profile = run.profile
    first = int((begin - profile.start_s) // 60.0)
    later = replace(
        profile,
        start_s=begin,
        flow_m3_min=profile.flow_m3_min[first:],
        inlet_c=profile.inlet_c[first:],
        pressure_bar=profile.pressure_bar[first:],
        room_c=profile.room_c[first:],
        running=profile.running[first:],
    )
    return later.mean()


def _sustained_s(dryer: Dryer, mean: Conditions, around_s: float, within: tuple[float, float, int]) -> float:
    """Half-cycle that ends at the limit when repeated with today's regeneration at the mean load [s].

    It is sought ``within`` these shares of ``around_s``, in so many halvings.
    """
    limit = float(moisture_fraction(-40.0, mean.line_pa / 1e5))
    low, high = (around_s * share for share in within[:2])
    for _ in range(within[2]):
        middle = float(np.sqrt(low * high))
        moisture = _end_moisture(replace(dryer, half_cycle_s=middle), mean)
        low, high = (low, middle) if moisture > limit else (middle, high)
    return float(np.sqrt(low * high))


def _switched(run: Run, sustained_s: float) -> list[tuple[float, str]]:
    """Switchovers under dew-point control on the load of ``run``.

    It starts from beds that are settled at the half-cycle the dryer holds: a heatless bed that comes from a timer takes
    days to fill up, which is a saving that does not come back.
    """
    dryer, heated = run.dryer, run.dryer.heated
    start = replace(dryer, half_cycle_s=float(np.clip(sustained_s, run.half_cycle_s, dryer.longest_half_cycle_s)))
    step_s = 60.0 if heated else 10.0
    settled = steady_state(start, run.profile.mean(), step_s=step_s)
    twin = Twin(dryer, [bed.copy() for bed in settled.beds], step_s=step_s)
    now, outlet, seen = run.profile.start_s, Outlet(), []
    while now < run.end_s:
        seen.append((now, "AB"[twin.drying]))
        now = _until(twin, run, now, now + run.half_cycle_s, outlet, np.inf)
        longest = now - run.half_cycle_s + dryer.longest_half_cycle_s
        if float(dew_point_c(twin.last_ratio / (twin.last_ratio + MASS_RATIO), 8.01325)) < dryer.limit_c:
            now = _until(twin, run, now, longest, outlet, dryer.limit_c, DETECTION_S[heated])
        twin.switch()
        outlet = Outlet()
    return seen


def _single_margin_s(run: Run, begin: float) -> float:
    """How much longer single half-cycles of the weaker tower would have lasted, median [s]."""
    dryer, step_s = run.dryer, 60.0
    settled = steady_state(dryer, run.profile.mean(), step_s=60.0)
    twin = Twin(dryer, [bed.copy() for bed in settled.beds], step_s=step_s)
    margins: dict[str, list[float]] = {"A": [], "B": []}
    for (start, tower), (end, _) in pairwise(run.switchovers):
        outlet = Outlet()
        _until(twin, run, start, end, outlet, np.inf)
        if start >= begin:
            time_s, ratio, _ = outlet.joined()
            below = np.flatnonzero(np.asarray(dew_point_c(ratio / (ratio + MASS_RATIO), 8.01325)) < dryer.limit_c)
            if below.size < time_s.size and (not below.size or below[-1] < time_s.size - 1):
                margins[tower].append((time_s[below[-1]] if below.size else start) - end)
            else:
                longer = copy.deepcopy(twin)
                last = end + 5.0 * run.half_cycle_s
                margins[tower].append(_until(longer, run, end, last, Outlet(), dryer.limit_c) - end)
        twin.switch()
    return min(float(np.median(each)) for each in margins.values())


def _until(
    twin: Twin, run: Run, now: float, end: float, outlet: Outlet, limit_c: float, every_s: float = 60.0
) -> float:
    """Run until ``end`` or until the leaving air is seen to reach the limit; the instant where it stopped."""
    while now < end - 1e-6:
        conditions = run.profile.at(now)
        part = min((300.0 if run.dryer.heated else 60.0) if limit_c == np.inf else every_s, end - now)
        ratio = twin.advance(conditions, part, outlet, now)
        now += part
        if float(dew_point_c(ratio / (ratio + MASS_RATIO), conditions.line_pa / 1e5)) >= limit_c:
            break
    return now
