"""Did water get into the dried air by another way than through the beds?

Question: did a wet slug pass, or does wet air leak past the towers? Input: a `Case`. Output: findings. Method: a sudden
rise of the level that then falls slowly whichever tower dries (carry-over of liquid water); a moisture that is a
constant share of the inlet's, without the rise and fall that beds make (bypass, or a leak from the wet side). Mixing is
reckoned in moisture: y = (1 - f) y_dry + f y_inlet.
"""

from __future__ import annotations

import math

from diagnostics.health.case import Case
from diagnostics.health.ingress import Ingress, find_ingress
from diagnostics.health.leaks import EITHER, Leak, find_leak
from diagnostics.health.levels import levels_of
from diagnostics.health.record import Finding
from diagnostics.health.sentences import BED, PEOPLE, SAMPLE_POINT, STORED_PRESSURE, kelvin, level, percent
from diagnostics.health.slugs import Slug, find_slug
from diagnostics.moment import say_duration

_MOST_CLIPPED = 0.1
"""Share of readings at an end of the range from which on the steadiness of the level says nothing."""
_TOLD = 0.5
"""Confidence from which on the room is named as the cause."""
_SLOW_BED = "beds that answer their load over hours to days: a log of three days with flow tells them from a room"


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
    if leak is not None and leak.confidence > EITHER:
        return [_bypass_leak(case, leak)]
    told = {s.code for s in case.screened.signs if s.numbers.get("share", 1.0) >= _MOST_CLIPPED}
    ingress = find_ingress(case) if not told & {"ambient_ingress", "sample_stagnant", "sensor_range_end"} else None
    if ingress is not None:
        return [_ambient_ingress(case, ingress)]
    return [] if leak is None else [_bypass_leak(case, leak)]


def _sharp_start_s(case: Case, slug: Slug, block_s: float) -> float:
    """Instant within the block at which the reading leaves the level before."""
    time_s, used = case.screened.log.time_s, case.screened.used
    near = used & (time_s >= slug.start_s - block_s) & (time_s <= slug.start_s + 2 * block_s)
    over = near & (case.screened.dew_point_c > slug.before_c + 0.3 * slug.jump_k)
    return float(time_s[over][0]) if over.any() else slug.start_s


def _set_aside_before(case: Case, slug: Slug) -> float | None:
    """Start of a stretch set aside as a removal of the probe, if the wet air that follows it shows that it was none."""
    for exclusion in case.screened.exclusions:
        inside = case.start_s + 3600.0 < exclusion.start_s < slug.start_s + 3600.0
        if exclusion.reason == "removal" and inside and exclusion.end_s > slug.start_s - 3600.0:
            return exclusion.start_s
    return None


def _carryover(case: Case, slug: Slug) -> Finding:
    by_load = slug.load_ratio is not None and slug.load_ratio > 1.25
    passed = slug.wettest_c > case.limit_c
    confidence = 0.95 if slug.recovered_share > 0.6 else 0.85
    block_s = case.screened.log.interval_s * 5
    taken_off = _set_aside_before(case, slug)
    start_s = taken_off or _sharp_start_s(case, slug, max(block_s, case.plant.half_cycle_s))
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
        "info" if leak.confidence <= EITHER else "critical" if passed else "warning" if near else "info",
        leak.confidence,
        statement=(
            f"The air stayed at {level(leak.level_c)} {since}, whichever tower was drying and however far into its"
            f" half-cycle it was: as if {_parts(leak.share)} of the wet inlet air went past the beds."
            + (
                " Either a bypass or switching valve lets wet air through, which no regeneration mends, or both beds"
                " regenerate too little for this load; without flow and inlet temperature the log cannot tell. Shutting"
                " the bypass decides: if the dew point falls within the hour, it leaks."
                if leak.confidence <= EITHER
                else " A bypass or switching valve most likely lets wet air through; no regeneration mends that."
            )
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


def _ambient_ingress(case: Case, ingress: Ingress) -> Finding:
    evidence = [f"Rise within half-cycles only {percent(ingress.ripple_share)} of the moisture."]
    if ingress.flow_share is not None:
        evidence.append(f"Flow explains {percent(max(ingress.flow_share, 0.0))} of how it changes from hour to hour.")
    if ingress.inlet_slope is not None:
        evidence.append(f"It follows the inlet's moisture with a slope of {ingress.inlet_slope:.1f} (1 for a bypass).")
    return case.finding(
        "ambient_ingress",
        "warning" if ingress.confidence >= _TOLD else "info",
        ingress.confidence,
        statement=_said_of_ingress(case, ingress),
        evidence=evidence,
        other_causes=(
            *((_SLOW_BED,) if ingress.confidence < _TOLD else ()),
            "a constant share of wet air past the beds: it stays when the sample flow is raised, a leak of the sample"
            " line falls",
            "a plastic sample hose that lets moisture through",
        ),
        action="Raise the sample flow and tighten the couplings: if the reading falls, it was the sample line.",
        caution=f"{PEOPLE} {SAMPLE_POINT}" if case.for_people else SAMPLE_POINT,
    )


def _said_of_ingress(case: Case, ingress: Ingress) -> str:
    stays = f"The reading stays around {level(ingress.level_c)}"
    said = (
        f"{stays} whichever tower dries and whatever the load is: room air most likely gets into the sample through a"
        " leaking coupling or a plastic hose"
        if ingress.confidence >= _TOLD
        else f"{stays} and moves with the time of day: either room air gets into the sample, or beds at the end of"
        " their strength follow the load hours to days late. Raising the sample flow tells which: room air thins out,"
        " the beds' moisture stays"
        if ingress.or_slow_bed
        else f"{stays}, hardly rises within half-cycles and moves with the time of day: either room air gets into the"
        " sample, or a constant share of wet air goes past the beds, or they regenerate too little. Raising the sample"
        " flow tells which: room air thins out, the dryer's own moisture stays"
    )
    said += ". With room air in it" if ingress.confidence < _TOLD else ", so"
    said += " the dryer's own air may be drier than shown"
    if ingress.level_c > case.limit_c:
        said += f" and whether it passes the limit of {level(case.limit_c)} stays open until that is told"
    return said + "."


def _parts(share: float) -> str:
    if share >= 1e-3:
        return f"{100 * share:.2g} %"
    digits = max(0, -math.floor(math.log10(share * 1e6)) + 1)
    return f"{share * 1e6:.{digits}f} parts in a million"
