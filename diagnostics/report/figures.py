"""Numbers as people read them: sensible digits, the interval beside the value, a dash where nothing can be said."""

from __future__ import annotations

import math

from diagnostics.estimate import Estimate

NOTHING = "–"


def say_number(value: float | None, *, digits: int = 3, decimals: int | None = None) -> str:
    """Number with ``digits`` significant digits, or a fixed count of decimals; thousands set apart by a comma."""
    if value is None or not math.isfinite(value):
        return NOTHING
    if decimals is None:
        if value == 0:
            return "0"
        decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
        value = round(value, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{decimals}f}"
    if float(text.replace(",", "")) == 0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


def say_estimate(estimate: Estimate | None, unit: str = "", *, digits: int = 3, factor: float = 1.0) -> str:
    """Value with its interval, e.g. ``1.79 m³/min (1.71 to 1.88)``."""
    if estimate is None:
        return NOTHING
    scaled = estimate.scaled(factor)
    tail = f" {unit}" if unit else ""
    if scaled.low == scaled.high:
        return f"{say_number(scaled.value, digits=digits)}{tail}"
    low, high = say_number(scaled.low, digits=digits), say_number(scaled.high, digits=digits)
    return f"{say_number(scaled.value, digits=digits)}{tail} ({low} to {high})"


def say_percent(estimate: Estimate | None) -> str:
    """Share as a percentage with its interval."""
    if estimate is None:
        return NOTHING
    return f"{100 * estimate.value:.0f} % ({100 * estimate.low:.0f} to {100 * estimate.high:.0f})".replace("-", "−")


def say_share(share: float | None) -> str:
    """Share as a percentage; a share that is there but tiny is not called nought."""
    if share is None:
        return NOTHING
    if 0 < share < 0.001:
        return "under 0.1 %"
    return f"{100 * share:.1f} %"


def say_level(dew_point_c: float | None, decimals: int = 1) -> str:
    """Dew point with its unit."""
    return NOTHING if dew_point_c is None else f"{say_number(dew_point_c, decimals=decimals)} °C"


def say_estimated_time(estimate: Estimate | None) -> str:
    """Length of time with its interval, in the unit that suits the value."""
    if estimate is None:
        return NOTHING
    size = max(abs(estimate.value), abs(estimate.high))
    for unit, seconds in (("s", 1.0), ("min", 60.0), ("h", 3600.0)):
        limit = {"s": 600.0, "min": 7200.0, "h": math.inf}[unit]
        if size < limit:
            return say_estimate(estimate, unit, factor=1.0 / seconds)
    raise AssertionError("unreachable: the last unit has no limit")
