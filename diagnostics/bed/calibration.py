"""Which bed stands behind a log: each tower's capacity, pace, residual water and driest air, and which of them show.

Question: how must the model's beds be changed so that half-cycles look as logged? Inputs: a segmented log and the
plant. Output: a `BedFit` per tower. Method: a few half-cycles of each tower, with the load that came, are given to
`heated_fit` or `heatless_fit`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnostics.bed.bed_fit import NAMES, BedFit, ObservedHalfCycle, mean_load
from diagnostics.bed.heated_fit import fit_heated, regenerated
from diagnostics.bed.heatless_fit import PaceCurve, fit_heatless
from diagnostics.bed.twin import Conditions
from diagnostics.bed.vessel import FREE_AIR_KG_M3, Dryer, dryer_from
from diagnostics.cycle.record import Cycle
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import Plant

_LEAST_SPREAD = 0.06
_MOST_HALF_CYCLES = {True: 2, False: 200}
_LEAST_READINGS = {True: 4 * len(NAMES), False: 3}
_MOST_READINGS = 120
_STRETCH_S = 900.0


def fit_bed(
    half_cycles: Sequence[ObservedHalfCycle], dryer: Dryer, pressure_bar: float, *, least_spread: float = _LEAST_SPREAD
) -> BedFit:
    """Fit one tower.

    Parameters
    ----------
    half_cycles : sequence of ObservedHalfCycle
        At best of different load; the first quarter, with the switchover's spike, is left out.
    dryer : Dryer
    pressure_bar : float
        Absolute line pressure the dew points refer to [bar].
    least_spread : float
        Scatter of one reading's logarithm of moisture that is assumed at least, for lag, grid and the load before
        [e-folds].

    Returns
    -------
    BedFit

    Raises
    ------
    ValueError
        Without readings, or with less than two half-cycles of a heatless tower.
    """
    if dryer.heated:
        return fit_heated(half_cycles, dryer, pressure_bar, least_spread)
    return fit_heatless(half_cycles, dryer, pressure_bar, least_spread)


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
    towers: dict[str, list[ObservedHalfCycle]] = {}
    for tower in ("A", "B"):
        rows = cycle.complete[cycle.complete["tower"] == tower]
        if len(rows) < 2:
            continue
        most = _MOST_HALF_CYCLES[dryer.heated]
        chosen = rows.iloc[np.unique(np.linspace(0, len(rows) - 1, most).round().astype(int))]
        spans = zip(chosen["start_s"].tolist(), chosen["end_s"].tolist(), strict=True)
        used = [span for span in spans if _is_used(screened, *span, _LEAST_READINGS[dryer.heated])]
        seen = [_observed(screened, start, end, plant) for start, end in used]
        if len(seen) >= (1 if dryer.heated else 2):
            towers[tower] = seen
    if not towers:
        return {}
    load = mean_load([half_cycle for seen in towers.values() for half_cycle in seen])
    if dryer.heated:
        start = regenerated(dryer, load)
        return {
            tower: fit_heated(seen, dryer, plant.line_pressure_bar, _LEAST_SPREAD, start)
            for tower, seen in towers.items()
        }
    curve = PaceCurve(dryer, load)
    return {
        tower: fit_heatless(seen, dryer, plant.line_pressure_bar, _LEAST_SPREAD, curve)
        for tower, seen in towers.items()
    }


def _is_used(screened: ScreenedLog, start_s: float, end_s: float, least: int) -> bool:
    time_s = screened.log.time_s
    return int(np.count_nonzero((time_s > start_s) & (time_s <= end_s) & screened.used)) >= least


def _observed(screened: ScreenedLog, start_s: float, end_s: float, plant: Plant) -> ObservedHalfCycle:
    time_s = screened.log.time_s
    inside = np.flatnonzero((time_s > start_s) & (time_s <= end_s) & screened.used)
    thin = inside[:: max(1, inside.size // _MOST_READINGS)]
    stretches = max(1, round((end_s - start_s) / _STRETCH_S))
    edges = np.linspace(start_s, end_s, stretches + 1)
    course = []
    for begin, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        rows = inside[(time_s[inside] > begin) & (time_s[inside] <= end)]
        course.append((end - begin, _load(screened, rows if rows.size else inside, plant)))
    return ObservedHalfCycle(time_s[thin] - start_s, screened.dew_point_c[thin], tuple(course))


def _load(screened: ScreenedLog, rows: np.ndarray, plant: Plant) -> Conditions:
    given = screened.conditions
    assert given.flow_m3_min is not None  # checked by `calibrate`
    assert given.inlet_temperature_c is not None
    inlet_k = float(np.mean(given.inlet_temperature_c[rows])) + 273.15
    dew_c = plant.operation.inlet_dew_point_c
    return Conditions(
        feed_kg_s=float(np.mean(given.flow_m3_min[rows])) / 60.0 * FREE_AIR_KG_M3,
        inlet_k=inlet_k,
        inlet_dew_point_k=inlet_k if dew_c is None else dew_c + 273.15,
        line_pa=float(np.mean(given.pressure_bar[rows])) * 1e5,
    )
