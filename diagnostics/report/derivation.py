"""How each figure of the report came about: what is read off the log, then purge, switching, payback and levers.

Question: from which inputs, by which formula and on whose authority does a figure follow? Input: a diagnosis. Output:
steps under the document's keys. Formulas and sources of what is read off the log stand in the report's texts; those of
the energy side come with its records.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from diagnostics.diagnosis import Diagnosis
from diagnostics.energy.explain import explain
from diagnostics.energy.levers import weigh_levers
from diagnostics.energy.record import Levers, Step
from diagnostics.errors import UsageError
from diagnostics.estimate import Estimate
from diagnostics.report.plain_figures import plain_steps
from diagnostics.report.texts import texts, words
from diagnostics.report.towers import tower_summary

Inputs = tuple[tuple[str, float | str, str], ...]


def derivation(diagnosis: Diagnosis, levers: Levers | None = None) -> list[Step]:
    """Steps of every figure, in the order of the document.

    Parameters
    ----------
    diagnosis : Diagnosis
    levers : Levers, optional
        As weighed already; weighed here if not given.

    Returns
    -------
    list of Step
    """
    parts = (_instrument, _cycle, _purity, _trend, _breakthrough, _energy)
    steps = [step for part in parts for step in part(diagnosis)]
    return steps + list(_levers(diagnosis, weigh_levers(diagnosis) if levers is None else levers))


def explanation(diagnosis: Diagnosis, key: str) -> list[Step]:
    """Steps behind one figure, those it rests on first.

    Parameters
    ----------
    diagnosis : Diagnosis
    key : str
        The figure's place in the document, e.g. ``purity.p95_dew_point_c``, or a part of it, e.g. ``purge``.

    Returns
    -------
    list of Step
        Empty where the figure exists but this log cannot tell it.

    Raises
    ------
    UsageError
        If the document has no figure of that name.
    """
    steps = derivation(diagnosis)
    energy = {step.key for part in (diagnosis.purge, diagnosis.switching, diagnosis.payback) for step in part.trace}
    if any(_within(name, key) for name in energy):
        found = explain(diagnosis, key)
        return found + [step for step in steps if _within(step.key, key) and step not in found]
    found = [step for step in steps if _within(step.key, key)] or plain_steps(diagnosis, key)
    if not found and key not in _figures():
        raise UsageError(_unknown(key, [step.key for step in steps]))
    return found


def _within(name: str, key: str) -> bool:
    return name == key or name.startswith(f"{key}.")


def _figures() -> set[str]:
    """Keys of the document's figures, whether this log can tell them or not."""
    from diagnostics.report.schema import DiagnosisDocument

    keys: set[str] = set()
    for part in ("instrument", "cycle", "purity", "trend", "breakthrough", "purge", "switching", "payback", "levers"):
        model: Any = DiagnosisDocument.model_fields[part].annotation
        keys |= {part} | {f"{part}.{field.alias or name}" for name, field in model.model_fields.items()}
    return keys


def _unknown(key: str, known: list[str]) -> str:
    close = difflib.get_close_matches(key, known, n=1)
    near = words("explain")["near"].format(near=close[0]) if close else ""
    return words("explain")["unknown"].format(key=key, near=near, known=", ".join(dict.fromkeys(known)))


def _step(key: str, value: float | Estimate | None, inputs: Inputs) -> Iterator[Step]:
    if value is not None:
        unit, formula, source = texts()["derivation"][key]
        number = value.value if isinstance(value, Estimate) else float(value)
        yield Step(key, number, unit, formula, inputs, source)


def _given(diagnosis: Diagnosis, key: str) -> str:
    return "plant file" if diagnosis.plant.is_given(key) else "assumed"


def _limit(diagnosis: Diagnosis) -> tuple[str, float, str]:
    return "limit [°C]", diagnosis.plant.dryer.dew_point_limit_c, _given(diagnosis, "dryer.dew_point_limit_c")


def _uncertainty(diagnosis: Diagnosis) -> tuple[str, float, str]:
    return "U, k = 2 [K]", diagnosis.purity.uncertainty_c, "computed"


def _instrument(diagnosis: Diagnosis) -> Iterator[Step]:
    budget, cycle = diagnosis.purity.budget, diagnosis.cycle
    if budget is not None:
        stated = _given(diagnosis, "measurement.uncertainty_c")
        inputs = (
            ("probe [K]", budget.probe_k, stated),
            ("drift [K]", budget.drift_k, "plant file" if budget.drift_k else "assumed"),
            ("pressure [K]", budget.pressure_k, "computed"),
            ("resolution [K]", budget.resolution_k, "log"),
        )
        yield from _step("instrument.uncertainty_c", diagnosis.purity.uncertainty_c, inputs)
    for name, constant in cycle.time_constant_s.items():
        if name in ("drying", "wetting"):
            yield from _step(f"instrument.time_constant_s.{name}", constant, (_count(diagnosis),))
    constants = tuple((f"{name} [s]", value.value, "computed") for name, value in cycle.time_constant_s.items())
    yield from _step("instrument.peak_lowered_c", cycle.peak_lowered_c, constants or (_count(diagnosis),))


def _count(diagnosis: Diagnosis) -> tuple[str, float, str]:
    return "complete half-cycles", len(diagnosis.cycle.complete), "log"


def _cycle(diagnosis: Diagnosis) -> Iterator[Step]:
    cycle = diagnosis.cycle
    interval = ("reading every [s]", diagnosis.screened.log.interval_s, "log")
    yield from _step("cycle.half_cycle_s", cycle.half_cycle_s, (_count(diagnosis), interval))
    yield from _step("cycle.set_point_c", cycle.set_point_c, (_count(diagnosis),))
    if not cycle.resolved:
        return
    for tower in ("A", "B"):
        medians = tower_summary(cycle, tower)
        count = ("complete half-cycles of this tower", float(medians["half_cycles"] or 0), "log")
        for name in ("half_cycle_s", "floor_dew_point_c", "peak_dew_point_c"):
            yield from _step(f"cycle.towers.{tower}.{name}", medians[name], (count,))


def _purity(diagnosis: Diagnosis) -> Iterator[Step]:
    p, screened = diagnosis.purity, diagnosis.screened
    limit = _limit(diagnosis)
    used = ("used readings", int(screened.used.sum()), "log")
    pressure = ("line pressure [bar abs]", _pressure(diagnosis), _pressure_from(diagnosis))
    for name in ("p95_dew_point_c", "p99_dew_point_c", "max_dew_point_c"):
        yield from _step(f"purity.{name}", getattr(p, name), (used, pressure))
    if p.p95_dew_point_c is None:
        return
    for name in ("time_above_limit_share", "exceedances", "longest_exceedance_s"):
        yield from _step(f"purity.{name}", getattr(p, name), (used, limit))
    p95 = ("95th percentile [°C]", p.p95_dew_point_c, "computed")
    yield from _step("purity.class", p.purity_class, (p95, _uncertainty(diagnosis)))
    judged = ("highest reading [°C]", p.max_dew_point_c or 0.0, "log") if p.conformity_by == "maximum" else p95
    yield from _step(
        "purity.probability_of_conformity",
        p.probability_of_conformity,
        (limit, judged, ("u [K]", p.uncertainty_c / 2.0, "computed")),
    )
    operation = diagnosis.plant.operation
    used_at = operation.pressure_at_use_bar_g
    at = (
        "pressure at use [bar g]",
        0.0 if used_at is None else used_at,
        "assumed" if used_at is None else "plant file",
    )
    yield from _step("purity.dew_point_at_use_c", p.dew_point_at_use_c, (p95, pressure, at))
    if operation.lowest_pipe_temperature_c is not None and p.dew_point_at_use_c is not None:
        pipe = ("lowest pipe temperature [°C]", operation.lowest_pipe_temperature_c, "plant file")
        there = ("dew point at use [°C]", p.dew_point_at_use_c, "computed")
        yield from _step("purity.frost_reserve_k", p.frost_reserve_k, (pipe, there))


def _pressure(diagnosis: Diagnosis) -> float:
    screened = diagnosis.screened
    return float(screened.conditions.pressure_bar[screened.used].mean()) if screened.used.any() else 0.0


def _pressure_from(diagnosis: Diagnosis) -> str:
    if "pressure" in diagnosis.screened.conditions.logged:
        return "log"
    keys = ("measurement.pressure_bar_g", "operation.pressure_bar_g")
    return "plant file" if any(map(diagnosis.plant.is_given, keys)) else "assumed"


def _trend(diagnosis: Diagnosis) -> Iterator[Step]:
    trend = diagnosis.trend
    days = (diagnosis.screened.log.time_s[-1] - diagnosis.screened.log.time_s[0]) / 86400.0
    length = ("length of the log [d]", float(days), "log")
    adjusted = ("load taken out", "yes" if trend.load_adjusted else "no", "log")
    slope = trend.peak_dew_point_c_per_day
    yield from _step("trend.peak_dew_point_c_per_day", slope, (_count(diagnosis), length, adjusted))
    if slope is not None:
        inputs = (("slope [K/d]", slope.value, "computed"), _limit(diagnosis), length)
        yield from _step("trend.days_to_limit", trend.days_to_limit, inputs)


def _breakthrough(diagnosis: Diagnosis) -> Iterator[Step]:
    b, cycle = diagnosis.breakthrough, diagnosis.cycle
    if cycle.half_cycle_s is None:
        return
    today = ("today's half-cycle [s]", cycle.half_cycle_s.value, "log")
    method = ("method", b.method, "log" if b.reserve_from == "log" else "assumed")
    rise = () if b.rise_c is None else (("rise within half-cycles [K]", b.rise_c, "log"),)
    yield from _step("breakthrough.margin_s", b.margin_s, (_limit(diagnosis), today, *rise, method))
    if b.margin_s is not None:
        margin = ("margin [s]", b.margin_s.value, "computed")
        yield from _step("breakthrough.margin_share", b.margin_share, (margin, today))
    held: Inputs = (today, method)
    if b.reserve is not None:
        nameplate = ("nameplate half-cycle [s]", diagnosis.plant.half_cycle_s, _given(diagnosis, "dryer.half_cycle_s"))
        held = (("reserve", b.reserve.value, "log" if b.reserve_from == "log" else "assumed"), nameplate, *held)
    yield from _step("breakthrough.sustained_margin_s", b.sustained_margin_s, _loaded("load", b.load_ratio, held))
    yield from _step(
        "breakthrough.margin_at_peak_load_s", b.margin_at_peak_load_s, _loaded("peak load", b.peak_load_ratio, held)
    )
    if b.margin_at_peak_load_s is not None:
        inputs = (today, ("vouched for at peak load [s]", b.margin_at_peak_load_s.low, "computed"))
        yield from _step("breakthrough.recommended_half_cycle_s", b.recommended_half_cycle_s, inputs)


def _loaded(name: str, ratio: float | None, held: Inputs) -> Inputs:
    return held if ratio is None else ((f"{name} / rating", ratio, "log"), *held)


def _energy(diagnosis: Diagnosis) -> Iterator[Step]:
    for part in (diagnosis.purge, diagnosis.switching, diagnosis.payback):
        yield from part.trace
    _, formula, source = texts()["derivation"]["cautious"]
    for step in diagnosis.switching.trace:
        figure = getattr(diagnosis.switching.cautious, step.key.removeprefix("switching."), None)
        if isinstance(figure, Estimate):
            yield replace(
                step,
                key=step.key.replace("switching.", "switching.cautious."),
                value=figure.value,
                formula=formula.format(key=step.key),
                inputs=(("central case", step.value or 0.0, "computed"),),
                source=source.format(key=step.key),
            )


def _levers(diagnosis: Diagnosis, found: Levers) -> Iterator[Step]:
    unit, formula, source = texts()["derivation"]["levers"]
    hours = ("hours a year", diagnosis.plant.operation.hours_per_year, _given(diagnosis, "operation.hours_per_year"))
    for lever in found.levers:
        change = ("change", lever.sentence, "on top of switching" if lever.needs_switching else "by itself")
        yield Step(f"levers.{lever.key}", lever.energy_saved_kwh_per_year.value, unit, formula, (change, hours), source)
    parts = tuple((lever.key, lever.energy_saved_kwh_per_year.value, "computed") for lever in found.levers)
    yield from _step("levers.together_kwh_per_year", found.together_kwh_per_year, (*parts, hours))
