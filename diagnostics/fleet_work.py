"""One dryer of many, from bytes to its row and its document: what a worker does, and all it imports for that.

Question: what does this dryer's row say? Input: `Task`. Output: the row and the document's text. A log that cannot be
used costs itself only; the dryer's other logs are diagnosed without it, and the row says so.
"""

from __future__ import annotations

import gc
import os
import re
import tomllib
from collections.abc import Mapping
from typing import Any

import numpy as np

# Met on the way by most logs; in memory before the first log, they cost a worker nothing.
import scipy.fft
import scipy.linalg
import scipy.ndimage
import scipy.optimize
import scipy.special

from diagnostics.diagnosis import Diagnosis, diagnose
from diagnostics.errors import InputError, UserError
from diagnostics.fleet_files import Task, failed_row
from diagnostics.log.reading import read_log
from diagnostics.log.record import Log, Upload
from diagnostics.moment import iso_time
from diagnostics.plant import Plant, plant_from
from diagnostics.report.document import document, json_text

VISIT_GAP_S = 86400.0
"""A day without a reading parts two visits [s]."""
_OPTION, _BARE_OPTION = re.compile(r"with --column ([a-z_]+)=HEADER"), re.compile(r"with --column\b")


def begin_worker() -> None:
    """Keep the collector off what all logs share, and its rounds rare: a diagnosis makes few cycles."""
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)


def work(task: Task) -> dict[str, Any]:
    """Diagnose one dryer; one that cannot be diagnosed becomes a row that says why.

    Returns
    -------
    dict
        ``row`` for the ranked table and ``document``, the JSON text, None where the dryer failed.
    """
    try:
        tables = tomllib.loads(task.plant_text.decode("utf-8-sig").replace("\r\n", "\n"))
        plant = plant_from(tables, source=task.plant_name)
        log, left_out = _read(task, plant)
        diagnosis = diagnose(log, plant)
        whole = document(diagnosis)
    except tomllib.TOMLDecodeError as error:
        return _failed(task, f"{task.plant_name}: not valid TOML, {error}.")
    except UnicodeDecodeError:
        return _failed(task, f"{task.plant_name} is not UTF-8 text; save it again as UTF-8.")
    except UserError as error:
        return _failed(task, str(error))
    except Exception as error:
        # One dryer that meets an error of ours must not cost the others their result.
        if os.environ.get("DEWSWING_DEBUG"):
            raise
        place = f"{type(error).__name__}: {' '.join(str(error).split())[:200]}"
        return _failed(
            task, f"an error in dewswing itself ({place}); diagnose {task.name} alone with DEWSWING_DEBUG=1."
        )
    row = summary_row(task.name, task.header, whole) | _measured(diagnosis) | {"error": " ".join(left_out)}
    return {"row": row, "document": json_text(whole)}


def _failed(task: Task, sentence: str) -> dict[str, Any]:
    """Result of a dryer that could not be diagnosed."""
    return {"row": failed_row(task.name, task.header, mend_by_plant_file(sentence)), "document": None}


def mend_by_plant_file(sentence: str) -> str:
    """Refusal whose mend is an option of ``diagnose``, told as what it is in a plant file, which a fleet has."""
    told = _OPTION.sub(r'with columns = { \1 = "HEADER" } under [log] in its plant file', sentence)
    return _BARE_OPTION.sub("with columns under [log] in its plant file", told)


def _read(task: Task, plant: Plant) -> tuple[Log, list[str]]:
    """The dryer's logs joined, and a sentence for each that had to be left out."""
    uploads = [Upload(name, content) for name, content in task.logs]
    try:
        return read_log(uploads, plant), []
    except UserError:
        if len(uploads) == 1:
            raise
    good, left_out, first = [], [], None
    for upload in uploads:
        try:
            read_log([upload], plant)
        except UserError as error:
            first = first or error
            left_out.append(mend_by_plant_file(f"{upload.name} was left out: {error}"))
        else:
            good.append(upload)
    if not good:
        raise first or InputError(f"{task.name} has no log that can be read; export its logs again.")
    return read_log(good, plant), left_out


def summary_row(name: str, header: str, whole: Mapping[str, Any]) -> dict[str, Any]:
    """One dryer's row of the ranked table, from its document."""
    first = next(iter(whole["findings"]), None)
    saved, cost = whole["switching"]["cost_saved_per_year"], whole["purge"]["cost_per_year"]
    energy = whole["switching"]["energy_saved_kwh_per_year"]
    slope, days = whole["trend"]["peak_dew_point_c_per_day"], whole["trend"]["days_to_limit"]
    levels = whole["log"]["used_statistics"].get("dew_point_c", {})
    return {
        "dryer": name,
        "header": header,
        "urgency": first["severity"] if first else "none",
        "code": first["code"] if first else "",
        "first": first["statement"] if first else "Nothing stands out.",
        "do": first["action"] if first else "",
        "findings": len(whole["findings"]),
        "air_use": whole["air_use"],
        "conformity": whole["purity"]["conformity"],
        "class": whole["purity"]["class"],
        "limit_dew_point_c": whole["purity"]["limit_dew_point_c"],
        "p95_dew_point_c": whole["purity"]["p95_dew_point_c"],
        "moisture_mean_dew_point_c": levels.get("moisture_mean_dew_point_c"),
        "control": whole["cycle"]["control"],
        "half_cycle_s": _value(whole["cycle"]["half_cycle_s"]),
        "trend": whole["trend"]["verdict"],
        "trend_k_per_day": _value(slope),
        "days_to_limit": _value(days),
        "purge_cost_per_year": _value(cost),
        "purge_cost_low": cost and cost["low"],
        "purge_cost_high": cost and cost["high"],
        "cost_saved_per_year": _value(saved),
        "energy_saved_kwh_per_year": _value(energy),
        "energy_saved_low": energy and energy["low"],
        "energy_saved_high": energy and energy["high"],
        "cost_saved_low": saved and saved["low"],
        "cost_saved_high": saved and saved["high"],
        "currency": whole["payback"]["currency"],
        "simple_payback_years": _value(whole["payback"]["simple_payback_years"]),
    }


def _value(estimate: Mapping[str, float] | None) -> float | None:
    return None if estimate is None else estimate["value"]


def _measured(diagnosis: Diagnosis) -> dict[str, Any]:
    """What the row needs beyond the document: flow and pressure for mixing, and the dew point visit by visit."""
    screened = diagnosis.screened
    used, conditions = screened.used, screened.conditions
    flow = conditions.flow_m3_min
    return {
        "mean_flow_m3_min": None if flow is None or not used.any() else float(flow[used].mean()),
        "pressure_bar": float(conditions.pressure_bar[used].mean()) if used.any() else None,
        "visits": _visits(diagnosis),
    }


def _visits(diagnosis: Diagnosis) -> list[dict[str, Any]]:
    """Each stretch of the log between gaps of a day or more: when, and its 95th percentile and median peak [degC]."""
    screened = diagnosis.screened
    log, peaks = screened.log, diagnosis.cycle.complete
    ends = np.append(np.flatnonzero(np.diff(log.time_s) > VISIT_GAP_S) + 1, log.time_s.size)
    visits, begin = [], 0
    for end in ends.tolist():
        levels = screened.dew_point_c[begin:end][screened.used[begin:end]]
        levels = levels[np.isfinite(levels)]
        start_s, end_s = float(log.time_s[begin]), float(log.time_s[end - 1])
        within = peaks.loc[(peaks["start_s"] >= start_s) & (peaks["end_s"] <= end_s), "peak_dew_point_c"].dropna()
        visits.append(
            {
                "start": iso_time(start_s, log.timezone),
                "end": iso_time(end_s, log.timezone),
                "p95_dew_point_c": float(np.percentile(levels, 95)) if levels.size else None,
                "peak_dew_point_c": float(within.median()) if len(within) else None,
            }
        )
        begin = end
    return visits


__all__ = ["begin_worker", "scipy", "summary_row", "work"]
