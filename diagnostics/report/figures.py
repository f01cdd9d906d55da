"""Numbers as people read them: sensible digits, their units and number format, the interval beside the value.

`Display` says which units and which number format; its methods turn the engine's figures into words. Where nothing can
be said there is a dash.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from diagnostics.estimate import Estimate
from diagnostics.moment import say_duration

NOTHING = "–"
M3_MIN_PER_CFM = 0.028316846592
BAR_PER_PSI = 0.0689475729


@dataclass(frozen=True, slots=True)
class Display:
    """Units and number format that a reader wants.

    Parameters
    ----------
    temperature : {"C", "F"}
    pressure : {"bar", "psi"}
    flow : {"m3_min", "cfm"}
        Flows stay at the engine's reference state; a cubic foot is just another volume.
    decimal, group : str
        Decimal mark and what sets thousands apart.
    """

    temperature: Literal["C", "F"] = "C"
    pressure: Literal["bar", "psi"] = "bar"
    flow: Literal["m3_min", "cfm"] = "m3_min"
    decimal: str = "."
    group: str = ","

    @property
    def temperature_unit(self) -> str:
        """Unit of levels, for axes and tables."""
        return f"°{self.temperature}"

    @property
    def flow_unit(self) -> str:
        """Unit of flows, for axes and tables."""
        return {"m3_min": "m³/min", "cfm": "cfm"}[self.flow]

    @property
    def pressure_unit(self) -> str:
        """Unit of pressures, for axes and tables."""
        return self.pressure

    def level(self, celsius: Any) -> Any:
        """Temperature or dew point in the reader's unit."""
        return celsius if self.temperature == "C" else celsius * 1.8 + 32.0

    def kelvins(self, difference_k: float) -> float:
        """Temperature difference in the reader's unit."""
        return difference_k if self.temperature == "C" else difference_k * 1.8

    @property
    def difference_unit(self) -> str:
        """Unit of temperature differences."""
        return "K" if self.temperature == "C" else "°F"

    def difference_words(self, difference_k: float) -> str:
        """Temperature difference with its unit, two significant digits."""
        return f"{self.number(self.kelvins(difference_k), digits=2)} {self.difference_unit}"

    def volume_flow(self, m3_min: float) -> float:
        """Flow in the reader's unit."""
        return m3_min if self.flow == "m3_min" else m3_min / M3_MIN_PER_CFM

    def line_pressure(self, bar: float) -> float:
        """Pressure in the reader's unit; gauge stays gauge, absolute stays absolute."""
        return bar if self.pressure == "bar" else bar / BAR_PER_PSI

    def number(self, value: float | None, *, digits: int = 3, decimals: int | None = None) -> str:
        """Number with ``digits`` significant digits, or a fixed count of decimals."""
        if value is None or not math.isfinite(value):
            return NOTHING
        if decimals is None:
            if value == 0:
                return "0"
            places = digits - 1 - math.floor(math.log10(abs(value)))
            value, decimals = round(value, places), max(0, places)
        text = f"{value:,.{decimals}f}"
        if float(text.replace(",", "")) == 0:
            text = text.removeprefix("-")
        marks = {",": self.group, ".": self.decimal, "-": "−"}
        return "".join(marks.get(sign, sign) for sign in text)

    def estimate(
        self,
        estimate: Estimate | None,
        unit: str = "",
        *,
        digits: int = 3,
        decimals: int | None = None,
        factor: float = 1.0,
        turned: Callable[[float], float] | None = None,
    ) -> str:
        """Value with its interval, e.g. ``1.79 m³/min (1.71 to 1.88)``."""
        if estimate is None:
            return NOTHING
        scaled = estimate.scaled(factor) if turned is None else estimate.map(turned)
        tail = f" {unit}" if unit else ""
        value, low, high = (
            self.number(x, digits=digits, decimals=decimals) for x in (scaled.value, scaled.low, scaled.high)
        )
        return f"{value}{tail}" if low == high else f"{value}{tail} ({low} to {high})"

    def flow_words(self, estimate: Estimate | None) -> str:
        """Flow with its interval."""
        return self.estimate(estimate, self.flow_unit, turned=self.volume_flow)

    def level_words(self, celsius: float | None, decimals: int = 1) -> str:
        """Dew point or temperature with its unit."""
        if celsius is None:
            return NOTHING
        return f"{self.number(self.level(celsius), decimals=decimals)} {self.temperature_unit}"

    def percent(self, estimate: Estimate | None) -> str:
        """Share as a percentage with its interval."""
        if estimate is None:
            return NOTHING
        value, low, high = (self.number(100 * x, decimals=0) for x in (estimate.value, estimate.low, estimate.high))
        return f"{value} %" if low == high else f"{value} % ({low} to {high})"

    def share(self, share: float | None) -> str:
        """Share as a percentage; one that is there but tiny is not called nought, a near certainty not certain."""
        if share is None:
            return NOTHING
        if 0 < share < 0.001:
            return f"under {self.number(0.1, decimals=1)} %"
        if 0.999 < share < 1:
            return f"over {self.number(99.9, decimals=1)} %"
        return f"{self.number(100 * share, decimals=1)} %"

    def rounded_share(self, share: float) -> str:
        """Share as a whole percentage; a near certainty is not called certain."""
        return f"{self.number(min(99.0, 100 * share), decimals=0)} %"

    def span(self, seconds: float) -> str:
        """Length of time in words, e.g. ``3 h 59 min`` or ``2.5 days``, in the reader's number format."""
        return say_duration(seconds).replace(".", self.decimal).replace("-", "−")

    def duration(self, estimate: Estimate | None, *, digits: int = 3, decimals: int | None = None) -> str:
        """Length of time with its interval, in the unit that suits the value."""
        if estimate is None:
            return NOTHING
        size = max(abs(estimate.value), abs(estimate.high))
        unit, seconds = ("s", 1.0) if size < 120 else ("min", 60.0) if size < 7200 else ("h", 3600.0)
        return self.estimate(estimate, unit, digits=digits, decimals=decimals, factor=1.0 / seconds)


METRIC = Display()
US = Display(temperature="F", pressure="psi", flow="cfm")
say_number = METRIC.number
say_level = METRIC.level_words
say_share = METRIC.share
