"""Which signs of a faulty measurement does the log hold?

Question: what did screening see, and what follows from what it set aside? Input: a `Case`. Output: signs, those of
screening first. Method: where screening gave no sign of its own, the stretches it set aside speak, the jumps of the
clock that reading met, an outlet that is wetter than its inlet can be, a sample that stood still between changeovers
hours apart, and readings that pile up at an extreme which the noise should make rare.
"""

from __future__ import annotations

import numpy as np

from diagnostics.health.case import Case
from diagnostics.health.sentences import counted
from diagnostics.health.standing_sample import standing_sign
from diagnostics.health.steps import sigma
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
_STANDS_STILL = 0.6
_EDGE_OF_A_STAND = 0.1
_FEWEST_FOR_A_PILE = 100
_NOISE_STEPS = 1.5
_FEWEST_MEETINGS = 5


def signs_of(case: Case) -> list[Sign]:
    """Signs of screening, and those that follow where it gave none."""
    signs = [_frozen(case, sign) or sign for sign in case.screened.signs if not _refuted_by_rhythm(case, sign)]
    told = {sign.code for sign in case.screened.signs}
    for exclusion in case.screened.exclusions:
        sign = _set_aside(case, exclusion)
        if sign is not None and sign.code not in told:
            signs.append(sign)
    if "clock_jump" not in told:
        signs += _jumps(case)
    if "inlet_wetter_than_saturated" not in told:
        signs += _wetter_than_inlet(case)
    if "sensor_range_end" not in told:
        signs += _piles_in_noise(case)
    if not any(sign.code == "sample_stagnant" for sign in signs):
        standing = standing_sign(case)
        signs += [] if standing is None else [standing]
    return _without_what_a_standing_sample_makes(signs, 2.0 * case.plant.half_cycle_s)


def _without_what_a_standing_sample_makes(signs: list[Sign], least_edge_s: float) -> list[Sign]:
    """A sample that stands turns so slowly that its crest repeats itself: no hold and no end of the range.

    Where it stands is known to some half-cycles or a tenth of its length, for only blocks tell.
    """
    standing = []
    for sign in signs:
        if sign.code == "sample_stagnant":
            edge_s = max(least_edge_s, _EDGE_OF_A_STAND * (sign.end_s - sign.start_s))
            standing.append((sign.start_s - edge_s, sign.end_s + edge_s))
    made = ("sensor_frozen", "sensor_range_end")
    return [s for s in signs if s.code not in made or not any(a <= s.start_s and s.end_s <= b for a, b in standing)]


def _refuted_by_rhythm(case: Case, sign: Sign) -> bool:
    """Whether air flowed past the sensor after all: the towers' changes can be told apart in most of the stretch."""
    rows = case.rows
    if sign.code != "sample_stagnant" or len(rows) == 0 or sign.end_s <= sign.start_s:
        return False
    start = np.maximum(rows["start_s"].to_numpy(float), sign.start_s)
    end = np.minimum(rows["end_s"].to_numpy(float), sign.end_s)
    return float(np.maximum(end - start, 0.0).sum()) > 0.5 * (sign.end_s - sign.start_s)


def _frozen(case: Case, sign: Sign) -> Sign | None:
    """What passes for a standing sample, as a number that stands still: a sample creeps, a hung one does not."""
    if sign.code != "sample_stagnant":
        return None
    time_s, logged = case.screened.log.time_s, case.screened.log.channels["dew_point"]
    within = (time_s >= sign.start_s) & (time_s <= sign.end_s) & np.isfinite(logged)
    if within.sum() <= 10:
        return None
    values, counts = np.unique(logged[within], return_counts=True)
    if counts.max() <= _STANDS_STILL * within.sum():
        return None
    value = float(values[np.argmax(counts)])
    held = time_s[within & (logged == value)]
    length = say_duration(float(held[-1] - held[0]))
    sentence = f"From {case.say(held[0])} on, for {length}, the reading stands still at {value:g} °C."
    return Sign("sensor_frozen", float(held[0]), float(held[-1]), 0.92, sentence, {"longest_s": held[-1] - held[0]})


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


def _piles_in_noise(case: Case) -> list[Sign]:
    """Ends of the range that cut through the noise of resting air.

    A reading with noise of more than a step or two makes its lowest and highest values rare, whatever course lies under
    it; a pile there that is met again and again, with less beside it, is a value that replaces those beyond.
    """
    logged = case.screened.log.channels["dew_point"]
    known = np.isfinite(logged)
    values, times, step = logged[known], case.screened.log.time_s[known], case.screened.resolution_c
    if values.size < _FEWEST_FOR_A_PILE or step <= 0:
        return []
    found = []
    for extreme, inward in ((float(values.min()), 1.0), (float(values.max()), -1.0)):
        depth = inward * (values - extreme) / step
        at = depth < 0.5
        bend = np.diff(values, 2)[~(at[:-2] | at[1:-1] | at[2:])]
        if bend.size < _FEWEST_FOR_A_PILE or sigma(bend) / np.sqrt(6.0) < _NOISE_STEPS * step:
            continue
        piled, beside = int(at.sum()), int(((depth >= 0.5) & (depth < 5.5)).sum()) / 5.0
        met = int((at & ~np.concatenate([[False], at[:-1]])).sum())
        if met < _FEWEST_MEETINGS or piled < 1.3 * beside or piled - beside < 3.0 * np.sqrt(piled + beside / 5.0):
            continue
        where = times[at]
        sentence = (
            f"{counted(piled, 'reading')} sit at exactly {extreme:g} °C, the {'lowest' if inward > 0 else 'highest'} of"
            f" the log, against {beside:.0f} at each of the next values: the noise goes on and the reading does not."
        )
        numbers = {"value_c": extreme, "share": piled / values.size}
        found.append(Sign("sensor_range_end", float(where[0]), float(where[-1]), 0.85, sentence, numbers))
    return found
