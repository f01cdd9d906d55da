"""How levers are told: as a table, their notes, and the one that beats switching."""

from __future__ import annotations

from diagnostics.diagnosis import Diagnosis
from diagnostics.energy.levers import weigh_levers
from diagnostics.energy.record import Lever
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.spoken_units import speak
from diagnostics.report.texts import words


def better_than_switching(diagnosis: Diagnosis) -> Lever | None:
    """The lever that saves more by itself than switching on dew point does, if there is one."""
    best = next(iter(weigh_levers(diagnosis).levers), None)
    if best is None or best.key == "switch_on_dew_point":
        return None
    switching = diagnosis.switching.figures.energy_saved_kwh_per_year
    if switching is not None and best.energy_saved_kwh_per_year.value <= switching.value:
        return None
    return best


def lever_columns(rows: list[tuple[str, ...]]) -> list[str]:
    """Titles for the rows of `lever_rows`."""
    titles = words("columns")["levers"].split("|")
    return titles[: len(rows[0])] if rows else titles


def lever_rows(diagnosis: Diagnosis, display: Display = METRIC) -> list[tuple[str, ...]]:
    """Levers as rows of a table: what to do, energy and, where there is a price, cost saved a year; together last."""
    found, currency, say = weigh_levers(diagnosis), diagnosis.payback.currency, words("levers")
    rows: list[tuple[str, ...]] = [
        (
            f"{speak(lever.sentence, display)} ({say['on_top']})"
            if lever.needs_switching
            else speak(lever.sentence, display),
            display.estimate(lever.energy_saved_kwh_per_year, "kWh"),
            display.estimate(lever.cost_saved_per_year, currency),
        )
        for lever in found.levers
    ]
    price = diagnosis.switching.price_per_kwh
    if found.together_kwh_per_year is not None and len(rows) > 1:
        cost = None if price is None else found.together_kwh_per_year.scaled(price)
        energy = display.estimate(found.together_kwh_per_year, "kWh")
        rows.append((say["together"], energy, display.estimate(cost, currency)))
    return rows if price is not None else [row[:2] for row in rows]


def lever_notes(diagnosis: Diagnosis, display: Display = METRIC) -> list[str]:
    """What to mind with the levers: the overlap, and each caution once."""
    found, say = weigh_levers(diagnosis), words("levers")
    notes = [speak(note, display) for note in found.notes] if found.notes or found.levers else [say["none"]]
    if found.overlap_kwh_per_year is not None and found.overlap_kwh_per_year >= 1.0 and len(found.levers) > 1:
        notes.append(say["overlap"].format(overlap=display.number(found.overlap_kwh_per_year)))
    return notes + list(dict.fromkeys(lever.caution for lever in found.levers if lever.caution))
