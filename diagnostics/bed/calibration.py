"""Which bed stands behind a log: each tower's effective capacity, pace and residual wetness, and which of them show.

Question: how must the model's beds be changed so that half-cycles look as logged? Inputs: half-cycles of one tower as
time since switchover, dew point and load. Output: a `BedFit` per tower. Method: the drying bed alone is marched through
the half-cycles; the logarithm of leaving moisture is fitted by least squares (scipy's trust region), and the covariance
tells what the log fixes. A parameter whose 95 % interval spans more than a factor of two is not fixed: without a tail
capacity and pace only have a lower bound in common, and a trace that lies on the residual says nothing of either.

The bed is taken as evenly dry when it starts; water that regeneration leaves at the wet end shows as lost capacity, and
may show as a slower pace. Both are effective figures, not those of the beads.
A heatless bed's level is set by purge balance and heat over days; one half-cycle carries no news of its capacity or
pace. Of such a tower only the level of its leaving air is told, and the other two are named as open, without a value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.bed.column import MASS_RATIO, Array, BedState, Packing, Stream, enthalpy_of
from diagnostics.bed.march import Row
from diagnostics.bed.twin import Conditions
from diagnostics.bed.vessel import FREE_AIR_KG_M3, Dryer, dryer_from
from diagnostics.cycle.record import Cycle
from diagnostics.estimate import Estimate
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

NAMES = ("capacity", "kinetics", "residual")
"""Multiples of new beads' capacity and rate; moisture of the first dry air [-]."""

_STEP_S = 60.0
_SPIKE_SHARE = 0.25
_FIXED_FACTOR = 2.0
_LEAST_SPREAD = 0.02
_BOUNDS = ((-2.5, -2.5, -20.0), (1.0, 1.5, -8.0))
_CELLS = 50
_MOST_HALF_CYCLES = 4
_MOST_READINGS = 120
_MOST_HEATLESS = 200
_LEAST_READINGS_HEATLESS = 3


@dataclass(frozen=True)
class ObservedHalfCycle:
    """One half-cycle of one tower.

    Attributes
    ----------
    since_s : array
        Time since the switchover [s], ascending.
    dew_point_c : array
        Pressure dew point as read [degC].
    conditions : Conditions
        Mean load.
    """

    since_s: Array
    dew_point_c: Array
    conditions: Conditions


@dataclass(frozen=True)
class BedFit:
    """A tower's bed as its half-cycles show it.

    Attributes
    ----------
    values : dict of str to Estimate
        By `NAMES`; an interval is as wide as the log leaves it. A heatless tower has "residual" alone: the level of its
        leaving air past the switchover.
    correlation : array (k, k)
        Of the logarithms, in the order of `values`.
    misfit : float
        Root mean square of the logarithm of moisture [e-folds]; for a heatless tower about its level.
    fixed, free : tuple of str
        What the log fixes within a factor of two, and what it leaves open.
    word : str
        The same as a sentence.
    """

    values: dict[str, Estimate]
    correlation: Array
    misfit: float
    fixed: tuple[str, ...]
    free: tuple[str, ...]
    word: str


def fit_bed(
    half_cycles: Sequence[ObservedHalfCycle], dryer: Dryer, pressure_bar: float, *, least_spread: float = _LEAST_SPREAD
) -> BedFit:
    """Fit capacity, pace and residual of one tower; of a heatless dryer its level alone.

    Parameters
    ----------
    half_cycles : sequence of ObservedHalfCycle
        At best of different load; the first quarter, with the switchover's spike, is left out.
    dryer : Dryer
    pressure_bar : float
        Absolute line pressure the dew points refer to [bar].
    least_spread : float
        Scatter of one reading's logarithm of moisture that is assumed at least, for drift and lag [e-folds].

    Returns
    -------
    BedFit

    Raises
    ------
    ValueError
        Without readings, or with less than two half-cycles of a heatless tower.
    """
    from scipy.optimize import least_squares

    if not dryer.heated:
        return _level_of([_seen(half_cycle, pressure_bar)[1] for half_cycle in half_cycles], least_spread)
    seen = [_seen(half_cycle, pressure_bar) for half_cycle in half_cycles]
    count = sum(times.size for times, _ in seen)
    if count < 2 * len(NAMES):
        raise ValueError(f"a fit needs {2 * len(NAMES)} readings or more past the spike, got {count}")
    packing = replace(dryer.packings[0], cells=_CELLS, capacity=1.0)

    def misses(x: Array) -> Array:
        parts = []
        for half_cycle, (times, logarithm) in zip(half_cycles, seen, strict=True):
            model = _leaving(packing, half_cycle.conditions, x, float(times[-1]), dryer.seat_leak_share)
            parts.append(np.interp(times, *model) - logarithm)
        return np.concatenate(parts)

    floor = min(float(logarithm.min()) for _, logarithm in seen)
    start = np.array([0.0, 0.0, np.clip(floor, _BOUNDS[0][2] + 0.1, _BOUNDS[1][2] - 0.1)])
    found = least_squares(misses, start, bounds=_BOUNDS, diff_step=0.02, x_scale=(0.3, 0.3, 1.0), max_nfev=40)
    return _report(found.x, found.jac, found.fun, least_spread, len(half_cycles))


def calibrate(screened: ScreenedLog, cycle: Cycle, plant: Plant) -> Mapping[str, BedFit]:
    """Fit each tower to a few of its half-cycles, spread over the log; more of them where the dryer is heatless.

    Parameters
    ----------
    screened : ScreenedLog
        With flow and inlet temperature from the log or the plant file.
    cycle : Cycle
        Resolved.
    plant : Plant
        With ``dryer.rated_flow_m3_min``.

    Returns
    -------
    mapping of str to BedFit
        By tower, "A" and "B"; a tower without two complete half-cycles is missing.

    Raises
    ------
    ValueError
        Where flow or inlet temperature is unknown.
    """
    given = screened.conditions
    if given.flow_m3_min is None or given.inlet_temperature_c is None:
        raise ValueError("a fit needs flow and inlet temperature, from the log or the plant file's [operation]")
    dryer = dryer_from(plant)
    most = _MOST_HALF_CYCLES if dryer.heated else _MOST_HEATLESS
    least = 4 * len(NAMES) if dryer.heated else _LEAST_READINGS_HEATLESS
    fits = {}
    for tower in ("A", "B"):
        rows = cycle.complete[cycle.complete["tower"] == tower]
        if len(rows) < 2:
            continue
        chosen = rows.iloc[np.unique(np.linspace(0, len(rows) - 1, most).round().astype(int))]
        spans = zip(chosen["start_s"].tolist(), chosen["end_s"].tolist(), strict=True)
        used = [span for span in spans if _is_used(screened, *span, least)]
        seen = [_observed(screened, start, end, plant) for start, end in used]
        if len(seen) >= (1 if dryer.heated else 2):
            fits[tower] = fit_bed(seen, dryer, plant.line_pressure_bar)
    return fits


def _is_used(screened: ScreenedLog, start_s: float, end_s: float, least: int) -> bool:
    time_s = screened.log.time_s
    return int(np.count_nonzero((time_s > start_s) & (time_s <= end_s) & screened.used)) >= least


def _observed(screened: ScreenedLog, start_s: float, end_s: float, plant: Plant) -> ObservedHalfCycle:
    given = screened.conditions
    assert given.flow_m3_min is not None  # checked by `calibrate`
    assert given.inlet_temperature_c is not None
    time_s = screened.log.time_s
    inside = np.flatnonzero((time_s > start_s) & (time_s <= end_s) & screened.used)
    thin = inside[:: max(1, inside.size // _MOST_READINGS)]
    inlet_k = float(np.mean(given.inlet_temperature_c[inside])) + 273.15
    dew_c = plant.operation.inlet_dew_point_c
    conditions = Conditions(
        feed_kg_s=float(np.mean(given.flow_m3_min[inside])) / 60.0 * FREE_AIR_KG_M3,
        inlet_k=inlet_k,
        inlet_dew_point_k=inlet_k if dew_c is None else dew_c + 273.15,
        line_pa=float(np.mean(given.pressure_bar[inside])) * 1e5,
    )
    return ObservedHalfCycle(time_s[thin] - start_s, screened.dew_point_c[thin], conditions)


def _seen(half_cycle: ObservedHalfCycle, pressure_bar: float) -> tuple[Array, Array]:
    times = np.asarray(half_cycle.since_s, float)
    keep = (times > _SPIKE_SHARE * times[-1]) & np.isfinite(half_cycle.dew_point_c)
    moisture = np.asarray(moisture_fraction(np.asarray(half_cycle.dew_point_c)[keep], pressure_bar))
    return times[keep], np.log(moisture)


def _leaving(packing: Packing, conditions: Conditions, x: Array, duration_s: float, leak: float) -> tuple[Array, Array]:
    """Times [s] and logarithm of leaving moisture of a bed that starts regenerated."""
    bed = replace(packing, capacity=float(np.exp(x[0])), kinetics=packing.kinetics * float(np.exp(x[1])))
    residual = float(np.exp(x[2]))
    kelvin = conditions.inlet_k + 5.0
    vapour = residual * conditions.line_pa
    loading = bed.capacity * np.asarray(bed.desiccant.isotherm.loading(np.full(bed.cells, vapour), kelvin))
    state = BedState(loading, enthalpy_of(bed.desiccant, loading, kelvin), np.full(bed.cells, kelvin))
    stream = Stream(conditions.feed_kg_s, conditions.inlet_ratio, conditions.inlet_k, conditions.line_pa, kelvin)
    ratio = Row([bed], [stream], conditions.room_k).march(state, duration_s, _STEP_S).ratio[:, 0]
    ratio = np.maximum(ratio, 1e-12)
    times = duration_s * (np.arange(ratio.size) + 0.5) / ratio.size
    return times, np.log(ratio / (ratio + MASS_RATIO))


def _report(x: Array, jacobian: Array, misses: Array, least_spread: float, half_cycles: int) -> BedFit:
    misfit = float(np.sqrt(np.mean(misses**2)))
    spread = max(misfit, least_spread)
    # Misses within a half-cycle go together, so it is half-cycles, a few pieces each, that count and not readings.
    pieces = min(misses.size, 4 * half_cycles + 4)
    inflation = misses.size / pieces
    curvature = jacobian.T @ jacobian / (spread**2 * inflation)
    covariance = np.linalg.inv(curvature + np.diag(1.0 / np.array([2.0, 2.0, 4.0]) ** 2))
    sigma = np.sqrt(np.diag(covariance))
    values = {
        name: Estimate.ordered(*np.exp([x[i], x[i] - 1.96 * sigma[i], x[i] + 1.96 * sigma[i]]).tolist())
        for i, name in enumerate(NAMES)
    }
    fixed = tuple(name for name in NAMES if values[name].high / values[name].low <= _FIXED_FACTOR)
    free = tuple(name for name in NAMES if name not in fixed)
    return BedFit(values, covariance / np.outer(sigma, sigma), misfit, fixed, free, _word(fixed, free))


def _level_of(logarithms: Sequence[Array], least_spread: float) -> BedFit:
    """Level of a heatless tower's leaving air: mean of its half-cycles' means, neighbours counted as they go together.

    The effective number of half-cycles is n (1 - r) / (1 + r), r being the correlation of neighbours (first-order
    autoregression); the load moves the level over hours, so r is seldom small.
    """
    means = np.array([values.mean() for values in logarithms if values.size])
    if means.size < 2:
        raise ValueError(f"a heatless tower's level needs 2 half-cycles or more with readings, got {means.size}")
    apart = means - means.mean()
    scatter = float(apart @ apart)
    together = float(np.clip(apart[1:] @ apart[:-1] / scatter, 0.0, 0.98)) if scatter > 0.0 else 0.0
    pieces = max(1.0, means.size * (1.0 - together) / (1.0 + together))
    sigma = max(float(np.sqrt(scatter / (means.size - 1) / pieces)), least_spread)
    level = float(means.mean())
    residual = Estimate.ordered(*np.exp([level, level - 1.96 * sigma, level + 1.96 * sigma]).tolist())
    misfit = float(np.sqrt(np.mean((np.concatenate(list(logarithms)) - level) ** 2)))
    fixed = ("residual",) if residual.high / residual.low <= _FIXED_FACTOR else ()
    free = tuple(name for name in NAMES if name not in fixed)
    leaves = "fix the level of the leaving air alone" if fixed else "do not even fix the level of the leaving air"
    word = (
        f"The log's half-cycles {leaves}; a heatless bed's capacity and pace do not show in them, "
        "since the purge balance sets its level."
    )
    return BedFit({"residual": residual}, np.eye(1), misfit, fixed, free, word)


def _word(fixed: tuple[str, ...], free: tuple[str, ...]) -> str:
    if not free:
        return "The log's half-cycles fix capacity, pace and residual wetness of the bed."
    if not fixed:
        return "The log's half-cycles fix neither capacity nor pace nor residual wetness of the bed."
    why = "; no tail shows in its half-cycles" if "capacity" in free else ""
    return f"The log's half-cycles fix the bed's {' and '.join(fixed)} and leave {' and '.join(free)} open{why}."
