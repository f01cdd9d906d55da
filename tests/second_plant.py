"""A second, deliberately different dryer for tests: lumped, quick, with a truth of its own.

Nothing here is shared with the bed model: no isotherm, no cells. The heatless dryer is one level of moisture per tower
that creeps over hours towards a balance of loaded and purged volume; the heated one is a front in loaded water with an
exponential foot. The probe is two first-order lags in a row. Shapes and numbers are invented.

    log, truth = second_plant(seed=3, kind="heated", reserve=1.4)
    plant = plant_from(truth["plant"])

`truth` uses the keys of the logs with known truth (epoch s; a switchover names the tower that starts to dry). Spans are
``[low, high]``. `reserve` is the half-cycle the dryer can repeat at rated load, as a multiple of the nameplate's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import lfilter

from diagnostics.air.humidity import dew_point_c, moisture_fraction, saturation_pressure_pa

Array = NDArray[np.float64]
FAULTS = (
    "lost_capacity",
    "slow_kinetics",
    "weak_purge",
    "clogged_silencer",
    "dead_heater",
    "leaking_valve",
    "bypass_leak",
    "tower_imbalance",
    "stopped_switching",
    "control_fallback",
    "liquid_carryover",
    "overload",
    "hot_inlet",
    "settling",
    "stagnant_sample",
    "ambient_ingress",
    "frozen_sensor",
    "lost_rows",
    "removal",
    "clock_jump",
)
FINDING = {
    "lost_capacity": "desiccant_decay",
    "dead_heater": "regeneration_failure",
    "leaking_valve": "bypass_leak",
    "bypass_leak": "bypass_leak",
    "tower_imbalance": "tower_imbalance",
    "stopped_switching": "switching_stopped",
    "control_fallback": "control_inactive",
    "liquid_carryover": "carryover",
    "overload": "overload",
    "hot_inlet": "overload",
    "settling": "unsettled",
    "stagnant_sample": "sample_stagnant",
    "ambient_ingress": "ambient_ingress",
    "frozen_sensor": "sensor_frozen",
    "removal": "unsettled",
    "clock_jump": "clock_jump",
}
_START_S = 1772433000.0
_GRID_S = 5.0
_LIMIT_C = -40.0
_PRESSURE_BAR_G = 7.0
_PRESSURE_BAR = _PRESSURE_BAR_G + 1.01325
_RATED_INLET_C = 35.0


@dataclass
class _Dryer:
    """Numbers of one invented dryer."""

    kind: str
    half_cycle_s: float
    timer_s: float
    reserve: float
    limit: float
    floor: float
    steepness: float
    creep_s: float
    ripple: float
    foot: float
    spike: float
    spike_s: float
    least_s: float
    longest_s: float


@dataclass
class _Trace:
    time_s: Array
    moisture: Array
    switchovers: list[tuple[float, str]] = field(default_factory=list)
    stopped_s: float | None = None


def second_plant(
    seed: int,
    *,
    kind: Literal["heatless", "heated"] = "heatless",
    control: Literal["fixed", "dew_point", "stopped"] = "fixed",
    faults: tuple[str, ...] = (),
    reserve: float | None = None,
    load: float | None = None,
    days: float = 2.0,
    interval_s: float | None = None,
    half_cycle_s: float | None = None,
    swing: float = 0.12,
    onset_share: float = 0.5,
    channels: bool = True,
    timezone: str | None = "Europe/Helsinki",
    detection_s: float = _GRID_S,
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Make one log.

    Parameters
    ----------
    seed : int
    kind : {"heatless", "heated"}
    control : {"fixed", "dew_point", "stopped"}
    faults : tuple of str
        From `FAULTS`.
    reserve : float, optional
        0.6 to 3; drawn from 0.9 to 1.6 if not given.
    load : float, optional
        Mean load as a share of the rating, volume flow for heatless and moisture for heated; drawn from 0.45 to 0.75.
    days, interval_s, half_cycle_s : float, optional
    swing : float
        Relative amplitude of the load over the day.
    onset_share : float
        Where in the log step faults begin.
    channels : bool
        Whether flow, inlet temperature and pressure are logged.
    timezone : str, optional
    detection_s : float
        How often dew-point control looks at the dew point.

    Returns
    -------
    log : DataFrame
        Text stamps in local time and numbers, ready for ``to_csv(index=False)``.
    truth : dict
    """
    unknown = set(faults) - set(FAULTS)
    if unknown:
        raise ValueError(f"unknown faults {sorted(unknown)}")
    rng = np.random.default_rng([seed, 77])
    if control == "stopped" or "stopped_switching" in faults:
        control = "stopped"
        faults = tuple(dict.fromkeys((*faults, "stopped_switching")))
    runs_on = "fixed" if "control_fallback" in faults else control
    dryer = _draw(rng, kind, reserve, half_cycle_s)
    mean_load = load if load is not None else float(rng.uniform(0.45, 0.75))
    if "overload" in faults:
        mean_load = max(mean_load, 1.25)
    rated_m3_min = float(np.round(rng.uniform(8.0, 60.0), 1))
    grid = _START_S + _GRID_S * np.arange(int(days * 86400.0 / _GRID_S) + 1)
    inlet_c, flow_m3_min, ratio = _load(rng, grid, kind, mean_load, rated_m3_min, swing, faults)
    trace = _run(rng, dryer, grid, ratio, runs_on, faults, onset_share, detection_s)
    if interval_s is None:
        interval_s = 10.0 if kind == "heatless" else 60.0
    sample_s = np.arange(grid[0] + rng.uniform(0.0, 30.0), grid[-1], interval_s)
    shown, spoiled = _probe(rng, trace, sample_s, inlet_c, grid, faults, onset_share)
    keep, stamps = _clock(rng, sample_s, faults, onset_share, spoiled)
    table = {"Time": _stamps(stamps, timezone), "Dew point [°C]": shown}
    if channels:
        table["Flow [m3/min]"] = np.round(np.interp(sample_s, grid, flow_m3_min), 2)
        table["Inlet temperature [°C]"] = np.round(np.interp(sample_s, grid, inlet_c), 1)
        table["Pressure [bar(g)]"] = np.round(_PRESSURE_BAR_G + 0.02 * rng.standard_normal(len(sample_s)), 2)
    log = pd.DataFrame(table)[keep].reset_index(drop=True)
    plant = _plant(
        dryer, kind, control, faults, rated_m3_min, float(flow_m3_min.mean()), float(inlet_c.mean()), timezone
    )
    truth = _truth(dryer, trace, grid, ratio, control, runs_on, faults, sample_s, interval_s, spoiled, onset_share)
    return log, truth | {"plant": plant, "seed": seed, "samples": len(log)}


def _draw(rng: np.random.Generator, kind: str, reserve: float | None, half_cycle_s: float | None) -> _Dryer:
    limit = float(moisture_fraction(_LIMIT_C, _PRESSURE_BAR))
    floor = float(moisture_fraction(rng.uniform(-72.0, -60.0), _PRESSURE_BAR))
    if half_cycle_s is None:
        half_cycle_s = float(rng.choice([240.0, 300.0])) if kind == "heatless" else 14400.0
    drawn = float(rng.uniform(0.9, 1.6))
    return _Dryer(
        kind=kind,
        half_cycle_s=half_cycle_s,
        timer_s=half_cycle_s * (1.0 + 0.002 * float(np.clip(rng.standard_normal(), -2.0, 2.0))),
        reserve=drawn if reserve is None else reserve,
        limit=limit,
        floor=floor,
        steepness=float(rng.uniform(3.0, 5.0)),
        creep_s=float(rng.uniform(1.5, 4.0)) * 3600.0,
        ripple=float(rng.uniform(0.15, 0.35)),
        foot=float(rng.uniform(0.09, 0.16)),
        spike=float(rng.uniform(4.0, 12.0)),
        spike_s=float(rng.uniform(20.0, 40.0)) if kind == "heatless" else float(rng.uniform(400.0, 1200.0)),
        least_s=half_cycle_s,
        longest_s=half_cycle_s * (6.0 if kind == "heatless" else 7.0),
    )


def _load(
    rng: np.random.Generator,
    grid: Array,
    kind: str,
    mean_load: float,
    rated_m3_min: float,
    swing: float,
    faults: tuple[str, ...],
) -> tuple[Array, Array, Array]:
    """Inlet temperature [degC], flow [m3/min] and load over the rating [-] on the grid."""
    day = 2.0 * np.pi * (grid - grid[0]) / 86400.0
    phase = rng.uniform(0.0, 2.0 * np.pi)
    wander = lfilter([0.02], [1.0, -0.98], rng.standard_normal(len(grid))) * 0.25
    inlet_c = rng.uniform(26.0, 31.0) + 1.5 * np.sin(day + phase) + 0.3 * wander
    if "hot_inlet" in faults:
        inlet_c = inlet_c + (_RATED_INLET_C + 10.0 - inlet_c.mean())
    shape = 1.0 + swing * np.sin(day + phase + rng.uniform(-1.0, 1.0)) + 0.5 * swing * wander
    volume = np.maximum(shape / shape.mean(), 0.05)
    wet = saturation_pressure_pa(inlet_c) / float(saturation_pressure_pa(_RATED_INLET_C))
    if kind == "heated":
        volume = volume * mean_load / float(np.mean(volume * wet))
        return inlet_c, volume * rated_m3_min, volume * wet
    kelvin = (inlet_c + 273.15) / (_RATED_INLET_C + 273.15)
    volume = volume * mean_load / float(np.mean(volume * kelvin))
    return inlet_c, volume * rated_m3_min, volume * kelvin


def _run(
    rng: np.random.Generator,
    dryer: _Dryer,
    grid: Array,
    ratio: Array,
    control: str,
    faults: tuple[str, ...],
    onset_share: float,
    detection_s: float,
) -> _Trace:
    moisture = np.empty(len(grid))
    trace = _Trace(grid, moisture)
    onset = int(onset_share * len(grid))
    begin, tower = -int(rng.uniform(0.1, 0.9) * dryer.timer_s / _GRID_S), 0
    level = [_balance(dryer, float(ratio[: max(1, int(6 * 3600 / _GRID_S))].mean()), dryer.timer_s, 1.0)] * 2
    held = [0.0, 0.0]
    boundary = grid[0] + begin * _GRID_S
    while begin < len(grid):
        share = max(begin, 0) / len(grid)
        strength = [_strength(dryer, t, share, begin >= onset, faults) for t in (0, 1)]
        last = control == "stopped" and begin >= onset
        longest_s = dryer.longest_s if control == "dew_point" else dryer.timer_s
        count = len(grid) - begin if last else math.ceil(longest_s / _GRID_S) + 1
        index = np.clip(np.arange(begin, begin + count), 0, len(grid) - 1)
        curve = _half_cycle(dryer, ratio[index], level[tower], held[tower], strength[tower], last)
        if control == "dew_point":
            early = int(dryer.least_s / _GRID_S)
            every = max(1, round(detection_s / _GRID_S))
            over = np.flatnonzero(curve[early:] >= dryer.limit)
            count = min(early + every * math.ceil(int(over[0]) / every) + 1 if over.size else count, count)
            end = grid[0] + (begin + count) * _GRID_S
        else:
            end = boundary + dryer.timer_s
            count = len(grid) - begin if last else math.ceil((end - grid[0]) / _GRID_S) - begin
        stop = min(begin + count, len(grid))
        place = slice(max(begin, 0), stop)
        moisture[place] = curve[max(begin, 0) - begin : stop - begin]
        if last:
            trace.stopped_s = float(boundary)
            break
        loaded = float(ratio[index[:count]].sum() * _GRID_S / dryer.half_cycle_s)
        length_s = count * _GRID_S
        mean_ratio = loaded * dryer.half_cycle_s / length_s
        target = _balance(dryer, mean_ratio, length_s, strength[tower])
        pull = 1.0 - math.exp(-2.0 * length_s / dryer.creep_s)
        level[tower] = math.exp(math.log(level[tower]) + pull * (math.log(target) - math.log(level[tower])))
        held[tower] = _residue(dryer, held[tower] + loaded, tower, begin >= onset, faults)
        begin, tower, boundary = begin + count, 1 - tower, end
        if begin < len(grid):
            trace.switchovers.append((float(boundary), "AB"[tower]))
    leak = np.zeros(len(grid))
    if "bypass_leak" in faults:
        leak[onset:] = 1.5e-3
    if "leaking_valve" in faults:
        leak[onset:] = 4e-4
    wet = float(moisture_fraction(29.0, _PRESSURE_BAR))
    trace.moisture = moisture + leak * wet
    if "liquid_carryover" in faults:
        since = np.maximum(grid - grid[onset], 0.0)
        slug = (1.0 - np.exp(-since / 300.0)) * np.exp(-since / (0.15 * (grid[-1] - grid[0])))
        trace.moisture = trace.moisture + 40.0 * dryer.limit * slug
    return trace


def _strength(dryer: _Dryer, tower: int, share: float, after: bool, faults: tuple[str, ...]) -> float:
    """What is left of the reserve."""
    strength = 1.0
    if "lost_capacity" in faults:
        strength *= 1.0 - 0.25 * share
    if "slow_kinetics" in faults:
        strength *= 0.85
    if "weak_purge" in faults and after:
        strength *= 0.75
    if "clogged_silencer" in faults and after:
        strength *= 0.8
    if "tower_imbalance" in faults and tower == 1:
        strength *= 0.8
    if "dead_heater" in faults and after and tower == 1 and dryer.kind == "heatless":
        strength *= 0.25
    return strength


def _balance(dryer: _Dryer, ratio: float, length_s: float, strength: float) -> float:
    """Moisture a heatless tower settles at when it repeats this half-cycle."""
    wet = float(moisture_fraction(29.0, _PRESSURE_BAR))
    use = ratio * length_s / dryer.half_cycle_s / (dryer.reserve * strength)
    level = dryer.limit * math.exp(min(dryer.steepness * math.log(max(use, 1e-3)), 8.0) - _rise(dryer, ratio, length_s))
    level = max(level, 1e-12) + 0.3 * dryer.floor
    return 1.0 / (1.0 / level + 1.0 / wet)


def _rise(dryer: _Dryer, ratio: float, length_s: float) -> float:
    return dryer.ripple * ratio * length_s / dryer.half_cycle_s


def _half_cycle(dryer: _Dryer, ratio: Array, level: float, held: float, strength: float, endless: bool) -> Array:
    """Moisture of the leaving air on the grid from the switchover on."""
    since = _GRID_S * np.arange(len(ratio))
    loaded = np.cumsum(ratio) * _GRID_S / dryer.half_cycle_s
    wet = float(moisture_fraction(29.0, _PRESSURE_BAR))
    if dryer.kind == "heatless":
        start = level * (1.0 + 0.12 * dryer.spike * np.exp(-since / dryer.spike_s) * (level < dryer.limit))
        growth = np.minimum(dryer.ripple * loaded, 30.0)
        return 1.0 / (1.0 / (start * np.exp(growth)) + 1.0 / wet)
    reach = dryer.reserve * strength - held
    foot = np.clip((loaded - reach) / dryer.foot, -60.0, 30.0)
    front = (dryer.limit - dryer.floor) * np.exp(foot)
    spike = dryer.spike * dryer.floor * np.exp(-since / dryer.spike_s)
    return 1.0 / (1.0 / (dryer.floor + spike + front) + 1.0 / wet)


def _residue(dryer: _Dryer, loaded: float, tower: int, after: bool, faults: tuple[str, ...]) -> float:
    """Water left in a heated tower after regeneration, in rated half-cycles."""
    if dryer.kind == "heatless":
        return 0.0
    removed = 4.0
    if "dead_heater" in faults and after and tower == 1:
        removed = 0.03
    return max(0.0, loaded - removed)


def _probe(
    rng: np.random.Generator,
    trace: _Trace,
    sample_s: Array,
    inlet_c: Array,
    grid: Array,
    faults: tuple[str, ...],
    onset_share: float,
) -> tuple[Array, list[tuple[float, float, str]]]:
    felt = trace.moisture
    span = grid[-1] - grid[0]
    if "ambient_ingress" in faults:
        room = 0.55 * moisture_fraction(21.0 + 3.0 * np.sin(2.0 * np.pi * (grid - grid[0]) / 86400.0), 1.01325)
        felt = felt + 1.5e-3 * np.asarray(room)
    for constant_s in (12.0, 25.0):
        keep = math.exp(-_GRID_S / constant_s)
        felt = lfilter([1.0 - keep], [1.0, -keep], felt, zi=[keep * felt[0]])[0]
    spoiled: list[tuple[float, float, str]] = []
    if "settling" in faults:
        since = grid - grid[0]
        slow_s = rng.uniform(3000.0, 6000.0)
        felt = felt + 4e-4 * np.exp(-since / 700.0) + 4e-6 * np.exp(-since / slow_s)
    moisture = np.interp(sample_s, grid, felt)
    shown = np.asarray(dew_point_c(moisture, _PRESSURE_BAR)) + 0.03 * rng.standard_normal(len(sample_s))
    onset = grid[0] + onset_share * span
    if "stagnant_sample" in faults:
        inside = (sample_s >= onset) & (sample_s < onset + 0.3 * span)
        pipe = 3.0 * np.sin(2.0 * np.pi * (sample_s - grid[0]) / 86400.0)
        since = sample_s[inside] - onset
        shown[inside] = shown[inside][0] + 8.0 * (1.0 - np.exp(-since / 5000.0)) + pipe[inside] - pipe[inside][0]
        spoiled.append((onset, onset + 0.3 * span, "stagnant"))
    if "frozen_sensor" in faults:
        inside = (sample_s >= onset) & (sample_s < onset + 0.15 * span)
        shown[inside] = shown[inside][0]
        spoiled.append((onset, onset + 0.15 * span, "frozen"))
    if "removal" in faults:
        start = grid[0] + 0.96 * span
        inside = sample_s >= start
        shown[inside] += (1.0 - np.exp(-(sample_s[inside] - start) / 80.0)) * (9.0 - shown[inside])
        spoiled.append((start, float(grid[-1]), "removal"))
    return np.round(np.clip(shown, -90.0, 20.0), 2), spoiled


def _clock(
    rng: np.random.Generator,
    sample_s: Array,
    faults: tuple[str, ...],
    onset_share: float,
    spoiled: list[tuple[float, float, str]],
) -> tuple[NDArray[np.bool_], Array]:
    keep = np.ones(len(sample_s), bool)
    stamps = sample_s.copy()
    onset = sample_s[0] + onset_share * (sample_s[-1] - sample_s[0])
    if "lost_rows" in faults:
        keep &= ~((sample_s > onset) & (sample_s < onset + 4000.0)) & (rng.random(len(sample_s)) > 0.01)
        spoiled.append((float(onset), float(onset) + 4000.0, "gap"))
    if "clock_jump" in faults:
        stamps[sample_s > onset] -= 1500.0
        spoiled.append((float(onset) - 1500.0, float(onset), "clock_jump"))
    return keep, stamps


def _stamps(seconds: Array, timezone: str | None) -> list[str]:
    moments = pd.to_datetime(np.round(seconds), unit="s", utc=True)
    return moments.tz_convert(timezone or "UTC").strftime("%Y-%m-%d %H:%M:%S").tolist()


def _plant(
    dryer: _Dryer,
    kind: str,
    control: str,
    faults: tuple[str, ...],
    rated_m3_min: float,
    flow_m3_min: float,
    inlet_c: float,
    timezone: str | None,
) -> dict[str, Any]:
    site: dict[str, Any] = {"name": "Second test plant (invented)"}
    if timezone:
        site["timezone"] = timezone
    meant = "dew_point" if control == "dew_point" or "control_fallback" in faults else "fixed"
    return {
        "site": site,
        "dryer": {
            "regeneration": "heatless" if kind == "heatless" else "heated_purge",
            "control": meant,
            "rated_flow_m3_min": rated_m3_min,
            "rated_pressure_bar_g": _PRESSURE_BAR_G,
            "rated_inlet_temperature_c": _RATED_INLET_C,
            "half_cycle_s": dryer.half_cycle_s,
            "dew_point_limit_c": _LIMIT_C,
            "shortest_half_cycle_s": dryer.least_s,
            "longest_half_cycle_s": dryer.longest_s,
        },
        "operation": {"flow_m3_min": round(flow_m3_min, 2), "inlet_temperature_c": round(inlet_c, 1)},
        "measurement": {"pressure_bar_g": _PRESSURE_BAR_G, "basis": "pressure"},
    }


def _truth(
    dryer: _Dryer,
    trace: _Trace,
    grid: Array,
    ratio: Array,
    control: str,
    runs_on: str,
    faults: tuple[str, ...],
    sample_s: Array,
    interval_s: float,
    spoiled: list[tuple[float, float, str]],
    onset_share: float,
) -> dict[str, Any]:
    times = np.array([t for t, _ in trace.switchovers])
    lengths = np.diff(times)
    resolved = bool(len(lengths) and np.median(lengths) >= 4.0 * interval_s)
    dew = np.asarray(dew_point_c(trace.moisture, _PRESSURE_BAR))
    towers: dict[str, dict[str, float]] = {}
    peaks: dict[str, list[tuple[float, float]]] = {"A": [], "B": []}
    for (begin, tower), (end, _) in zip(trace.switchovers, trace.switchovers[1:], strict=False):
        inside = dew[(grid > begin + 0.4 * (end - begin)) & (grid < end - 1.0)]
        if inside.size:
            peaks[tower].append((float(inside.max()), float(inside.min())))
    for tower, seen in peaks.items():
        if seen:
            peak, floor = np.median(seen, axis=0)
            towers[tower] = {"peak_dew_point_c": float(peak), "floor_dew_point_c": float(floor)}
    reached = [peak > _LIMIT_C for seen in peaks.values() for peak, _ in seen]
    onset = float(grid[0] + onset_share * (grid[-1] - grid[0]))
    steps = {"weak_purge", "clogged_silencer", "dead_heater", "leaking_valve", "bypass_leak", "liquid_carryover"}
    onsets = {name: onset for name in faults if name in steps}
    if trace.stopped_s is not None:
        onsets["stopped_switching"] = trace.stopped_s
    extended = _extended_s(dryer, float(ratio.mean()), faults)
    capped = min(max(extended, dryer.least_s), dryer.longest_s)
    return {
        "start": float(sample_s[0]),
        "interval_s": interval_s,
        "faults": list(faults),
        "resolved": resolved,
        "control": ["unresolved"] if not resolved else ["stopped"] if control == "stopped" else [runs_on],
        "switchovers": [[t, tower] for t, tower in trace.switchovers],
        "half_cycle_s": float(np.median(lengths)) if len(lengths) else None,
        "towers": towers,
        "reached": bool(np.mean(reached) > 0.05) if reached else None,
        "above_share": float(np.mean(dew > _LIMIT_C)),
        "reserve": dryer.reserve,
        "load_ratio": float(ratio.mean()),
        "extended_half_cycle_s": capped,
        "sustained_margin_s": extended - dryer.timer_s,
        "saved_share": max(0.0, 1.0 - dryer.timer_s / capped),
        "excluded": [list(item) for item in spoiled],
        "onsets": onsets,
        "finding_codes_due": sorted({FINDING[name] for name in faults if name in FINDING}),
    }


def _extended_s(dryer: _Dryer, ratio: float, faults: tuple[str, ...]) -> float:
    """Half-cycle of the weaker tower that reaches the limit when repeated at the mean load, at the log's end."""
    weakest = min(_strength(dryer, t, 1.0, True, faults) for t in (0, 1))
    return dryer.reserve * weakest * dryer.half_cycle_s / max(ratio, 1e-3)
