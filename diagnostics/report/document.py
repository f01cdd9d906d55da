"""The diagnosis as one JSON object: what other people's scripts and dashboards read."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

import numpy as np
from pydantic_core import to_json

from diagnostics.air.record import Purity
from diagnostics.cycle.record import Cycle
from diagnostics.diagnosis import Diagnosis
from diagnostics.energy.levers import weigh_levers
from diagnostics.energy.record import Payback, Purge, PurgeEnergy, Switching
from diagnostics.estimate import Estimate
from diagnostics.log.basis import as_the_log_has_it
from diagnostics.log.statistics import statistics, used_statistics
from diagnostics.moment import iso_time, iso_times
from diagnostics.report.derivation import derivation
from diagnostics.report.schema import SCHEMA_NAME, DiagnosisDocument, FindingPart, SwitchingFiguresPart
from diagnostics.report.towers import tower_summary
from diagnostics.version import VERSION

_iso = lru_cache(maxsize=16384)(iso_time)
"""Phases and half-cycles share their instants."""


def document(diagnosis: Diagnosis) -> dict[str, Any]:
    """Build the document.

    Parameters
    ----------
    diagnosis : Diagnosis

    Returns
    -------
    dict
        Keys as in the contract; checked against the published schema.
    """
    zone = diagnosis.screened.log.timezone
    levers = weigh_levers(diagnosis)
    raw = {
        "schema": SCHEMA_NAME,
        "version": VERSION,
        "site": diagnosis.plant.site.name,
        "air_use": diagnosis.plant.site.air_use,
        "log": _log(diagnosis),
        "instrument": {
            "time_constant_s": diagnosis.cycle.time_constant_s,
            "peak_lowered_c": diagnosis.cycle.peak_lowered_c,
            "uncertainty_c": diagnosis.purity.uncertainty_c,
        },
        "cycle": _cycle(diagnosis.cycle, zone),
        "purity": _purity(diagnosis.purity),
        "trend": _fields(diagnosis.trend, keep=tuple(_keys("trend"))),
        "breakthrough": _fields(diagnosis.breakthrough, keep=tuple(_keys("breakthrough"))),
        **_energy(diagnosis.purge, diagnosis.switching, diagnosis.payback),
        "levers": _unfolded(levers),
        "findings": [
            {
                **_fields(finding, keep=tuple(FindingPart.model_fields)),
                "start": None if finding.start_s is None else _iso(finding.start_s, zone),
                "end": None if finding.end_s is None else _iso(finding.end_s, zone),
            }
            for finding in diagnosis.findings
        ],
        "notes": list(dict.fromkeys(_notes(diagnosis))),
        "assumptions": [_fields(item) for item in _assumptions(diagnosis)],
        "trace": [_fields(step) for step in derivation(diagnosis, levers)],
    }
    whole: dict[str, Any] = _plain(raw)
    whole["cycle"] |= _spans(diagnosis.cycle, zone)
    # Every key is required and no other allowed, so what was checked is what is handed on.
    DiagnosisDocument.model_validate(whole)
    return whole


def energy_parts(purge: Purge, switching: Switching, payback: Payback) -> dict[str, Any]:
    """Purge, switching and payback under the document's keys, as plain values."""
    plain: dict[str, Any] = _plain(_energy(purge, switching, payback))
    return plain


def lever_part(diagnosis: Diagnosis) -> dict[str, Any]:
    """What else would save energy, as plain values."""
    plain: dict[str, Any] = _plain(_unfolded(weigh_levers(diagnosis)))
    return plain


def record_text(schema: str, record: Any, timezone: str | None) -> str:
    """Any frozen record as JSON text, its ``*_s`` instants ``start_s`` and ``end_s`` as ISO 8601 times."""
    values = _plain(_unfolded(record))
    for key in ("start_s", "end_s"):
        if isinstance(values.get(key), float):
            values[key.removesuffix("_s")] = _iso(values.pop(key), timezone)
    return json.dumps({"schema": schema, **values}, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _unfolded(value: Any) -> Any:
    match value:
        case Estimate():
            return value
        case list() | tuple():
            return [_unfolded(item) for item in value]
        case _ if dataclasses.is_dataclass(value):
            return {name: _unfolded(item) for name, item in _fields(value).items()}
        case _:
            return value


def _energy(purge: Purge, switching: Switching, payback: Payback) -> dict[str, Any]:
    return {
        "purge": _fields(purge, keep=tuple(_keys("purge"))),
        "switching": {
            **_fields(switching, keep=tuple(_keys("switching"))),
            **_fields(switching.figures, keep=tuple(SwitchingFiguresPart.model_fields)),
            "cautious": _fields(switching.cautious, keep=tuple(SwitchingFiguresPart.model_fields)),
        },
        "payback": _fields(payback, keep=tuple(_keys("payback"))),
    }


def document_text(diagnosis: Diagnosis) -> str:
    """Build the document as JSON text, two spaces of indent."""
    return json_text(document(diagnosis))


def json_text(plain: Any) -> str:
    """JSON text of plain values, two spaces of indent, at a tenth of the standard library's time."""
    return to_json(plain, indent=2).decode("utf-8") + "\n"


def _keys(part: str) -> Iterable[str]:
    model: Any = DiagnosisDocument.model_fields[part].annotation
    return model.model_fields


def _log(diagnosis: Diagnosis) -> dict[str, Any]:
    screened, log = diagnosis.screened, diagnosis.screened.log
    return {
        "source": log.source,
        "start": _iso(log.time_s[0], log.timezone),
        "end": _iso(log.time_s[-1], log.timezone),
        "duration_h": (log.time_s[-1] - log.time_s[0]) / 3600.0,
        "interval_s": log.interval_s,
        "samples": log.samples + log.rows_repeated,
        "used_samples": int(screened.used.sum()),
        "columns": {quantity: _fields(column) for quantity, column in log.columns.items()},
        "statistics": statistics(log),
        "used_statistics": used_statistics(screened),
        "excluded": [
            {
                "start": _iso(item.start_s, log.timezone),
                "end": _iso(item.end_s, log.timezone),
                "reason": item.reason,
            }
            for item in screened.exclusions
        ],
        "sha256": log.sha256,
    }


def _purity(purity: Purity) -> dict[str, Any]:
    budget = purity.budget
    values = _fields(purity, keep=tuple(_keys("purity")))
    return {
        **{("class" if key == "purity_class" else key): value for key, value in values.items()},
        "p95_estimate_c": purity.p95,
        "p99_estimate_c": purity.p99,
        "budget": budget and {**_fields(budget), "standard_k": budget.standard_k, "expanded_k": budget.expanded_k},
    }


def _cycle(cycle: Cycle, zone: str | None) -> dict[str, Any]:
    spread = cycle.half_cycle_spread_s
    return {
        "control": cycle.control,
        "control_spans": [
            {"start": _iso(s.start_s, zone), "end": _iso(s.end_s, zone), "control": s.control}
            for s in cycle.control_spans
        ],
        "resolved": cycle.resolved,
        "half_cycle_s": cycle.half_cycle_s,
        "half_cycle_spread_s": None if spread is None else {"p05": spread[0], "p95": spread[1]},
        "counted_in": cycle.counted_in,
        "false_alarm_probability": None if cycle.rhythm is None else cycle.rhythm.false_alarm_probability,
        "readings_per_half_cycle": cycle.readings_per_half_cycle,
        "set_point_c": cycle.set_point_c,
        "stopped": None if cycle.stopped_s is None else _iso(cycle.stopped_s, zone),
        "towers": {} if not cycle.resolved else {t: tower_summary(cycle, t) for t in ("A", "B")},
    }


def _spans(cycle: Cycle, zone: str | None) -> dict[str, Any]:
    """The cycle's long lists, plain as they are made."""
    instants = np.unique([moment for phase in cycle.phases for moment in (phase.start_s, phase.end_s)])
    named = dict(zip(instants.tolist(), iso_times(instants, zone), strict=True))
    return {
        "half_cycles": half_cycle_rows(cycle, zone),
        "phases": [
            {"start": named[p.start_s], "end": named[p.end_s], "tower": p.tower, "state": p.state} for p in cycle.phases
        ],
    }


def half_cycle_rows(cycle: Cycle, zone: str | None) -> list[dict[str, Any]]:
    """The half-cycles as rows with the document's keys, times in ISO 8601."""
    table = cycle.half_cycles
    levels = {key: table[key].to_numpy(float).tolist() for key in table if str(key).endswith("_dew_point_c")}
    starts, ends = (iso_times(table[key].to_numpy(float), zone) for key in ("start_s", "end_s"))
    spans = zip(starts, ends, table["tower"], table["complete"], strict=True)
    return [
        {
            "index": index,
            "start": start,
            "end": end,
            "tower": tower if isinstance(tower, str) else None,
            "complete": bool(complete),
            **{str(key): _number(values[index]) for key, values in levels.items()},
        }
        for index, (start, end, tower, complete) in enumerate(spans)
    ]


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _assumptions(diagnosis: Diagnosis) -> list[Any]:
    parts = (diagnosis.plant, diagnosis.purge, diagnosis.switching, diagnosis.payback)
    listed = {item.key: item for part in parts for item in getattr(part, "assumptions", ())}
    log = diagnosis.screened.log
    return [found for item in listed.values() if (found := as_the_log_has_it(item, log)) is not None]


def _notes(diagnosis: Diagnosis) -> Iterable[str]:
    d = diagnosis
    yield from d.screened.log.notes
    for part in (d.screened, d.cycle, d.purity, d.trend, d.breakthrough, d.purge, d.switching, d.payback):
        yield from part.notes


def _fields(record: Any, *, keep: tuple[str, ...] = ()) -> dict[str, Any]:
    names = [f.name for f in dataclasses.fields(record) if not keep or f.name in keep]
    return {name: getattr(record, name) for name in names}


_ALREADY_PLAIN = frozenset({str, int, bool, type(None)})


def _plain(value: Any) -> Any:
    if type(value) in _ALREADY_PLAIN:
        return value
    match value:
        case PurgeEnergy():
            return {**_plain(value.total), "air": value.air, "heater": value.heater, "blower": value.blower}
        case Estimate():
            return {"value": value.value, "low": value.low, "high": value.high}
        case dict():
            return {str(key): _plain(item) for key, item in value.items()}
        case list() | tuple():
            return [_plain(item) for item in value]
        case float():
            return _number(value)
        case _ if hasattr(value, "item"):
            return _plain(value.item())
        case _:
            return value
