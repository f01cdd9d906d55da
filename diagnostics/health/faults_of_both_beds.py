"""Did both towers get wet together and stay so?

Question: did what regenerates both towers fail, a shared heater or the purge supply? Input: a `Case` with half-cycles.
Output: findings. Method: a lasting step in the drier of two neighbouring half-cycles, against the same load; a straight
climb (ageing), a load that rose with it, and a single wet tower are ruled out first.
"""

from __future__ import annotations

import numpy as np

from diagnostics.health.case import Case
from diagnostics.health.record import Finding
from diagnostics.health.sentences import HOT_PARTS, PEOPLE, SILENCER, kelvin, level
from diagnostics.health.steps import Step, find_step
from diagnostics.health.towers import load_covariates
from diagnostics.log.record import Floats
from diagnostics.moment import say_duration

LEAST_STEP_K = 6.0
_LEAST_STEP_WITHOUT_LOAD_K = 12.0
_LOAD_MAY_RISE = 1.1


def find_faults_of_both_beds(case: Case) -> list[Finding]:
    """Regeneration failure of both towers."""
    rows = case.rows
    if (
        len(rows) < 10
        or case.plant.dryer.control == "dew_point"
        or case.switched_on_dew_point
        or case.cycle.control == "stopped"
    ):
        return []
    floors = rows["floor_dew_point_c"].to_numpy(float)
    drier = np.minimum(floors[:-1], floors[1:])
    load = load_covariates(case, rows)
    step = find_step(drier, None if load is None else 0.5 * (load[:-1] + load[1:]), before=4, after=4)
    if step is None or not _lasting(drier, step, None if load is None else load[:, 0]):
        return []
    return [_shared_failure(case, step, float(rows["start_s"].to_numpy(float)[step.index]), load is not None)]


def _lasting(drier: Floats, step: Step, load: Floats | None) -> bool:
    least = _LEAST_STEP_WITHOUT_LOAD_K if load is None else LEAST_STEP_K
    grown = step.after - step.before
    if min(step.size, grown) < least or step.p_value > 0.01 or step.explains < step.line_explains + 0.05:
        return False
    if load is not None:
        before, after = load[: step.index], load[step.index :]
        if float(after.mean()) + 1 > _LOAD_MAY_RISE * (float(before.mean()) + 1):
            return False
    late = drier[step.index + max(1, (drier.size - step.index) // 2) :]
    wet = step.before + 0.5 * grown
    return bool((late > wet).mean() > 0.9 and (drier[: step.index] > wet).mean() < 0.05)


def _shared_failure(case: Case, step: Step, start_s: float, load_known: bool) -> Finding:
    heated = case.plant.heated
    passed = step.after > case.limit_c
    part = "heater or its control" if heated else "purge supply, its orifice or the exhaust silencer"
    return case.finding(
        "regeneration_failure",
        "critical" if passed else "warning",
        0.75 if load_known else 0.55,
        statement=(
            f"Both towers come back wetter since {case.say(start_s)}: even the drier of them went from"
            f" {level(step.before)} to {level(step.after)} and has stayed there for"
            f" {say_duration(case.end_s - start_s)}{', at no higher load' if load_known else ''}. What regenerates"
            " both of"
            f" them most likely fails: {part}. Waiting lets both beds fill up."
        ),
        evidence=[
            f"A step of {kelvin(step.size)} in the drier of two neighbouring half-cycles.",
            f"The step explains {100 * step.explains:.0f} % of what varies, a straight climb"
            f" {100 * step.line_explains:.0f} %.",
        ],
        other_causes=[
            "more load or a hotter inlet; a log with flow and inlet temperature decides",
            "a lower line pressure since then",
            "an instrument that was exchanged or set differently at that time",
        ],
        action=(
            "Read heater current and exhaust temperature over one heating of each tower, then the purge flow."
            if heated
            else "Read the pressure of each vessel while it is purged and the purge flow, and look at the silencer."
        ),
        caution=f"{PEOPLE} {_caution(heated)}" if case.for_people else _caution(heated),
        start_s=start_s,
    )


def _caution(heated: bool) -> str:
    return HOT_PARTS if heated else SILENCER
