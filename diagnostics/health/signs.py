"""Which signs of a faulty measurement does the log hold?

Question: what did screening see, and what follows from what it set aside? Input: a `Case`. Output: signs, those of
screening first. Method: where screening gave no sign of its own, the stretches it set aside speak, the jumps of the
clock that reading met, and an outlet that is wetter than its inlet can be.
"""

from __future__ import annotations

import numpy as np

from diagnostics.health.case import Case
from diagnostics.health.sentences import counted
from diagnostics.log.record import Exclusion, Sign
from diagnostics.moment import say_duration

_CODE_OF_REASON = {
    "settling": "unsettled",
    "removal": "unsettled",
    "frozen": "sensor_frozen",
    "range_end": "sensor_range_end",
    "stagnant": "sample_stagnant",
}
_SEEN_AS = {
    "settling": "the probe was still drying down",
    "removal": "the probe was being taken off",
    "frozen": "the reading stood still to the last digit",
    "range_end": "the reading sat at the end of the instrument's range",
    "stagnant": "the reading followed a temperature and not the dryer",
}
WETTER_ALLOWED_K = 3.0
_LEAST_READINGS = 5


def signs_of(case: Case) -> list[Sign]:
    """Signs of screening, and those that follow where it gave none."""
    signs = [sign for sign in case.screened.signs if not _refuted_by_rhythm(case, sign)]
    told = {sign.code for sign in case.screened.signs}
    for exclusion in case.screened.exclusions:
        sign = _set_aside(case, exclusion)
        if sign is not None and sign.code not in told:
            signs.append(sign)
    if "clock_jump" not in told:
        signs += _jumps(case)
    if "inlet_wetter_than_saturated" not in told:
        signs += _wetter_than_inlet(case)
    return signs


def _refuted_by_rhythm(case: Case, sign: Sign) -> bool:
    """Whether air flowed past the sensor after all: the towers' changes can be told apart in most of the stretch."""
    rows = case.rows
    if sign.code != "sample_stagnant" or len(rows) == 0 or sign.end_s <= sign.start_s:
        return False
    start = np.maximum(rows["start_s"].to_numpy(float), sign.start_s)
    end = np.minimum(rows["end_s"].to_numpy(float), sign.end_s)
    return float(np.maximum(end - start, 0.0).sum()) > 0.5 * (sign.end_s - sign.start_s)


def _set_aside(case: Case, exclusion: Exclusion) -> Sign | None:
    code = _CODE_OF_REASON.get(exclusion.reason)
    if code is None:
        return None
    length = say_duration(exclusion.end_s - exclusion.start_s)
    sentence = f"From {case.say(exclusion.start_s)} on, for {length}, {_SEEN_AS[exclusion.reason]}."
    return Sign(code, exclusion.start_s, exclusion.end_s, 0.85, sentence)


def _jumps(case: Case) -> list[Sign]:
    found = []
    for jump in case.screened.log.clock_jumps:
        back = "go back" if jump.step_s < 0 else "jump"
        sentence = f"At {case.say(jump.time_s)} the stamps {back} by {say_duration(abs(jump.step_s))}."
        found.append(Sign("clock_jump", jump.time_s, jump.time_s, 0.99, sentence, {"step_s": jump.step_s}))
    return found


def _wetter_than_inlet(case: Case) -> list[Sign]:
    inlet = case.screened.log.channels.get("inlet_temperature")
    if inlet is None:
        return []
    with np.errstate(invalid="ignore"):
        beyond = case.screened.used & (case.screened.dew_point_c > inlet + WETTER_ALLOWED_K)
    count = int(beyond.sum())
    if count < _LEAST_READINGS:
        return []
    times = case.screened.log.time_s[beyond]
    worst = float(np.max((case.screened.dew_point_c - inlet)[beyond]))
    sentence = (
        f"In {counted(count, 'reading')} from {case.say(times[0])} on the dew point of the dried air lies above the"
        " logged"
        f" inlet temperature, by up to {worst:.1f} K."
    )
    return [Sign("inlet_wetter_than_saturated", float(times[0]), float(times[-1]), 0.95, sentence, {"excess_k": worst})]
