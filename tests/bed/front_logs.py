"""Logs of heated dryers made from published breakthrough curves, with the moment of the limit known from the curve.

No part of the engine is used to make them: the front is Thomas's closed form for a Langmuir isotherm (Thomas 1944,
J. Am. Chem. Soc. 66, 1664; here written with J(x, y) = 1 - F(2x; 2, 2y), F the noncentral chi-squared distribution) or,
for a linear isotherm, J itself (Anzelius 1926, Klinkenberg 1954).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from scipy.signal import lfilter
from scipy.stats import ncx2

from diagnostics.air.humidity import dew_point_c, mixing_ratio_g_kg, moisture_fraction
from diagnostics.cycle.record import HALF_CYCLE_COLUMNS, ControlSpan, Cycle
from diagnostics.estimate import Estimate
from diagnostics.log.conditions import DRY_AIR_KG_M3
from diagnostics.log.record import Conditions, Log, ScreenedLog
from diagnostics.plant import Plant, plant_from

HALF_CYCLE_S = 14400.0
PRESSURE_BAR = 8.01325
START_S = 1_770_000_000.0
RATED_FLOW_M3_MIN = 20.0
_STEP_S = 60.0
_FOLLOW_DAYS = 4


def j_function(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """J(x, y) = 1 - INT_0^x exp(-(y+s)) I0(2 sqrt(y s)) ds."""
    return np.asarray(ncx2.sf(2.0 * np.maximum(x, 1e-9), 2, 2.0 * np.maximum(y, 1e-9)))


def thomas(transfer_units: np.ndarray, throughput: np.ndarray, separation: float) -> np.ndarray:
    """Concentration at the outlet over that at the inlet, Langmuir isotherm with r = 1 / (1 + b c0)."""
    n, nt, r = transfer_units, transfer_units * throughput, separation
    ahead = j_function(r * n, nt)
    behind = 1.0 - j_function(n, r * nt)
    return ahead / (ahead + behind * np.exp(np.clip((r - 1.0) * (nt - n), -600.0, 600.0)))


@dataclass(frozen=True, eq=False)
class FrontLog:
    """A log, its half-cycles and what is true of them."""

    plant: Plant
    screened: ScreenedLog
    cycle: Cycle
    margin_s: float
    load_ratio: float


def front_log(
    seed: int,
    *,
    separation: float | None = None,
    reserve: float | None = None,
    use: float = 0.92,
    days: float = 4.0,
    noise_k: float = 0.05,
    bias_k: float = 0.0,
    swing: float = 0.2,
    weaker: float = 1.0,
) -> FrontLog:
    """Make one log.

    Parameters
    ----------
    seed : int
    separation : float, optional
        r of the isotherm; 1 is linear; drawn if not given.
    reserve : float, optional
        Loaded water at the limit at rated flow, in nameplate half-cycles; drawn from 0.6 to 1.6 if not given.
    use : float
        Mean load over the reserve.
    days, noise_k, bias_k, swing : float
    weaker : float
        What the second tower holds, over the first.
    """
    rng = np.random.default_rng([seed, 5])
    r = float(rng.choice([0.1, 0.3, 0.6, 0.9])) if separation is None else separation
    units = float(rng.uniform(20.0, 60.0))
    held = float(rng.uniform(0.6, 1.6)) if reserve is None else reserve
    samples = int(days * 1440)
    time_s = START_S + _STEP_S * np.arange(samples + _FOLLOW_DAYS * 1440)
    flow, inlet_c, ratio = _load(rng, time_s, held * use, swing)
    loaded = np.cumsum(ratio) * _STEP_S / HALF_CYCLE_S
    limit = float(moisture_fraction(-40.0, PRESSURE_BAR))
    plateau = float(moisture_fraction(rng.uniform(-64.0, -56.0), PRESSURE_BAR))
    inlet = float(moisture_fraction(35.0, PRESSURE_BAR))
    at = np.linspace(0.02, 1.2, 4000)
    full = held / at[np.searchsorted(plateau + inlet * thomas(np.full_like(at, units), at, r), limit)]

    def outlet(first: int, index: np.ndarray, tower: int) -> np.ndarray:
        filled = np.maximum(loaded[index] - loaded[first], 1e-6) / (full * (weaker if tower else 1.0))
        return plateau * flow[index] ** 0.3 + inlet * thomas(units / flow[index] ** 0.6, filled, r)

    edges = np.arange(time_s[0] - rng.uniform(0.0, HALF_CYCLE_S), time_s[samples] + HALF_CYCLE_S, HALF_CYCLE_S)
    leaving = np.empty(time_s.size)
    margins: dict[int, list[float]] = {0: [], 1: []}
    for number, (begin, end) in enumerate(pairwise(edges)):
        first, last = np.searchsorted(time_s, (begin, end))
        if first >= last:
            continue
        index = np.arange(first, last)
        spike = plateau * rng.uniform(1.0, 6.0) * np.exp(-(time_s[index] - begin) / rng.uniform(600.0, 1500.0))
        leaving[index] = outlet(first, index, number % 2) + (spike if begin >= time_s[0] else 0.0)
        if begin >= time_s[0] and end < time_s[samples]:
            on = np.arange(first, min(first + _FOLLOW_DAYS * 1440, time_s.size))
            over = np.flatnonzero(outlet(first, on, number % 2) >= limit)
            margins[number % 2].append(float(time_s[on[over[0]]] - end))
    shown = _shown(rng, leaving[:samples], noise_k) + bias_k
    plant, screened = _screened(time_s[:samples], shown, flow[:samples], inlet_c[:samples], ratio[:samples])
    margin_s = min(float(np.median(values)) for values in margins.values())
    return FrontLog(plant, screened, _cycle(screened, edges), margin_s, float(ratio[:samples].mean()))


def _load(
    rng: np.random.Generator, time_s: np.ndarray, mean: float, swing: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Flow over its rating, inlet temperature [degC], moisture load over its rating."""
    of_day = np.mod(time_s / 86400.0, 1.0)
    wander = lfilter([0.24], [1.0, -0.97], rng.standard_normal(time_s.size + 500))[500:]
    inlet_c = 30.0 + 1.5 * np.sin(2.0 * np.pi * (of_day - 0.35)) + 0.2 * wander
    wet = mixing_ratio_g_kg(moisture_fraction(inlet_c, PRESSURE_BAR))
    wet = wet / float(mixing_ratio_g_kg(moisture_fraction(35.0, PRESSURE_BAR)))
    flow = np.clip((1.0 + swing * ((of_day > 0.25) & (of_day < 0.8)) - 0.5 * swing) * np.exp(0.05 * wander), 0.2, 3.0)
    flow = flow * mean / float(np.mean(flow * wet))
    return flow, inlet_c, flow * wet


def _shown(rng: np.random.Generator, moisture: np.ndarray, noise_k: float) -> np.ndarray:
    share = 1.0 - np.exp(-_STEP_S / float(rng.choice([30.0, 120.0])))
    felt = lfilter([share], [1.0, share - 1.0], moisture, zi=[moisture[0] * (1.0 - share)])[0]
    return np.round(np.asarray(dew_point_c(felt, PRESSURE_BAR)) + noise_k * rng.standard_normal(moisture.size), 1)


def _screened(
    time_s: np.ndarray, shown: np.ndarray, flow: np.ndarray, inlet_c: np.ndarray, ratio: np.ndarray
) -> tuple[Plant, ScreenedLog]:
    plant = plant_from(
        {
            "dryer": {
                "regeneration": "heated_purge",
                "rated_flow_m3_min": RATED_FLOW_M3_MIN,
                "half_cycle_s": HALF_CYCLE_S,
                "longest_half_cycle_s": 86400.0,
            },
            "measurement": {"pressure_bar_g": PRESSURE_BAR - 1.01325, "basis": "pressure", "uncertainty_c": 2.0},
        }
    )
    rated = RATED_FLOW_M3_MIN * DRY_AIR_KG_M3 * float(mixing_ratio_g_kg(moisture_fraction(35.0, PRESSURE_BAR)))
    conditions = Conditions(
        np.full(time_s.size, PRESSURE_BAR),
        inlet_c,
        flow * RATED_FLOW_M3_MIN,
        ratio * rated,
        frozenset({"flow", "inlet_temperature"}),
    )
    log = Log("made from a published curve", time_s, {"dew_point": shown}, {}, None, _STEP_S)
    moisture = np.asarray(moisture_fraction(shown, PRESSURE_BAR))
    used = np.ones(time_s.size, bool)
    return plant, ScreenedLog(log, shown, moisture, used, (), conditions, resolution_c=0.1)


def _cycle(screened: ScreenedLog, edges: np.ndarray) -> Cycle:
    time_s, shown = screened.log.time_s, screened.dew_point_c
    rows = []
    for number, (begin, end) in enumerate(pairwise(edges)):
        first, last = np.searchsorted(time_s, (begin, end))
        if last - first < 60:
            continue
        part = shown[first:last]
        later = part[int(0.4 * part.size) :]
        complete = bool(begin >= time_s[0] and end <= time_s[-1])
        ends = float(np.median(part[-3:]))
        row = (begin, end, "AB"[number % 2], complete, later.max(), part.min(), ends, part.mean(), part[:60].max())
        rows.append(row)
    table = pd.DataFrame(rows, columns=list(HALF_CYCLE_COLUMNS))
    return Cycle(
        "fixed",
        (ControlSpan(float(time_s[0]), float(time_s[-1]), "fixed"),),
        True,
        table,
        Estimate.exact(HALF_CYCLE_S),
        (HALF_CYCLE_S, HALF_CYCLE_S),
        readings_per_half_cycle=HALF_CYCLE_S / _STEP_S,
    )
