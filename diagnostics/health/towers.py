"""Do both towers regenerate equally well, and from when on does one not?

Question: does one tower come back wetter than the other, all along or from some time on? Input: a `Case` with
half-cycles. Output: findings. Method: the contrast of neighbouring half-cycles, in which load and drift cancel; its
level over the log (imbalance), or its step at some instant (regeneration failure). Long half-cycles see different
loads, so there the contrast of the load is taken out as well.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from diagnostics.health.case import Case
from diagnostics.health.contrast import Contrast, contrast_towers
from diagnostics.health.faults_of_purge import purge_by_tower
from diagnostics.health.record import Finding, Severity
from diagnostics.health.sentences import DUST, HOT_PARTS, PEOPLE, SILENCER, kelvin, level, percent
from diagnostics.health.tower_steps import LEAST_DIFFERENCE_K, SIGNIFICANCE, StepOfTower, follows, is_b, one_tower_steps
from diagnostics.health.undried import Undried, find_undried
from diagnostics.log.record import Floats
from diagnostics.moment import say_duration

_LONG_HALF_CYCLE_S = 2400.0
"""Beyond this the load changes between one half-cycle and the next."""
_HIDDEN = 0.5
"""Share of a difference at equal load that the medians as logged show at least where the load did not hide it."""
_UNEXPLAINED_DIFFERENCE_K = 2.0
"""Asked for where half-cycles are long and no load is known to set aside."""


def find_faults_of_towers(case: Case) -> list[Finding]:
    """Regeneration failure of one tower, or else imbalance of the two."""
    rows = case.rows
    if len(rows) < 5 or rows["tower"].nunique() != 2:
        return []
    failed = one_tower_steps(case.rows_to_the_end())
    if failed is not None:
        return [_regeneration_failure(case, failed)]
    undried = find_undried(case)
    if undried is not None:
        return [_never_dry(case, undried)]
    imbalance = _imbalance(case)
    return [] if imbalance is None else [imbalance]


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


def _parts(case: Case) -> str:
    heated = case.plant.heated
    return "heater, its thermostat or fuse, or the purge valve" if heated else "purge valve, check valve or silencer"


_OTHER_CAUSES_OF_FAILURE = (
    "a switching valve that no longer seals",
    "a check valve that lets wet air into the dried header",
    "a tower that no longer vents or no longer builds up pressure",
)


def _action_on_failure(case: Case) -> str:
    if case.plant.heated:
        return (
            "Watch one regeneration of this tower: heater current and exhaust temperature, purge flow, pressure of the"
            " vessel while it is purged."
        )
    return (
        "Watch one regeneration of this tower: pressure of the vessel while it is purged (near nought), purge flow at"
        " the exhaust, and whether it builds up pressure before it takes over."
    )


def _never_dry(case: Case, found: Undried) -> Finding:
    began = "all through this log, so since before it began" if found.start_s is None else ""
    since = began or f"since {case.say(found.start_s or case.start_s)}"
    passed = found.wet_c > case.limit_c
    return case.finding(
        "regeneration_failure",
        "critical" if passed else "warning",
        0.9,
        statement=(
            f"Tower {found.tower} hardly dries any more, {since}: at the end of its half-cycles the air holds"
            f" {percent(found.share)} of the inlet's moisture ({level(found.wet_c)}"
            f" against {level(found.other_c)} for the other tower). Its regeneration most likely fails:"
            f" {_parts(case)}."
            + (
                f" The limit of {level(case.limit_c)} is passed, so every other half-cycle sends wet air to the"
                " process."
                if passed
                else " Waiting lets the other tower work alone."
            )
        ),
        evidence=[f"Last half-cycles of tower {found.tower}: peaks of {level(found.wet_c)} at the median."],
        other_causes=_OTHER_CAUSES_OF_FAILURE,
        action=_action_on_failure(case),
        caution=_with_people(case, HOT_PARTS if case.plant.heated else SILENCER),
        start_s=found.start_s,
        tower=found.tower,
    )


def _regeneration_failure(case: Case, found: StepOfTower) -> Finding:
    rows = case.rows_to_the_end()
    wet = rows[(rows["tower"] == found.tower) & (rows["start_s"] > found.start_s)]
    passed = bool((wet["peak_dew_point_c"].iloc[-3:] > case.limit_c).any())
    heated = case.plant.heated
    severity: Severity = "critical" if passed else "warning"
    return case.finding(
        "regeneration_failure",
        severity,
        0.97 if found.size_k > 6 and found.half_cycles_after >= 3 else 0.85,
        statement=(
            f"Tower {found.tower} comes back wet since {case.say(found.start_s)}: its half-cycles went from"
            f" {level(found.before_c)} to {level(found.after_c)}, while the other tower stayed at"
            f" {level(found.other_after_c)}. Its regeneration most likely fails: {_parts(case)}."
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
        other_causes=_OTHER_CAUSES_OF_FAILURE,
        action=_action_on_failure(case),
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
        contrast = contrast_towers(values, is_b(rows), follows(rows), covariates)
        if contrast is not None and _counts(contrast, long_half_cycles):
            judged.append((name, contrast))
    if not judged or (
        long_half_cycles and not case.switched_on_dew_point and not _shows_in_mean(rows, covariates, judged)
    ):
        return None
    return _say_imbalance(case, judged, long_half_cycles)


def _shows_in_mean(rows: pd.DataFrame, covariates: Floats | None, judged: list[tuple[str, Contrast]]) -> bool:
    """Whether the wetter tower is wetter in its mean too; a peak alone may be a switchover seen late."""
    mean = contrast_towers(rows["mean_dew_point_c"].to_numpy(float), is_b(rows), follows(rows), covariates)
    largest = max((c.difference for _, c in judged), key=abs)
    return mean is None or mean.difference * np.sign(largest) >= 0.2 * abs(largest)


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
    apart = float(medians[worse] - medians[better])
    hidden = " as logged, each with the load it had" if contrast.load_adjusted and apart < _HIDDEN * size else ""
    return case.finding(
        "tower_imbalance",
        "critical" if passed else "warning" if near else "info",
        min(contrast.probability_beyond(0.7 * LEAST_DIFFERENCE_K), 1 - contrast.p_value),
        statement=(
            f"Tower {worse} is wetter than tower {better} by {kelvin(size)} at the {name} of its half-cycles"
            f"{', load set aside' if contrast.load_adjusted else ''} ({level(float(medians[worse]))} against"
            f" {level(float(medians[better]))} at the median{hidden}), half-cycle after half-cycle. Tower {worse} most"
            " likely regenerates or seals worse."
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
        caution=_with_people(case, HOT_PARTS if case.plant.heated else f"{DUST} {SILENCER}"),
        tower=worse,
    )


def _chance(p_value: float) -> str:
    return "under 1 in 10,000" if p_value < 1e-4 else f"about {100 * p_value:.2g} in 100"


def _with_people(case: Case, caution: str) -> str:
    return f"{PEOPLE} {caution}" if case.for_people else caution
