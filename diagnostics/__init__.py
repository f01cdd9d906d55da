"""dewswing's engine: from a dew point log to a diagnosis.

    from diagnostics import diagnose, load_plant, read_log

    plant = load_plant("plant.toml")
    diagnosis = diagnose(read_log(["log.csv"], plant), plant)

Names are imported when they are first asked for, so that the command line stays quick.
"""

from __future__ import annotations

import importlib
from typing import Any

_PUBLIC = {
    # reading
    "Log": "diagnostics.log.record",
    "Upload": "diagnostics.log.record",
    "read_log": "diagnostics.log.reading",
    # the plant
    "Plant": "diagnostics.plant",
    "load_plant": "diagnostics.plant",
    "plant_from": "diagnostics.plant",
    # judging
    "Diagnosis": "diagnostics.diagnosis",
    "diagnose": "diagnostics.diagnosis",
    # handing on
    "document": "diagnostics.report.document",
    "json_schema": "diagnostics.report.schema",
    "report_bytes": "diagnostics.report.page",
    # beside the main path
    "simulate": "diagnostics.bed.simulation",
    "spot_check": "diagnostics.spot_check",
    "verify": "diagnostics.energy.verification",
    "weigh_levers": "diagnostics.energy.levers",
    "what_if": "diagnostics.what_if",
    # what can go wrong
    "InputError": "diagnostics.errors",
    "UsageError": "diagnostics.errors",
}

__all__ = sorted(_PUBLIC)


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'diagnostics' has no attribute {name!r}")
    return getattr(importlib.import_module(_PUBLIC[name]), name)
