"""The plant: what the user said of the dryer, and what had to be assumed where nothing was said.

Question: which facts stand behind the figures? Input: a TOML plant file. Output: a `Plant`, every assumption listed.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError

from diagnostics.errors import InputError
from diagnostics.plant_file import (
    Compressor,
    Dryer,
    Economics,
    LogAnswers,
    Measurement,
    Operation,
    PlantFile,
    ProfileBlock,
    Site,
    Tariff,
)

_COMMON_PRACTICE = "common practice, no published source"

HALF_CYCLE_S = {
    "heatless": 300.0,
    "heated_purge": 14400.0,
    "blower_purge": 14400.0,
    "vacuum_assisted": 21600.0,
    "heat_of_compression": 10800.0,
}
PURGE_SHARE = {
    "heatless": 0.15,
    "heated_purge": 0.075,
    "blower_purge": 0.02,
    "vacuum_assisted": 0.0,
    "heat_of_compression": 0.0,
}
PURGE_TIME_SHARE = {
    "heatless": 0.8,
    "heated_purge": 0.95,
    "blower_purge": 0.25,
    "vacuum_assisted": 0.25,
    "heat_of_compression": 0.9,
}
HEATER_TIME_SHARE = {"heated_purge": 0.6, "blower_purge": 0.6, "vacuum_assisted": 0.6}
BLOWER_TIME_SHARE = {"blower_purge": 0.85, "vacuum_assisted": 0.85}
LONGEST_RATIO = {"heatless": 6.0}
CONTACT_TIME_S = 10.0
BULK_DENSITY_KG_M3 = {"activated_alumina": 769.0, "silica_gel": 700.0, "molecular_sieve": 689.0}


@dataclass(frozen=True, slots=True)
class Assumption:
    """A value that nobody gave, and why it was taken."""

    key: str
    value: float | str
    why: str


@dataclass(frozen=True)
class Plant:
    """The plant with gaps filled; ``given`` holds the keys the user wrote, ``assumptions`` the rest that was taken.

    ``tables`` is the plant file as it was written, so that a plant with changed settings can be checked anew.
    """

    site: Site
    log: LogAnswers
    dryer: Dryer
    operation: Operation
    profile: tuple[ProfileBlock, ...]
    measurement: Measurement
    compressors: tuple[Compressor, ...]
    economics: Economics
    assumptions: tuple[Assumption, ...] = ()
    given: frozenset[str] = frozenset()
    source: str = "no plant file"
    tables: Mapping[str, Any] = field(default_factory=dict, repr=False, compare=False)

    def is_given(self, key: str) -> bool:
        """Whether the user wrote this key, e.g. ``dryer.purge_share``."""
        return key in self.given

    @property
    def line_pressure_bar(self) -> float:
        """Line pressure at the sampling point [bar abs]."""
        gauge = self.measurement.pressure_bar_g
        assert gauge is not None  # filled by `complete`
        return gauge + self.site.barometric_pressure_bar

    @property
    def rated_pressure_bar(self) -> float:
        """Pressure of the rating [bar abs]."""
        return self.dryer.rated_pressure_bar_g + 1.01325

    @property
    def half_cycle_s(self) -> float:
        """Nameplate half-cycle [s]."""
        assert self.dryer.half_cycle_s is not None  # filled by `complete`
        return self.dryer.half_cycle_s

    @property
    def heated(self) -> bool:
        """Whether regeneration uses heat, so that moisture load decides rather than the purge balance."""
        return self.dryer.regeneration != "heatless"


def load_plant(path: str | Path | None) -> Plant:
    """Read a plant file.

    Parameters
    ----------
    path : str, Path or None
        TOML file; None takes an empty one.

    Returns
    -------
    Plant

    Raises
    ------
    InputError
        If the file is missing, is not TOML, holds an unknown key, a wrong type or an impossible value.
    """
    if path is None:
        return plant_from({}, source="no plant file")
    file = Path(path)
    try:
        text = file.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"{file}: there is no such plant file; check the path.") from None
    except IsADirectoryError:
        raise InputError(f"{file} is a folder; name the plant file in it.") from None
    except UnicodeDecodeError as error:
        raise InputError(f"{file}: not a plant file, byte {error.start} is not text; save it as UTF-8.") from None
    except OSError as error:
        raise InputError(f"{file} cannot be read ({error.strerror}); check its permissions.") from None
    try:
        tables = tomllib.loads(text.replace("\r\n", "\n").replace("\r", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            f"{file}: not valid TOML, {error}; is it a plant file? Text values need quotation marks."
        ) from None
    return plant_from(tables, source=str(file))


def plant_from(tables: Mapping[str, Any], source: str = "the settings") -> Plant:
    """Check tables as a plant file holds them and fill the gaps.

    Raises
    ------
    InputError
        With the key's full name and the reason.
    """
    try:
        written = PlantFile.model_validate(tables)
    except ValidationError as error:
        raise InputError(f"{source}: {_sentence(error)}") from None
    given = frozenset(_keys(tables))
    _refuse_impossible(written, source)
    return replace(_complete(written, given, source), tables=tables)


def _keys(tables: Mapping[str, Any], prefix: str = "") -> Iterator[str]:
    for key, value in tables.items():
        name = f"{prefix}{key}"
        yield name
        if isinstance(value, Mapping):
            yield from _keys(value, f"{name}.")


def _sentence(error: ValidationError) -> str:
    parts = []
    for item in error.errors(include_url=False)[:4]:
        where = [str(part) for part in item["loc"] if not _is_branch_label(part)]
        key = ".".join(where)
        value = item.get("input")
        match item["type"]:
            case "extra_forbidden":
                known = _known_keys(where[:-1])
                near = _nearest(where[-1], known)
                hint = f"did you mean {near}?" if near else f"known here: {', '.join(known)}."
                parts.append(f"{key} is not a key of the plant file; {hint}")
            case "literal_error":
                parts.append(f"{key} = {value!r} must be one of {item['ctx']['expected']}.")
            case "greater_than" | "greater_than_equal" | "less_than" | "less_than_equal":
                percent = where[-1].endswith("share") and isinstance(value, int | float) and 2 <= value <= 100
                hint = f"; {value:g} % is written {value / 100:g}" if percent else ""
                parts.append(f"{key} = {value!r} is impossible, it must be {_bound(item['msg'])}{hint}.")
            case "missing":
                parts.append(f"{key} is missing; add it.")
            case _:
                wanted = item["msg"].removeprefix("Input should be ").split(",")[0]
                mend = "take the quotation marks away" if _is_number(value) else f"{wanted} is needed"
                parts.append(f"{key} = {value!r} has the wrong type, {mend}.")
    return " ".join(dict.fromkeys(parts))


def _bound(message: str) -> str:
    """The bound that a value misses, e.g. ``0 or more``."""
    *kind, bound = message.removeprefix("Input should be ").split()
    return f"{bound} or {kind[0].replace('greater', 'more')}" if "equal" in kind else f"{' '.join(kind)} {bound}"


def _is_number(value: object) -> bool:
    return isinstance(value, str) and re.fullmatch(r"\s*[-+]?\d+(\.\d+)?\s*", value) is not None


def _is_branch_label(part: object) -> bool:
    return isinstance(part, str) and ("[" in part or part in ("float", "constrained-float", "tuple"))


def _known_keys(path: list[str]) -> list[str]:
    model: type[BaseModel] = PlantFile
    for part in path:
        if part.isdigit():
            continue
        kinds = str(model.model_fields[part].annotation)
        model = next(kind for kind in _TABLES if _whole(kind, kinds))
    return [field.alias or name for name, field in model.model_fields.items()]


def _whole(kind: type[BaseModel], annotation: str) -> bool:
    return re.search(rf"\b{kind.__name__}\b", annotation) is not None


def _nearest(word: str, known: list[str]) -> str | None:
    return next(iter(difflib.get_close_matches(word, known, n=1)), None)


_TABLES: tuple[type[BaseModel], ...] = (
    Site,
    LogAnswers,
    Dryer,
    Operation,
    ProfileBlock,
    Measurement,
    Compressor,
    Economics,
    Tariff,
)


def _refuse_impossible(written: PlantFile, source: str) -> None:
    dryer, operation, measurement = written.dryer, written.operation, written.measurement
    if written.compressor is not None and written.compressors:
        raise InputError(f"{source}: compressor and compressors are both given; keep [[compressors]] for a pool.")
    zone = written.site.timezone
    if zone is not None:
        try:
            ZoneInfo(zone)
        except (KeyError, ValueError, OSError):
            raise InputError(
                f"{source}: site.timezone = {zone!r} is no IANA zone; write it like Europe/Lisbon."
            ) from None
    inlet = "inlet_temperature_c" if operation.inlet_dew_point_c is None else "inlet_dew_point_c"
    for key, wettest in (
        (f"operation.{inlet}", getattr(operation, inlet)),
        ("dryer.rated_inlet_temperature_c", dryer.rated_inlet_temperature_c),
    ):
        if wettest is not None and dryer.dew_point_limit_c >= wettest:
            raise InputError(
                f"{source}: dryer.dew_point_limit_c = {dryer.dew_point_limit_c:g} is not drier than the inlet"
                f" ({key} = {wettest:g}); check the sign."
            )
    if dryer.half_cycle_s is not None:
        for name in ("purge_s", "heater_s", "blower_s"):
            value = getattr(dryer, name)
            if value is not None and value > dryer.half_cycle_s:
                raise InputError(
                    f"{source}: dryer.{name} = {value:g} is longer than dryer.half_cycle_s = {dryer.half_cycle_s:g};"
                    " it has to fit into one half-cycle."
                )
    shortest, longest = dryer.shortest_half_cycle_s, dryer.longest_half_cycle_s
    if shortest is not None and longest is not None and shortest > longest:
        raise InputError(
            f"{source}: dryer.shortest_half_cycle_s = {shortest:g} is longer than dryer.longest_half_cycle_s ="
            f" {longest:g}; exchange them."
        )
    if written.profile:
        total = sum(block.hours for block in written.profile)
        hours = operation.hours_per_year
        if abs(total - hours) > 0.01 * hours:
            raise InputError(
                f"{source}: the hours of [[profile]] add up to {total:g}, operation.hours_per_year is {hours:g};"
                " make them agree."
            )
    table = measurement.uncertainty_c
    if isinstance(table, list) and not table:
        raise InputError(f"{source}: measurement.uncertainty_c is an empty table; give at least one pair.")


def _complete(written: PlantFile, given: frozenset[str], source: str) -> Plant:
    taken: list[Assumption] = []

    def take(key: str, value: float | str, why: str) -> Any:
        taken.append(Assumption(key, value, why))
        return value

    if "site.barometric_pressure_bar" not in given:
        take("site.barometric_pressure_bar", written.site.barometric_pressure_bar, "standard atmosphere")
    dryer = _complete_dryer(written.dryer, given, take)
    operation, measurement = written.operation, written.measurement
    pressure = measurement.pressure_bar_g or operation.pressure_bar_g
    if pressure is None:
        pressure = take("measurement.pressure_bar_g", dryer.rated_pressure_bar_g, "taken as the rated pressure")
    measurement = measurement.model_copy(update={"pressure_bar_g": pressure})
    operation = operation.model_copy(update={"pressure_bar_g": operation.pressure_bar_g or pressure})
    if operation.inlet_dew_point_c is None:
        take("operation.inlet_dew_point_c", "saturated", "air after the aftercooler is taken as saturated")
    if "operation.hours_per_year" not in given:
        take("operation.hours_per_year", operation.hours_per_year, "the dryer is taken to cycle all year")
    if "measurement.uncertainty_c" not in given:
        take("measurement.uncertainty_c", 2.0, "usual for dew point probes, k = 2; " + _COMMON_PRACTICE)
    if measurement.basis is None:
        take("measurement.basis", "pressure", "logged dew point taken at line pressure unless the log contradicts it")
    compressors = written.compressors or ((written.compressor,) if written.compressor else ())
    return Plant(
        site=written.site,
        log=written.log,
        dryer=dryer,
        operation=operation,
        profile=written.profile,
        measurement=measurement,
        compressors=tuple(compressors),
        economics=written.economics,
        assumptions=tuple(taken),
        given=given,
        source=source,
    )


def _complete_dryer(dryer: Dryer, given: frozenset[str], take: Any) -> Dryer:
    kind = dryer.regeneration
    plain = kind.replace("_", " ")
    for key in ("regeneration", "rated_pressure_bar_g", "rated_inlet_temperature_c", "desiccant", "dew_point_limit_c"):
        if f"dryer.{key}" not in given:
            take(f"dryer.{key}", getattr(dryer, key), "the usual case; " + _COMMON_PRACTICE)
    fill: dict[str, float] = {}
    half_cycle_s = dryer.half_cycle_s
    if half_cycle_s is None:
        half_cycle_s = fill["half_cycle_s"] = HALF_CYCLE_S[kind]
    if dryer.purge_share is None:
        fill["purge_share"] = PURGE_SHARE[kind]
    if dryer.purge_s is None:
        fill["purge_s"] = PURGE_TIME_SHARE[kind] * half_cycle_s
    if dryer.heater_s is None and kind in HEATER_TIME_SHARE:
        fill["heater_s"] = HEATER_TIME_SHARE[kind] * half_cycle_s
    if dryer.blower_s is None and kind in BLOWER_TIME_SHARE:
        fill["blower_s"] = BLOWER_TIME_SHARE[kind] * half_cycle_s
    if dryer.shortest_half_cycle_s is None:
        fill["shortest_half_cycle_s"] = min(half_cycle_s, dryer.longest_half_cycle_s or half_cycle_s)
    if dryer.longest_half_cycle_s is None:
        ratio = LONGEST_RATIO.get(kind, 6.0)
        fill["longest_half_cycle_s"] = max(ratio * half_cycle_s, dryer.shortest_half_cycle_s or 0.0)
    if dryer.rated_flow_m3_min is not None:
        actual_m3_s = (
            dryer.rated_flow_m3_min
            / 60.0
            / (dryer.rated_pressure_bar_g + 1.01325)
            * (dryer.rated_inlet_temperature_c + 273.15)
            / 293.15
        )
        density = BULK_DENSITY_KG_M3[dryer.desiccant]
        if dryer.desiccant_mass_kg is None:
            bed_m3 = dryer.vessel_volume_m3 or actual_m3_s * CONTACT_TIME_S
            fill["desiccant_mass_kg"] = round(bed_m3 * density, 1)
        if dryer.vessel_volume_m3 is None:
            mass = dryer.desiccant_mass_kg or fill["desiccant_mass_kg"]
            fill["vessel_volume_m3"] = round(mass / density, 4)
    for name, value in fill.items():
        take(f"dryer.{name}", value, f"usual for a {plain} dryer; {_COMMON_PRACTICE}")
    return dryer.model_copy(update=fill)
