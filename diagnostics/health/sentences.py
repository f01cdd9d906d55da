"""How findings speak: numbers with units, and the cautions that belong where a hand goes near pressure or heat."""

from __future__ import annotations

from diagnostics.estimate import Estimate

STORED_PRESSURE = (
    "Before opening anything: isolate, lock out, vent both vessels and read zero on every gauge; a closed valve or a"
    " clogged silencer can hold pressure. Local codes and licensed practice come first."
)
HOT_PARTS = (
    "Heater, pipes and vessel stay at 150 to 300 °C for hours after heating; isolate the heater electrically before"
    " touching it. " + STORED_PRESSURE
)
SILENCER = (
    "Never stand before an exhaust silencer and never run without one; wear ear protection near the exhaust. "
    + STORED_PRESSURE
)
DUST = (
    "Desiccant dust harms lungs and eyes (mask, goggles); an oily bed near a heater can burn and fresh molecular sieve"
    " heats up when it gets wet."
)
BED = f"{DUST} {STORED_PRESSURE}"
SAMPLE_POINT = (
    "At the sampling point: cock closed, rated coupling, never unscrew a bleed fully under pressure, and close the"
    " valve before the probe comes off."
)
PEOPLE = (
    "This air is used by people: report it to the responsible person at once, check with a second instrument and"
    " follow the site's rules; nothing here releases the air."
)
LONGER_HALF_CYCLES = (
    "A relaxed set point is for the process owner, who knows the lowest pipe temperature; prove the new dew point"
    " over a day or more and keep the old setting marked."
)


def level(dew_point_c: float) -> str:
    """Dew point for a sentence, e.g. ``−41.3 °C``."""
    return f"{dew_point_c:.1f} °C".replace("-", "−")


def kelvin(difference_k: float) -> str:
    """Difference of temperatures for a sentence."""
    return f"{difference_k:.1f} K".replace("-", "−")


def percent(share: float) -> str:
    """Share for a sentence; one that is there but tiny is not called nought."""
    if 0 < share < 0.001:
        return "under 0.1 %"
    return f"{100 * share:.1f} %" if share < 0.1 else f"{100 * share:.0f} %"


def amount(value: float) -> str:
    """Number of three digits with thousands set apart."""
    if abs(value) >= 1000:
        return f"{float(f'{value:.3g}'):,.0f}"
    return f"{value:.3g}"


def between(estimate: Estimate, unit: str) -> str:
    """Estimate with its 95 % interval for a sentence."""
    value = f"{amount(estimate.value)} {unit}".rstrip()
    if estimate.low == estimate.high:
        return value
    return f"{value} ({amount(estimate.low)} to {amount(estimate.high)})"


def counted(number: int, noun: str) -> str:
    """``1 half-cycle``, ``2 half-cycles``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
