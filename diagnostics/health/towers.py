"""Do both towers regenerate equally well, and from when on does one not?

Question: does one tower come back wetter than the other, all along or from some time on? Input: a `Case` with
half-cycles. Output: findings. Method: the contrast of neighbouring half-cycles, in which load and drift cancel; its
level over the log (imbalance), or its step at some instant (regeneration failure). Long half-cycles see different
loads, so there the contrast of the load is taken out as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from diagnostics.health.case import Case
from diagnostics.health.contrast import Contrast, contrast_towers
from diagnostics.health.faults_of_purge import purge_by_tower
from diagnostics.health.record import Finding, Severity
from diagnostics.health.sentences import BED, HOT_PARTS, PEOPLE, SILENCER, kelvin, level
from diagnostics.health.steps import Step, find_step, sigma
from diagnostics.log.record import Flags, Floats
from diagnostics.moment import say_duration

LEAST_DIFFERENCE_K = 1.0
LEAST_STEP_K = 3.0
SIGNIFICANCE = 0.01
_LEAST_DEPARTURE_K = 0.1
_CLEARER_THAN_A_LINE = 0.03
"""Share of variance by which an onset must beat a difference that grows over the whole log."""
_LONG_HALF_CYCLE_S = 2400.0
"""Beyond this the load changes between one half-cycle and the next."""
_UNEXPLAINED_DIFFERENCE_K = 2.0
"""Asked for where half-cycles are long and no load is known to set aside."""


@dataclass(frozen=True)
class StepOfTower:
    """One tower's lasting rise against the other."""

    tower: str
    start_s: float
    step: Step
    size_k: float
    before_c: float
    after_c: float
    other_before_c: float
    other_after_c: float
    half_cycles_after: int


def find_faults_of_towers(case: Case) -> list[Finding]:
    """Regeneration failure of one tower, or else imbalance of the two."""
    rows = case.rows
    if len(rows) < 5 or rows["tower"].nunique() != 2:
        return []
    failed = one_tower_steps(case)
    if failed is not None:
        return [_regeneration_failure(case, failed)]
    imbalance = _imbalance(case)
    return [] if imbalance is None else [imbalance]


def _is_b(rows: pd.DataFrame) -> Flags:
    return rows["tower"].to_numpy() == "B"


def _follows(rows: pd.DataFrame) -> Flags:
    start, end = rows["start_s"].to_numpy(float), rows["end_s"].to_numpy(float)
    tower = rows["tower"].to_numpy()
    follows = np.zeros(len(rows), bool)
    follows[1:] = (tower[1:] != tower[:-1]) & (np.abs(start[1:] - end[:-1]) < 0.25 * (end[:-1] - start[:-1]))
    return follows


def load_covariates(case: Case, rows: pd.DataFrame) -> Floats | None:
    """Relative load of each half-cycle and its square, shape (n, 2); None where no load was logged or it stands still.

    Only a load that the log itself holds can explain a difference.
    """
    if not case.screened.conditions.logged & {"flow", "inlet_temperature"}:
        return None
    load = rows["load_g_min"].to_numpy(float)
    if not np.isfinite(load).any():
        flow = case.screened.conditions.flow_m3_min
        if flow is None:
            return None
        load = case.mean_between(flow, rows)
    mean = float(np.nanmean(load))
    if not mean > 0:
        return None
    relative = load / mean - 1.0
    if np.nanstd(relative) < 1e-6:
        return None
    return np.column_stack([relative, relative**2])


def one_tower_steps(case: Case) -> StepOfTower | None:
    """Whether one tower comes back wet from some half-cycle on while the other does not."""
    rows = case.rows
    middle = np.flatnonzero(_follows(rows)[1:-1] & _follows(rows)[2:]) + 1
    if middle.size < 5:
        return None
    by_mean = _step_in(rows, "mean_dew_point_c", middle)
    return by_mean if by_mean is not None else _step_in(rows, "peak_dew_point_c", middle)


def _step_in(rows: pd.DataFrame, column: str, middle: NDArray[np.int64]) -> StepOfTower | None:
    values = rows[column].to_numpy(float)
    sign = np.where(_is_b(rows), 1.0, -1.0)
    against = (values[middle] - 0.5 * (values[middle - 1] + values[middle + 1])) * sign[middle]
    step = find_step(against)
    if step is None or abs(step.size) < LEAST_STEP_K or step.p_value > SIGNIFICANCE:
        return None
    if step.explains < step.line_explains + _CLEARER_THAN_A_LINE:
        return None
    wet = "B" if step.size > 0 else "A"
    cut = int(middle[min(step.index, middle.size - 1)])
    own = np.flatnonzero(rows["tower"].to_numpy() == wet)
    other = np.flatnonzero(rows["tower"].to_numpy() != wet)
    quiet, late = own[own < cut - 1], own[own > cut]
    other_quiet, other_late = other[other < cut - 1], other[other > cut]
    if min(quiet.size, other_quiet.size, other_late.size) < 1 or late.size < 2:
        return None
    kept = max(2, late.size // 2) if step.climbs else late.size
    found = StepOfTower(
        tower=wet,
        start_s=_failed_regeneration_s(rows, _first_wet(against, middle, step, own)),
        step=step,
        size_k=float(np.median(values[late[-kept:]]) - np.median(values[quiet])),
        before_c=float(np.median(values[quiet])),
        after_c=float(np.median(values[late[-kept:]])),
        other_before_c=float(np.median(values[other_quiet])),
        other_after_c=float(np.median(values[other_late[-kept:]])),
        half_cycles_after=int(late.size),
    )
    mean = rows["mean_dew_point_c"].to_numpy(float)
    return found if _failed(found, values[late[-kept:]], mean[late[-kept:]], mean[quiet]) else None


def _failed(found: StepOfTower, late: Floats, mean_late: Floats, mean_quiet: Floats) -> bool:
    """Whether one tower got wet and stayed so, in its mean too, and the other did not get half as wet."""
    other_k = found.other_after_c - found.other_before_c
    if found.size_k < LEAST_STEP_K or found.size_k - other_k < LEAST_STEP_K or other_k > 0.5 * found.size_k:
        return False
    if found.after_c - found.other_after_c < LEAST_DIFFERENCE_K:
        return False
    lasting = late > found.before_c + 0.3 * found.size_k
    wetter_k = float(np.median(mean_late) - np.median(mean_quiet))
    return bool(lasting.mean() >= 0.8 and wetter_k >= min(1.0, 0.2 * found.size_k))


def _first_wet(against: Floats, middle: NDArray[np.int64], step: Step, own: NDArray[np.int64]) -> int:
    """First half-cycle of the tower that leaves its former distance from the other tower; load cancels in it."""
    toward = against * np.sign(step.size)
    index = min(step.index, toward.size - 1)
    quiet = toward[: max(index - 2, 3)]
    allowed = float(np.median(quiet)) + max(4 * sigma(quiet), _LEAST_DEPARTURE_K)
    while index < toward.size - 1 and toward[index] <= allowed:
        index += 1
    while index > 0 and toward[index - 1] > allowed:
        index -= 1
    later = own[own >= middle[index]]
    return int(later[0]) if later.size else int(own[-1])


def _failed_regeneration_s(rows: pd.DataFrame, first_wet: int) -> float:
    """Start of the regeneration that went wrong: while the other tower dried, one half-cycle earlier."""
    starts = rows["start_s"].to_numpy(float)
    if first_wet > 0 and _follows(rows)[first_wet]:
        return float(starts[first_wet - 1])
    return float(starts[first_wet])


def _regeneration_failure(case: Case, found: StepOfTower) -> Finding:
    rows = case.rows
    wet = rows[(rows["tower"] == found.tower) & (rows["start_s"] > found.start_s)]
    passed = bool((wet["peak_dew_point_c"].iloc[-3:] > case.limit_c).any())
    heated = case.plant.heated
    parts = "heater, its thermostat or fuse, or the purge valve" if heated else "purge valve, check valve or silencer"
    severity: Severity = "critical" if passed else "warning"
    return case.finding(
        "regeneration_failure",
        severity,
        0.97 if found.size_k > 6 and found.half_cycles_after >= 3 else 0.85,
        statement=(
            f"Tower {found.tower} comes back wet since {case.say(found.start_s)}: its half-cycles went from"
            f" {level(found.before_c)} to {level(found.after_c)}, while the other tower stayed at"
            f" {level(found.other_after_c)}. Its regeneration most likely fails: {parts}."
            + (
                f" The limit of {level(case.limit_c)} is passed in its half-cycles, so every other half-cycle sends"
                " wet"
                " air to the process."
                if passed
                else " Waiting lets its bed fill up until the limit is passed in every other half-cycle."
            )
        ),
        evidence=[
            f"The difference between the towers stepped by {kelvin(abs(found.step.size))} and has lasted for"
            f" {found.half_cycles_after} half-cycles of this tower.",
            f"Other tower: {level(found.other_before_c)} before, {level(found.other_after_c)} after.",
            f"Chance of such a step without a cause: {_chance(found.step.p_value)}.",
        ],
        other_causes=[
            "a switching valve that no longer seals",
            "a check valve that lets wet air into the dried header",
            "a tower that no longer vents or no longer builds up pressure",
        ],
        action=(
            "Watch one regeneration of this tower: heater current and exhaust temperature, purge flow, pressure of"
            " the"
            " vessel while it is purged."
            if heated
            else "Watch one regeneration of this tower: pressure of the vessel while it is purged (near nought), purge"
            " flow at the exhaust, and whether it builds up pressure before it takes over."
        ),
        caution=_with_people(case, HOT_PARTS if heated else SILENCER),
        start_s=found.start_s,
        tower=found.tower,
    )


def _imbalance(case: Case) -> Finding | None:
    rows = case.rows
    long_half_cycles = float(rows["length_s"].median()) > _LONG_HALF_CYCLE_S
    covariates = load_covariates(case, rows) if long_half_cycles else None
    judged: list[tuple[str, Contrast]] = []
    columns = ("floor",) if case.switched_on_dew_point else ("peak", "floor")
    for name in columns:
        values = rows[f"{name}_dew_point_c"].to_numpy(float)
        contrast = contrast_towers(values, _is_b(rows), _follows(rows), covariates)
        if contrast is not None and _counts(contrast, long_half_cycles):
            judged.append((name, contrast))
    if not judged:
        return None
    return _say_imbalance(case, judged, long_half_cycles)


def _counts(contrast: Contrast, long_half_cycles: bool) -> bool:
    least = LEAST_DIFFERENCE_K
    if long_half_cycles and not contrast.load_adjusted:
        least = _UNEXPLAINED_DIFFERENCE_K
    steady = min(contrast.first_part * contrast.difference, contrast.last_part * contrast.difference)
    return (
        abs(contrast.difference) >= least and contrast.p_value < SIGNIFICANCE and steady >= 0.4 * contrast.difference**2
    )


def _say_imbalance(case: Case, judged: list[tuple[str, Contrast]], long_half_cycles: bool) -> Finding:
    name, contrast = max(judged, key=lambda item: abs(item[1].difference))
    worse = "B" if contrast.difference > 0 else "A"
    better = "A" if worse == "B" else "B"
    rows = case.rows
    medians = rows.groupby("tower")[f"{name}_dew_point_c"].median()
    worst = float(rows.loc[rows["tower"] == worse, "peak_dew_point_c"].quantile(0.95))
    size = abs(contrast.difference)
    passed = worst > case.limit_c and not case.switched_on_dew_point
    near = worst > case.limit_c - 10.0 or size >= 2.0
    lengths = rows.groupby("tower")["length_s"].median()
    uneven = abs(float(lengths[worse] / lengths[better]) - 1.0)
    others = ["a purge orifice or check valve that differs between the towers", "desiccant lost or oiled in one tower"]
    if uneven > 0.05 and not case.switched_on_dew_point:
        others.append(
            f"half-cycles that differ in length: {say_duration(float(lengths[worse]))} against"
            f" {say_duration(float(lengths[better]))}"
        )
    if long_half_cycles and not contrast.load_adjusted:
        others.append("a load that always falls to the same tower, for no flow was logged; a log with flow decides")
    return case.finding(
        "tower_imbalance",
        "critical" if passed else "warning" if near else "info",
        min(contrast.probability_beyond(0.7 * LEAST_DIFFERENCE_K), 1 - contrast.p_value),
        statement=(
            f"Tower {worse} is wetter than tower {better} by {kelvin(size)} at the {name} of its half-cycles"
            f"{', load set aside' if contrast.load_adjusted else ''} ({level(float(medians[worse]))} against"
            f" {level(float(medians[better]))} at the median), half-cycle after half-cycle. Tower {worse} most likely"
            " regenerates or seals worse."
            + (
                f" Its peaks pass the limit of {level(case.limit_c)}."
                if passed
                else f" Its peaks lie {kelvin(case.limit_c - worst)} below the limit; the weaker tower sets how long a"
                " half-cycle may last."
            )
        ),
        evidence=[
            f"{contrast.contrasts} half-cycles held against both neighbours: {kelvin(size)} ±"
            f" {kelvin(2 * contrast.error)} at the {name}; chance of this without a difference:"
            f" {_chance(contrast.p_value)}.",
            f"First half of the log {kelvin(abs(contrast.first_part))}, second half {kelvin(abs(contrast.last_part))}.",
            *(f"Tower {t} got {v:.2f} m³/min of purge while it regenerated." for t, v in purge_by_tower(case).items()),
        ],
        other_causes=others,
        action=(
            "Compare the two towers in each phase: pressure while purged, purge flow, time to build up pressure, leak"
            " at the switching and check valves."
        ),
        caution=_with_people(case, SILENCER if not case.plant.heated else HOT_PARTS)
        + (" " + BED if not case.plant.heated else ""),
        tower=worse,
    )


def _chance(p_value: float) -> str:
    return "under 1 in 10,000" if p_value < 1e-4 else f"about {100 * p_value:.2g} in 100"


def _with_people(case: Case, caution: str) -> str:
    return f"{PEOPLE} {caution}" if case.for_people else caution
