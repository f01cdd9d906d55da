"""Did water get into the dried air by another way than through the beds?

Question: did a wet slug pass, or does wet air leak past the towers? Input: a `Case`. Output: findings. Method: a sudden
rise of the level that then falls slowly whichever tower dries (carry-over of liquid water); a moisture that is a
constant share of the inlet's, without the rise and fall that beds make (bypass, or a leak from the wet side). Mixing is
reckoned in moisture: y = (1 - f) y_dry + f y_inlet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import moisture_fraction
from diagnostics.health.case import Case
from diagnostics.health.levels import Levels, levels_of
from diagnostics.health.record import Finding
from diagnostics.health.sentences import BED, PEOPLE, STORED_PRESSURE, kelvin, level
from diagnostics.health.steps import sigma
from diagnostics.log.record import Flags, Floats
from diagnostics.moment import say_duration

LEAST_JUMP_K = 4.0
LEAST_RECOVERY = 0.2


def find_faults_of_air(case: Case) -> list[Finding]:
    """Carry-over and bypass leak."""
    levels = levels_of(case)
    if levels is None:
        return []
    slug = find_slug(levels)
    if slug is not None:
        return [_carryover(case, slug)]
    if case.cycle.control == "stopped":
        return []
    leak = find_leak(case, levels)
    return [] if leak is None else [_bypass_leak(case, leak)]


@dataclass(frozen=True)
class Slug:
    """A sudden wetting and its recovery."""

    start_s: float
    end_s: float
    before_c: float
    wettest_c: float
    jump_k: float
    recovered_share: float
    half_recovery_s: float
    noise_k: float
    load_ratio: float | None


def sudden_rise(levels: Levels) -> tuple[int, int, float] | None:
    """The largest rise of the level within two blocks, if it stands out from the usual changes.

    Returns
    -------
    tuple or None
        First block after the rise, width of the windows compared, usual change [K].
    """
    values = levels.corrected_c
    n = values.size
    width = max(2, min(6, n // 6))
    if n < 3 * width:
        return None
    windows = np.lib.stride_tricks.sliding_window_view(values, width)
    medians = np.median(windows, axis=1)
    k = np.arange(width, n - width + 1)
    at_once = np.maximum(values[k], values[np.minimum(k + 1, n - 1)])
    jumps = np.minimum(medians[k], at_once) - medians[k - width]
    noise = sigma(jumps)
    best = int(np.argmax(jumps))
    if jumps[best] < max(LEAST_JUMP_K, 6 * noise):
        return None
    return int(k[best]), width, noise


def find_slug(levels: Levels) -> Slug | None:
    """The largest sudden rise of the level, if it falls slowly afterwards.

    Returns
    -------
    Slug or None
        None where no rise of `LEAST_JUMP_K` within two blocks stands out, or none that recovers.
    """
    rise = sudden_rise(levels)
    return None if rise is None else _recovery(levels, *rise)


def _recovery(levels: Levels, k: int, width: int, noise: float) -> Slug | None:
    departure = levels.corrected_c
    base = float(np.median(departure[max(0, k - 4 * width) : k]))
    while k > 1 and departure[k - 1] - base > 0.3 * (departure[k] - base):
        k -= 1
    top = k + int(np.argmax(departure[k : k + 2 * width]))
    jump = float(departure[top] - base)
    if jump < LEAST_JUMP_K:
        return None
    after = departure[top:]
    if after.size < 4:
        return None
    smooth = np.array([np.median(after[max(0, i - 1) : i + 2]) for i in range(after.size)])
    recovered = (departure[top] - smooth) / jump
    past = np.flatnonzero(recovered >= 0.8)
    end = int(past[0]) if past.size else after.size - 1
    share = float(np.max(recovered[: end + 1]))
    fall = np.diff(smooth[: end + 1])
    if share < LEAST_RECOVERY or fall.size < 3 or -fall.min() > 0.6 * jump:
        return None
    steady_fall = float((fall <= 0.15 * jump).mean())
    climbs_again = float(np.max(smooth[end:]) - base) > 0.75 * jump and past.size > 0
    if steady_fall < 0.9 or climbs_again:
        return None
    half = np.flatnonzero(recovered >= min(0.5, share))
    return Slug(
        start_s=float(levels.start_s[k]),
        end_s=float(levels.start_s[min(top + end, levels.start_s.size - 1)] + levels.block_s),
        before_c=float(np.median(levels.dew_point_c[max(0, k - 4 * width) : k])),
        wettest_c=float(levels.dew_point_c[top]),
        jump_k=jump,
        recovered_share=min(share, 1.0),
        half_recovery_s=float((half[0] if half.size else after.size) * levels.block_s),
        noise_k=noise,
        load_ratio=_load_ratio(levels, k, width),
    )


def _load_ratio(levels: Levels, k: int, width: int) -> float | None:
    if levels.load is None:
        return None
    before = float(np.mean(levels.load[max(0, k - 2 * width) : k]))
    return float(np.mean(levels.load[max(0, k - 1) : k + 2])) / before if before > 0 else None


def _sharp_start_s(case: Case, slug: Slug, block_s: float) -> float:
    """Instant within the block at which the reading leaves the level before."""
    time_s, used = case.screened.log.time_s, case.screened.used
    near = used & (time_s >= slug.start_s - block_s) & (time_s <= slug.start_s + 2 * block_s)
    over = near & (case.screened.dew_point_c > slug.before_c + 0.3 * slug.jump_k)
    return float(time_s[over][0]) if over.any() else slug.start_s


def _carryover(case: Case, slug: Slug) -> Finding:
    by_load = slug.load_ratio is not None and slug.load_ratio > 1.25
    passed = slug.wettest_c > case.limit_c
    confidence = 0.95 if slug.recovered_share > 0.6 else 0.85
    block_s = case.screened.log.interval_s * 5
    start_s = _sharp_start_s(case, slug, max(block_s, case.plant.half_cycle_s))
    others = ["the probe was touched or its line got wet", "air drawn through wet piping after a standstill"]
    if by_load:
        others.insert(0, f"a load that rose to {slug.load_ratio:.1f} times what it was at the same time")
    return case.finding(
        "carryover",
        "critical" if passed else "warning",
        confidence * (0.6 if by_load else 1.0),
        statement=(
            f"At {case.say(start_s)} the air got wetter by {kelvin(slug.jump_k)} at once, from {level(slug.before_c)}"
            f" to {level(slug.wettest_c)}, and dried only slowly after it: half of the rise was gone after"
            f" {say_duration(slug.half_recovery_s)}, whichever tower was drying. Liquid water was most likely carried"
            " into the dryer, from a failed drain or a flooded separator; it breaks desiccant and comes again until"
            " the"
            " drain works."
        ),
        evidence=[
            f"Rise of {kelvin(slug.jump_k)} against {kelvin(slug.noise_k)} of usual change.",
            f"{100 * slug.recovered_share:.0f} % of it recovered by {case.say(slug.end_s)}.",
        ],
        other_causes=others,
        action=(
            "Test the drains of separator, pre-filter and receiver by hand, look for water in the pre-filter's bowl"
            " and"
            " listen at the dryer's inlet; then look for dust after the dryer."
        ),
        caution=f"{PEOPLE} {BED}" if case.for_people else BED,
        start_s=start_s,
        end_s=min(slug.end_s, case.end_s),
    )


@dataclass(frozen=True)
class Leak:
    """A wet share of the inlet air in the outlet."""

    start_s: float
    share: float
    share_spread: float
    level_c: float
    ripple_share: float
    follows_inlet: float | None
    confidence: float


WET_C = -55.0
"""Drier than this a share of a few parts per million could as well be the beds' own."""
_SATURATED = 0.2
"""Beyond this share no bed dries at all: that is no leak but a tower that was never switched over."""
_STEADY = 0.15
_RIPPLE_OF_A_LEAK = 0.12


def find_leak(case: Case, levels: Levels) -> Leak | None:
    """Whether a wet share stays the same whichever tower dries, over the log or from some time on."""
    inlet = _inlet_moisture(case)
    if inlet is None or case.switched_on_dew_point:
        return None
    start_s = _onset(levels)
    used = case.screened.used & (case.screened.log.time_s >= start_s)
    if used.sum() < 50:
        return None
    moisture, inlet = case.screened.moisture[used], inlet[used]
    share = moisture / inlet
    middle, middle_share = float(np.median(case.screened.dew_point_c[used])), float(np.median(share))
    if middle < WET_C or middle_share > _SATURATED:
        return None
    spread = min(sigma(np.log(share)), sigma(np.log(moisture)))
    ripple = _ripple(case, start_s, share)
    if spread > _STEADY or ripple > _RIPPLE_OF_A_LEAK:
        return None
    follows = _slope(np.log(inlet), np.log(moisture))
    confidence = _confidence_of_leak(case, used, follows, opened=start_s > levels.start_s[0])
    if confidence is None:
        return None
    return Leak(start_s, middle_share, spread, middle, ripple, follows, confidence)


def _confidence_of_leak(case: Case, used: Flags, follows: float | None, *, opened: bool) -> float | None:
    """From what tells a leak from an overloaded or worn dryer; None where nothing does."""
    if opened:
        return 0.9
    if follows is not None and 0.5 < follows < 1.7:
        return 0.92
    flow = case.screened.conditions.flow_m3_min
    if flow is None or "flow" not in case.screened.conditions.logged:
        return 0.6 if follows is None else None
    known = used & (flow > 0)
    against_flow = _slope(np.log(flow[known]), np.log(case.screened.moisture[known])) if known.any() else None
    return 0.75 if against_flow is not None and abs(against_flow) < 0.3 else None


def _inlet_moisture(case: Case) -> Floats | None:
    conditions, operation = case.screened.conditions, case.plant.operation
    wettest = conditions.inlet_temperature_c
    if operation.inlet_dew_point_c is not None:
        dew_point = np.full(conditions.pressure_bar.size, operation.inlet_dew_point_c)
        wettest = dew_point if wettest is None else np.minimum(dew_point, wettest)
    if wettest is None:
        wettest = np.full(conditions.pressure_bar.size, case.plant.dryer.rated_inlet_temperature_c)
    if not np.isfinite(wettest).all():
        return None
    return moisture_fraction(np.clip(wettest, -40.0, 80.0), np.maximum(conditions.pressure_bar, 1.0))


def _onset(levels: Levels) -> float:
    """Instant of a sudden rise that lasts; else the log's start."""
    rise = sudden_rise(levels)
    if rise is None:
        return float(levels.start_s[0])
    k, width, _ = rise
    values = levels.corrected_c
    before = float(np.median(values[:k]))
    after = values[k + 1 :]
    lasts = after.size >= width and (after > before + 0.5 * (float(np.median(after)) - before)).mean() > 0.9
    return float(levels.start_s[k] + levels.block_s) if lasts else float(levels.start_s[0])


def _ripple(case: Case, start_s: float, share: Floats) -> float:
    """Rise within half-cycles as a share of the level; without half-cycles the readings' own scatter."""
    rows = case.rows[case.rows["start_s"] >= start_s] if len(case.rows) else case.rows
    if len(rows) >= 4:
        pressure = float(np.median(case.screened.conditions.pressure_bar))
        peak = moisture_fraction(rows["peak_dew_point_c"].to_numpy(float), pressure)
        floor = moisture_fraction(rows["floor_dew_point_c"].to_numpy(float), pressure)
        return float(np.median((peak - floor) / np.sqrt(peak * floor)))
    return sigma(share) / float(np.median(share))


def _slope(cause: Floats, moisture: Floats) -> float | None:
    """Slope of ln moisture on the logarithm of a cause; None where the cause hardly changes."""
    if cause.std() < 0.03:
        return None
    centred = cause - cause.mean()
    return float(centred @ (moisture - moisture.mean()) / (centred @ centred))


def _bypass_leak(case: Case, leak: Leak) -> Finding:
    whole = leak.start_s <= case.start_s + 0.05 * (case.end_s - case.start_s)
    since = "over the whole log" if whole else f"since {case.say(leak.start_s)}"
    passed = leak.level_c > case.limit_c
    near = leak.level_c > case.limit_c - 10.0
    known = "inlet_temperature" in case.screened.conditions.logged
    followed = (
        f" It follows the inlet's moisture with a slope of {leak.follows_inlet:.1f} (1 for a leak)."
        if leak.follows_inlet is not None and 0.5 < leak.follows_inlet < 1.7
        else ""
    )
    return case.finding(
        "bypass_leak",
        "critical" if passed else "warning" if near else "info",
        leak.confidence,
        statement=(
            f"The air stayed at {level(leak.level_c)} {since}, whichever tower was drying and however far into its"
            f" half-cycle it was: as if {_parts(leak.share)} of the wet inlet air went past the beds. A bypass or"
            " switching valve most likely lets wet air through; no regeneration mends that."
        ),
        evidence=[
            f"Rise within half-cycles only {100 * leak.ripple_share:.1f} % of the moisture.",
            f"The share of the inlet's moisture keeps within {100 * leak.share_spread:.0f} %.{followed}",
            "Inlet temperature from the log." if known else "Inlet moisture from the plant file, not from the log.",
        ],
        other_causes=[
            "both beds at the end of their life",
            "room air in the sample line",
            "a large receiver before the probe that smooths an overloaded dryer; a probe at the dryer's outlet decides",
        ],
        action=(
            "Feel or measure the temperature of the bypass line, shut and tag the bypass, then see whether the dew"
            " point falls within the hour; after that test the check valves."
        ),
        caution=f"{PEOPLE} {STORED_PRESSURE}" if case.for_people else STORED_PRESSURE,
        start_s=None if whole else leak.start_s,
    )


def _parts(share: float) -> str:
    if share >= 1e-3:
        return f"{100 * share:.2g} %"
    digits = max(0, -math.floor(math.log10(share * 1e6)) + 1)
    return f"{share * 1e6:.{digits}f} parts in a million"
