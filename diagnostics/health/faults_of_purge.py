"""Is the purge what the nameplate says?

Question: does purge leak, or is it held back? Input: a `Case`. Output: findings. Method: measured or orifice purge
against the nameplate's, both with their intervals; pressure in the vessel that is purged against
what a clean silencer leaves.
"""

from __future__ import annotations

import numpy as np

from diagnostics.estimate import Estimate
from diagnostics.health.case import Case
from diagnostics.health.record import Finding
from diagnostics.health.sentences import PEOPLE, SILENCER, between, percent

BACK_PRESSURE_BAR_G = 0.3
_HELD_PRESSURE_BAR_G = 1.0
_EXCESS, _SHORT = 1.25, 0.8


def find_faults_of_purge(case: Case) -> list[Finding]:
    """Purge excess, purge short, clogged silencer."""
    clogged = _clogged_silencer(case)
    found = [clogged if clogged is not None else _against_nameplate(case)]
    return [f for f in found if f is not None]


def _against_nameplate(case: Case) -> Finding | None:
    purge = case.purge
    average, nameplate = purge.average_m3_min, purge.nameplate_m3_min
    if purge.basis not in ("measured", "orifice") or average is None or nameplate is None or nameplate.value <= 0:
        return None
    if not case.plant.is_given("dryer.purge_share"):
        return None
    ratio = average.value / nameplate.value
    if ratio >= _EXCESS and average.low > 1.1 * nameplate.value:
        return _excess(case, average, nameplate, ratio)
    if ratio <= _SHORT and average.high < 0.9 * nameplate.value:
        return _short(case, average, nameplate, ratio)
    return None


def _excess(case: Case, average: Estimate, nameplate: Estimate, ratio: float) -> Finding:
    measured = case.purge.basis == "measured"
    surplus = average.value - nameplate.value
    likely = "A purge or exhaust valve most likely leaks" if measured else "The orifice is too wide for this dryer"
    cost, currency = case.purge.cost_per_year, case.plant.economics.currency
    worth = f", about {between(cost.scaled(1 - 1 / ratio), currency)} a year" if cost is not None else ""
    return case.finding(
        "purge_excess",
        "warning",
        0.9 if measured else 0.7,
        statement=(
            f"Regeneration takes {between(average, 'm³/min')} of dried air"
            f" ({'measured' if measured else 'by the bore of the orifice'}) where the nameplate allows"
            f" {nameplate.value:.2f} m³/min: {percent(ratio - 1)} too much, {surplus:.2f} m³/min{worth}."
            f" {likely}."
        ),
        evidence=[f"Purge is {percent(ratio)} of the nameplate's.", *_by_tower(case)],
        other_causes=["a purge valve set wider by hand", "an exhaust valve that does not shut", "a worn orifice"],
        action=(
            "With the purge phase over, listen and feel at the exhaust: it should be silent. Then compare the"
            " setting of"
            " the purge valve with the nameplate."
        ),
        caution=SILENCER,
    )


def _short(case: Case, average: Estimate, nameplate: Estimate, ratio: float) -> Finding:
    measured = case.purge.basis == "measured"
    return case.finding(
        "purge_short",
        "warning",
        0.9 if measured else 0.7,
        statement=(
            f"Regeneration gets {between(average, 'm³/min')} of dried air"
            f" ({'measured' if measured else 'by the bore of the orifice'}), only {percent(ratio)} of the"
            f" {nameplate.value:.2f} m³/min on the nameplate. Most likely the silencer, the orifice or the purge"
            " valve is"
            " clogged or set too narrow; the beds will get wetter from cycle to cycle at full load."
        ),
        evidence=[f"Purge is {percent(ratio)} of the nameplate's.", *_by_tower(case)],
        other_causes=["a purge trimmed for light load", "a flow meter out of its range", "line pressure below rating"],
        action=(
            f"Read the pressure of the vessel while it is purged: above {BACK_PRESSURE_BAR_G:g} bar gauge points to"
            " the"
            " silencer, near nought to the orifice or its valve."
        ),
        caution=f"{PEOPLE} {SILENCER}" if case.for_people else SILENCER,
    )


def _clogged_silencer(case: Case) -> Finding | None:
    held = case.plant.dryer.regenerating_pressure_bar_g
    if held is None or held <= BACK_PRESSURE_BAR_G:
        return None
    barometer = case.plant.site.barometric_pressure_bar
    more = held / barometer
    return case.finding(
        "purge_short",
        "critical" if held >= _HELD_PRESSURE_BAR_G else "warning",
        0.9,
        statement=(
            f"The vessel that is purged stands at {held:.2f} bar gauge; a clean silencer leaves less than"
            f" {BACK_PRESSURE_BAR_G:g} bar. The purge expands less and carries {percent(1 - 1 / (1 + more))} less water"
            " away,"
            " as if so much of it were missing. Most likely the exhaust silencer is clogged; it gets worse until it"
            " bursts"
            " or the beds stay wet."
        ),
        evidence=[f"{held:.2f} bar gauge read in the vessel that is purged, from the plant file."],
        other_causes=["an exhaust valve that does not open fully", "an outlet check valve that leaks into the vessel"],
        action="Read the gauge again in the middle of the purge of either tower, then have the silencer replaced.",
        caution=f"{PEOPLE} {SILENCER}" if case.for_people else SILENCER,
    )


def purge_by_tower(case: Case) -> dict[str, float]:
    """Mean logged purge while each tower regenerates, that is while the other dries [m3/min]; empty if not logged."""
    flow = case.screened.log.channels.get("purge_flow")
    rows = case.rows
    if flow is None or len(rows) < 4 or rows["tower"].nunique() != 2:
        return {}
    mean = case.mean_between(flow, rows)
    resting = np.where(rows["tower"].to_numpy() == "A", "B", "A")
    found = {t: mean[(resting == t) & np.isfinite(mean)] for t in ("A", "B")}
    return {t: float(np.median(values)) for t, values in found.items() if values.size}


def _by_tower(case: Case) -> list[str]:
    share = purge_by_tower(case)
    return [f"Tower {t} got {value:.2f} m³/min while it regenerated." for t, value in share.items()]
