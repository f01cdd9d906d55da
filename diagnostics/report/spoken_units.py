"""Sentences in the reader's units: the engine speaks °C, K, bar and m³/min; here its quantities are turned at the edge.

Only numbers that stand with their unit are touched, with the interval in brackets behind them; what stands in quotation
marks comes from a file and is left as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from diagnostics.report.figures import Display

_NUMBER = r"[-−+]?\d[\d,]*(?:\.\d+)?"
_UNIT = r"°C|K(?! per K)|kW per m³/min|m³/min|bar"
_QUANTITY = re.compile(
    rf"(?<![\w.,])(?<!\w[-−])(?:(?P<first>{_NUMBER})(?P<first_unit> (?:{_UNIT}))?(?P<join> to | and |–))?"
    rf"(?P<value>{_NUMBER}) ?(?P<unit>{_UNIT})(?!\w)(?! per K)"
    rf"(?:(?P<every> a day| a year)?(?P<open> \()(?P<low>{_NUMBER}) to (?P<high>{_NUMBER})\))?"
)
_PLAIN_NUMBER = re.compile(r"(?<![\w.,])(?<!\w-)(?:\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+\.\d+)(?![,.]?\w)")
_TYPED_MINUS = re.compile(r"(?:(?<=[\s(])|^)-(?=\d)")
_SAID_TWICE = re.compile(r"(?P<it>\d[\d.,]* psi gauge)(?P<rest> \([^()]*), (?P=it)(?P<tail>[^()]*\))")
_QUOTED = re.compile(r"(“[^”]*”|\"[^\"]*\"|'[^' ][^']*'(?!\w))")


def speak(text: str, display: Display) -> str:
    """Sentence with its quantities in the reader's units and its numbers in the reader's format.

    Parameters
    ----------
    text : str
        In °C, K, bar, m³/min, with a decimal point and commas between thousands.
    display : Display

    Returns
    -------
    str
        Levels keep their decimals; pressures and flows have three significant digits or as many as before.
    """
    pieces = _QUOTED.split(text)
    said = "".join(piece if place % 2 else _turned(piece, display) for place, piece in enumerate(pieces))
    return _SAID_TWICE.sub(r"\g<it>\g<rest>\g<tail>", said)


def _turned(text: str, display: Display) -> str:
    parts, end = [], 0
    for found in _QUANTITY.finditer(text):
        parts += [_formatted(text[end : found.start()], display), _quantity(found, text, display)]
        end = found.end()
    return "".join([*parts, _formatted(text[end:], display)])


def _quantity(found: re.Match[str], text: str, display: Display) -> str:
    unit = found["unit"]
    turned, word = _unit(unit, display)
    every = found["every"] or ""

    def say(number: str) -> str:
        return _said(number, turned, display, levels=unit in ("°C", "K"))

    first = found["first"]
    said = ""
    if first:
        # "3 readings and 5 °C" is no span; "between 3 and 5 °C" is.
        joined = found["join"] != " and " or text[: found.start()].endswith("between ") or bool(found["first_unit"])
        said = say(first) if joined and (not found["first_unit"] or found["first_unit"][1:] == unit) else first
        said += f" {word}" if found["first_unit"] else ""
        said += found["join"]
    said += f"{say(found['value'])} {word}"
    if found["open"]:
        said += f"{every} ({say(found['low'])} to {say(found['high'])})"
    return said


def _unit(unit: str, display: Display) -> tuple[Callable[[float], float], str]:
    """How a number of this unit is turned, and the unit it then has."""
    celsius = display.temperature == "C"
    if unit == "°C":
        return display.level, display.temperature_unit
    if unit == "K":
        return display.kelvins, "K" if celsius else "°F"
    if unit == "bar":
        return display.line_pressure, display.pressure_unit
    if unit == "m³/min":
        return display.volume_flow, display.flow_unit
    if display.flow == "cfm":
        return (lambda x: 100.0 * x / display.volume_flow(1.0)), "kW per 100 cfm"
    return (lambda x: x), unit


def _said(number: str, turned: Callable[[float], float], display: Display, *, levels: bool) -> str:
    plain = number.replace("−", "-").replace(",", "")
    value = float(plain)
    decimals = len(plain.partition(".")[2])
    result = float(turned(value))
    sign = "+" if number.startswith("+") and result > 0 else ""
    if levels or result == value:
        return sign + display.number(result, decimals=decimals)
    significant = len(plain.lstrip("+-").lstrip("0.").replace(".", ""))
    return sign + display.number(result, digits=max(3, significant))


def _formatted(text: str, display: Display) -> str:
    text = _TYPED_MINUS.sub("−", text)
    marks = {",": display.group, ".": display.decimal}
    return _PLAIN_NUMBER.sub(lambda found: "".join(marks.get(sign, sign) for sign in found[0]), text)
