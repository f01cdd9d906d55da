"""Units: what stands beside a title or inside a cell, and the way from there to the house units.

Question: which unit are a column's numbers in, and what are they in degC, bar gauge, m3/min, kW? Input: text and
numbers. Output: canonical unit names (``degC``, ``bar_g``, ``m3/h``, ``ppmv`` …) and converted arrays. Factors are
exact by definition (SI brochure; NIST SP 811 appendix B for pound, inch and foot) unless a comment says otherwise.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from diagnostics.log.record import Floats

TEMPERATURE, PRESSURE, FLOW, POWER = "temperature", "pressure", "flow", "power"
PPM, PERCENT, DENSITY, RATIO, TIME = "ppm", "percent", "density", "ratio", "time"

PASCAL_PER_BAR = 1e5
_PSI_BAR = 4.4482216152605 / 0.0254**2 / PASCAL_PER_BAR
_FOOT3_M3 = 0.3048**3

_PRESSURE_BAR = {
    "bar": 1.0,
    "mbar": 1e-3,
    "hpa": 1e-3,
    "kpa": 1e-2,
    "mpa": 10.0,
    "pa": 1e-5,
    "psi": _PSI_BAR,
    "atm": 1.01325,
    "at": 0.980665,
    "kg/cm2": 0.980665,
    "kgf/cm2": 0.980665,
    "kp/cm2": 0.980665,
    "mmhg": 1.333223874e-3,
    "torr": 1.01325 / 760.0,
    "inhg": 33.863886e-3,
}
_VOLUME_M3 = {"m3": 1.0, "l": 1e-3, "dm3": 1e-3, "ltr": 1e-3, "liter": 1e-3, "litre": 1e-3, "ft3": _FOOT3_M3}
_PER_MINUTE = {
    "s": 60.0,
    "sec": 60.0,
    "min": 1.0,
    "mn": 1.0,
    "h": 1 / 60,
    "hr": 1 / 60,
    "std": 1 / 60,
    "hour": 1 / 60,
    "d": 1 / 1440,
}
_MASS_KG = {"kg": 1.0, "g": 1e-3, "lb": 0.45359237}
_POWER_KW = {"kw": 1.0, "w": 1e-3, "mw": 1e3, "hp": 0.745699872, "ps": 0.73549875}
_TIME_S = {
    "s": 1.0,
    "sec": 1.0,
    "sek": 1.0,
    "second": 1.0,
    "seconds": 1.0,
    "sekunden": 1.0,
    "secondes": 1.0,
    "ms": 1e-3,
    "min": 60.0,
    "minute": 60.0,
    "minutes": 60.0,
    "minuten": 60.0,
    "h": 3600.0,
    "hr": 3600.0,
    "std": 3600.0,
    "hour": 3600.0,
    "hours": 3600.0,
    "stunden": 3600.0,
    "heures": 3600.0,
    "d": 86400.0,
    "day": 86400.0,
    "days": 86400.0,
    "tage": 86400.0,
}
_TEMPERATURE_NAMES = {
    "degc": "degC",
    "c": "degC",
    "celsius": "degC",
    "gradc": "degC",
    "gradcelsius": "degC",
    "oc": "degC",
    "degcelsius": "degC",
    "degreesc": "degC",
    "degreescelsius": "degC",
    "ctd": "degC",
    "cdp": "degC",
    "ctp": "degC",
    "degctd": "degC",
    "degcdp": "degC",
    "degcpdp": "degC",
    "degctp": "degC",
    "degcdtp": "degC",
    "degctf": "degC",
    "degctdf": "degC",
    "degf": "degF",
    "f": "degF",
    "fahrenheit": "degF",
    "degreesf": "degF",
    "degftd": "degF",
    "degfdp": "degF",
    "degfpdp": "degF",
    "k": "K",
    "kelvin": "K",
    "degk": "K",
}
_MOISTURE_NAMES = {
    "ppmv": ("ppmv", PPM),
    "ppm": ("ppmv", PPM),
    "ppm(v)": ("ppmv", PPM),
    "ppmvol": ("ppmv", PPM),
    "volppm": ("ppmv", PPM),
    "vppm": ("ppmv", PPM),
    "umol/mol": ("ppmv", PPM),
    "ppmw": ("ppmw", PPM),
    "ppm(w)": ("ppmw", PPM),
    "wppm": ("ppmw", PPM),
    "mg/kg": ("ppmw", PPM),
    "g/m3": ("g_m3", DENSITY),
    "gr/m3": ("g_m3", DENSITY),
    "gm3": ("g_m3", DENSITY),
    "mg/m3": ("mg_m3", DENSITY),
    "g/nm3": ("g_nm3", DENSITY),
    "mg/nm3": ("mg_nm3", DENSITY),
    "g/kg": ("g_kg", RATIO),
    "gkg": ("g_kg", RATIO),
    "kg/kg": ("kg_kg", RATIO),
    "%": ("percent_rh", PERCENT),
    "%rh": ("percent_rh", PERCENT),
    "rh%": ("percent_rh", PERCENT),
    "%rf": ("percent_rh", PERCENT),
    "%rf.": ("percent_rh", PERCENT),
    "%hr": ("percent_rh", PERCENT),
    "%ur": ("percent_rh", PERCENT),
    "%rv": ("percent_rh", PERCENT),
    "%rel": ("percent_rh", PERCENT),
    "percent": ("percent_rh", PERCENT),
    "pct": ("percent_rh", PERCENT),
    "percentrh": ("percent_rh", PERCENT),
}
_PRESSURE_PRINT = {"mpa": "MPa", "kpa": "kPa", "hpa": "hPa", "pa": "Pa", "mmhg": "mmHg", "inhg": "inHg"}
_GAUGE = re.compile(r"(\(?(?:gauge|ga|g|e|ü|u|ue|rel|rel\.|relative|relativ|überdruck|ueberdruck|manometric)\)?)$")
_ABSOLUTE = re.compile(r"(\(?(?:absolute|absolut|absolu|assoluta|abs\.?|a)\)?)$")
_CUBIC = {"cfm": "ft3/min", "cfh": "ft3/h", "lpm": "l/min", "lps": "l/s", "cmh": "m3/h", "cmm": "m3/min"}


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as read.

    Attributes
    ----------
    name : str
        Canonical, e.g. ``degC``, ``bar_g``, ``Nm3/h``.
    kind : str
        What it measures: `TEMPERATURE`, `PRESSURE`, …
    factor : float
        To bar, m3/min, kW or s; 1 where the way is no plain factor.
    reference : str
        ``gauge``, ``absolute`` or "" for pressures; a state of ``measurement.flow_reference`` or "" for flows.
    """

    name: str
    kind: str
    factor: float = 1.0
    reference: str = ""


@lru_cache(maxsize=4096)
def parse_unit(text: str) -> Unit | None:
    """Unit named by a text such as ``°C``, ``bar(g)``, ``Nm³/h``; None where it names none.

    Parameters
    ----------
    text : str
        Without surrounding brackets.

    Returns
    -------
    Unit or None
    """
    plain = _plain(text)
    if not plain or len(plain) > 24:
        return None
    if plain in _TEMPERATURE_NAMES:
        return Unit(_TEMPERATURE_NAMES[plain], TEMPERATURE)
    if plain in _MOISTURE_NAMES:
        name, kind = _MOISTURE_NAMES[plain]
        return Unit(name, kind)
    if plain in _POWER_KW:
        # Capital M is mega, small m milli: a compressor is never rated in milliwatts, so both read as mega.
        return Unit({"kw": "kW", "w": "W", "mw": "MW"}.get(plain, plain), POWER, _POWER_KW[plain])
    return _pressure(plain) or _flow(plain) or _time(plain)


_CYRILLIC = str.maketrans("мнгклсчпабрвти", "mngklshpabrwti")
"""Letters of the units of pressure, flow and power as they are written in Cyrillic (м³/ч, л/с, бар, кПа, кВт)."""


def _plain(text: str) -> str:
    folded = unicodedata.normalize("NFKC", text).strip().lower()
    folded = re.sub(r"(?<=[°º])\s*с", "c", folded).translate(_CYRILLIC)
    folded = folded.replace("º", "°").replace("deg.", "deg").replace("µ", "u").replace("μ", "u")
    folded = folded.replace("°", "deg").replace("^", "").replace("**", "").replace("·", "").replace("\\", "/")
    folded = re.sub(r"\bper\b|\bpro\b", "/", folded)
    folded = re.sub(r"^(grad|degrees?)\s*", "deg", folded)
    folded = re.sub(r"(?<=[a-z0-9])\s*h-1$", "/h", folded)
    folded = re.sub(r"cubic (metres?|meters?)", "m3", folded)
    folded = re.sub(r"(?<=[a-z%)])_(?=[a-z])", "", folded)
    return re.sub(r"[\s\[\]{}]", "", folded)


def _pressure(plain: str) -> Unit | None:
    for pattern, reference in ((None, ""), (_ABSOLUTE, "absolute"), (_GAUGE, "gauge")):
        stem = plain
        if pattern is not None:
            found = pattern.search(plain)
            if not found:
                continue
            stem = plain[: found.start()].rstrip("(")
        if stem in _PRESSURE_BAR:
            printed = _PRESSURE_PRINT.get(stem, stem)
            suffix = {"absolute": "_a", "gauge": "_g", "": ""}[reference]
            return Unit(printed + suffix, PRESSURE, _PRESSURE_BAR[stem], reference)
    return None


def _flow(plain: str) -> Unit | None:
    reference = ""
    stem = plain
    found = re.fullmatch(r"(s|a|i|n)(cfm|cfh|lpm|lps)", stem)
    if found:
        # Standard cubic feet of compressed air: 68 degF, 14.5 psi, dry; common practice, no published source.
        reference = {"a": "actual", "n": "0C_1.01325bar"}.get(found[1], "20C_1bar")
        stem = found[2]
    stem = _CUBIC.get(stem, stem)
    stem = re.sub(r"^(s|a|n)?cuft", r"\1ft3", stem)
    parts = stem.split("/")
    if len(parts) != 2:
        return None
    volume, time = parts
    if time not in _PER_MINUTE:
        return None
    if volume in _MASS_KG:
        return Unit(plain, FLOW, _MASS_KG[volume] * _PER_MINUTE[time], "mass")
    prefix = re.fullmatch(r"\(?(n|s|a|b|i)\)?(m3|l|ltr|ft3)(?:\(n\))?", volume) or re.fullmatch(
        r"(m3|l)\(?(n|s)\)?", volume
    )
    if prefix:
        letter, volume = (prefix[1], prefix[2]) if prefix[1] not in _VOLUME_M3 else (prefix[2], prefix[1])
        # N: DIN 1343, 0 degC and 1.01325 bar; S: ISO 13443, 15 degC and 1.01325 bar; B: German for operating state.
        reference = {"n": "0C_1.01325bar", "s": "15C_1.01325bar", "a": "actual", "b": "actual"}.get(letter, "")
    if volume not in _VOLUME_M3:
        return None
    return Unit(plain.replace("nm3", "Nm3"), FLOW, _VOLUME_M3[volume] * _PER_MINUTE[time], reference)


def _time(plain: str) -> Unit | None:
    return Unit(plain, TIME, _TIME_S[plain]) if plain in _TIME_S else None


_BRACKETS = re.compile(r"[\[(<{]([^\[\](){}<>]*(?:\([^()]*\)[^\[\](){}<>]*)?)[\])>}]")
_SEPARATOR = re.compile(r"\s+in\s+|\s*[/,:]\s*|\s+|_|-")
_TEMPERATURE_WORD = re.compile(r"temp|dew|point|punkt|punt|\btd\b|rugiada|roc[ií]o", re.I)


def split_title(title: str) -> tuple[str, Unit | None]:
    """Title without its unit, and the unit it names.

    Parameters
    ----------
    title : str
        As it stands in the file, e.g. ``Dew point [°C]``, ``Druck / bar``, ``flow_m3_min``.

    Returns
    -------
    str
    Unit or None
    """
    for found in reversed(list(_BRACKETS.finditer(title))):
        unit = parse_unit(found[1])
        if unit is not None:
            rest = (title[: found.start()] + " " + title[found.end() :]).strip()
            return _with_reference_word(rest, unit)
    snake = re.search(r"[_ ](m3|nm3|l|ft3|g|mg|kg)_(min|h|s|m3|kg)$", title, re.I)
    if snake:
        unit = parse_unit(f"{snake[1]}/{snake[2]}")
        if unit is not None:
            return title[: snake.start()].strip(" _"), unit
    snake = re.search(r"[_ ](bar|kpa|mpa|psi)[_ ](g|a|abs)$", title, re.I)
    if snake:
        unit = parse_unit(f"{snake[1]}({snake[2]})")
        if unit is not None:
            return title[: snake.start()].strip(" _"), unit
    whole = parse_unit(title)
    # A title may be nothing but a unit, but short capitals such as LPS are names as often.
    if whole is not None and re.search(r"[°/%³]|ppm|bar|kW|deg|psi", title):
        return "", whole
    for found in _SEPARATOR.finditer(title):
        tail = title[found.end() :].strip()
        if not found.start() or not tail:
            continue
        # A letter behind a blank is a unit only after a temperature's name; "Tower A" or "Phase S" are names.
        if len(tail) == 1 and found[0].isspace() and not (tail in "CFK" and _TEMPERATURE_WORD.search(title)):
            continue
        unit = parse_unit(tail)
        if unit is not None:
            return _with_reference_word(title[: found.start()].strip(" ,:_/-"), unit)
    glued = re.search(r"(?<=[A-Za-z)])\s*(°\s?[CF]|%)\s*$", title)
    if glued:
        return title[: glued.start()].strip(), parse_unit(glued[1])
    return title.strip(), None


def _with_reference_word(title: str, unit: Unit) -> tuple[str, Unit]:
    if unit.kind == PRESSURE and not unit.reference and re.search(r"\babs(\.|\b|olut)", title, re.I):
        return title, Unit(f"{unit.name}_a", PRESSURE, unit.factor, "absolute")
    return title, unit


def temperature_c(values: Floats, unit: str) -> Floats:
    """Temperatures [degC] from values in ``degC``, ``degF`` or ``K``."""
    if unit == "degF":
        return (values - 32.0) / 1.8
    if unit == "K":
        return values - 273.15
    return values


def pressure_bar_g(values: Floats, unit: Unit, barometer_bar: float) -> Floats:
    """Pressures [bar gauge] from values in a pressure unit; absolute ones lose the barometer [bar abs]."""
    bar = values if unit.factor == 1.0 else values * unit.factor
    return bar - barometer_bar if unit.reference == "absolute" else bar


FLOW_STATES = {
    "20C_1bar": (293.15, 1.0),
    "0C_1.01325bar": (273.15, 1.01325),
    "15C_1.01325bar": (288.15, 1.01325),
}
"""Temperature [K] and pressure [bar abs] of each reference state of a volume flow."""
DRY_AIR_KG_M3 = 1.1885
"""At 20 degC, 1 bar absolute: 1e5 Pa / (287.05 J/(kg K) x 293.15 K)."""


def flow_m3_min(
    values: Floats,
    unit: Unit,
    state: str,
    *,
    pressure_bar: Floats | float | None = None,
    temperature_c: Floats | float | None = None,
) -> Floats:
    """Volume flow [m3/min at 20 degC, 1 bar abs] by the ideal gas law.

    Parameters
    ----------
    values : ndarray, shape (n,)
    unit : Unit
    state : str
        Key of `FLOW_STATES`, or ``actual``.
    pressure_bar, temperature_c : float or ndarray, optional
        Of the flowing air [bar abs], [degC]; needed for ``actual``.

    Raises
    ------
    ValueError
        If ``actual`` comes without pressure and temperature.
    """
    if unit.reference == "mass":
        return values * unit.factor / DRY_AIR_KG_M3
    if state == "actual":
        if pressure_bar is None or temperature_c is None:
            raise ValueError("an actual volume flow needs pressure [bar abs] and temperature [degC] of the air")
        return values * unit.factor * pressure_bar * 293.15 / (temperature_c + 273.15)
    kelvin, bar = FLOW_STATES[state]
    factor = unit.factor * (bar * 293.15 / kelvin)
    return values if factor == 1.0 else values * factor
