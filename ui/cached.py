"""The only place that caches: what was read and diagnosed, keyed by content and settings, few entries each.

A year of readings is too large to be copied at every touch of the page, so logs and diagnoses are handed out as they
are; both are frozen and nobody writes into them. An argument with a leading underscore is settled by the digest beside
it and therefore not part of the key.
"""

from __future__ import annotations

import json
from importlib import resources

import streamlit as st

from diagnostics.diagnosis import Diagnosis, diagnose
from diagnostics.log.corrections import Correction
from diagnostics.log.reading import read_log
from diagnostics.log.record import Log, Upload
from diagnostics.plant import plant_from
from diagnostics.report.figures import Display
from diagnostics.what_if import WhatIf, what_if
from ui.work import Work

Files = tuple[tuple[str, bytes], ...]


def log_work(digest: str, plant: str, columns: str, files: Files, *, again: bool = True) -> Work[Log]:
    """Start reading uploaded logs; the same files with the same settings are read once, and again after a stop."""
    work = _log_work(digest, plant, columns, files)
    if work.stopped and again:
        _log_work.clear(digest, plant, columns, files)
        work = _log_work(digest, plant, columns, files)
    return work


@st.cache_resource(max_entries=4, show_spinner=False)
def _log_work(digest: str, plant: str, columns: str, _files: Files) -> Work[Log]:
    settled, named = plant_from(json.loads(plant)), json.loads(columns)
    uploads = [Upload(name, content) for name, content in _files]
    return Work(lambda progress: read_log(uploads, settled, columns=named, progress=progress))


@st.cache_resource(max_entries=4, show_spinner=False)
def diagnosis_work(digest: str, plant: str, columns: str, corrections: str, attempt: int, _log: Log) -> Work[Diagnosis]:
    """Start diagnosing a log; the same log with the same settings is diagnosed once."""
    settled = plant_from(json.loads(plant))
    by_hand = [Correction(*row) for row in json.loads(corrections)]
    return Work(lambda progress: diagnose(_log, settled, corrections=by_hand, progress=progress))


@st.cache_data(max_entries=64, show_spinner=False)
def what_if_of(key: tuple[str, ...], settings: dict[str, float], _diagnosis: Diagnosis) -> WhatIf:
    """Reckon the energy side again with changed settings."""
    return what_if(_diagnosis, settings)


@st.cache_data(max_entries=8, show_spinner=False)
def report_of(key: tuple[str, ...], kind: str, display: Display, _diagnosis: Diagnosis) -> bytes:
    """Make a file to take away: a report, a table or the document."""
    from diagnostics.report import document, page, tables

    match kind:
        case ".html" | ".pdf":
            return page.report_bytes(_diagnosis, kind, display=display)
        case ".json":
            return document.document_text(_diagnosis).encode()
        case ".xlsx":
            return tables.workbook(_diagnosis)
        case ".parquet":
            return tables.screened_parquet(_diagnosis)
        case "half-cycles":
            return tables.half_cycles_csv(_diagnosis).encode()
        case _:
            return tables.findings_csv(_diagnosis).encode()


@st.cache_data(max_entries=2, show_spinner="Running the invented dryer for two days")
def invented(name: str = "demo.toml") -> tuple[str, bytes]:
    """Plant file and log of an invented plant."""
    import tomllib

    from diagnostics.bed.simulation import simulate

    text = resources.files("scenarios").joinpath(name).read_text(encoding="utf-8")
    table, _ = simulate(plant_from(tomllib.loads(text)), days=2.0, seed=7)
    return text, table.to_csv(index=False, lineterminator="\n").encode()
