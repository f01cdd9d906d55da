"""The energy side of one case as rows of a table: what it costs and what switching on dew point would be worth."""

from __future__ import annotations

from diagnostics.report.figures import NOTHING, Display
from diagnostics.report.texts import words
from diagnostics.what_if import EnergyCase, WhatIf


def paired_rows(result: WhatIf, display: Display) -> list[tuple[str, str, str]]:
    """Figures before and after by name; what cannot be told in either case is left out."""
    pairs = zip(case_rows(result.before, display), case_rows(result.after, display), strict=True)
    return [(title, was, becomes) for (title, was), (_, becomes) in pairs if (was, becomes) != (NOTHING, NOTHING)]


def case_rows(case: EnergyCase, display: Display) -> list[tuple[str, str]]:
    """Figures of one case by name, each with its 95 % interval."""
    say, figures, payback, purge = words("what_if"), case.switching.figures, case.payback, case.purge
    currency = payback.currency
    energy = None if purge.energy_kwh_per_year is None else purge.energy_kwh_per_year.total
    years = words("summary")["years"]
    rows = [
        (say["purge"], display.flow_words(purge.average_m3_min)),
        (say["regeneration"], display.estimate(energy, "kWh")),
        (say["cost"], display.estimate(purge.cost_per_year, currency)),
        (say["half_cycle"], display.duration(figures.half_cycle_s)),
    ]
    if case.switching.already_saved_share is not None:
        return [*rows, (say["already"], display.percent(case.switching.already_saved_share))]
    return [
        *rows,
        (say["regenerations_saved"], display.percent(figures.regenerations_saved_share)),
        (say["energy_saved"], display.estimate(figures.energy_saved_kwh_per_year, "kWh")),
        (say["cost_saved"], display.estimate(figures.cost_saved_per_year, currency)),
        (say["limited_by"], words("limited_short")[case.switching.limited_by]),
        (say["payback"], display.estimate(payback.simple_payback_years, years, digits=2)),
        (say["npv"], display.estimate(payback.npv, currency)),
    ]
