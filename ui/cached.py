"""The only place that caches: what was read and diagnosed, keyed by content and settings, few entries each."""

from __future__ import annotations

import json
from importlib import resources

import streamlit as st

from diagnostics.diagnosis import Diagnosis, diagnose
from diagnostics.log.reading import read_log
from diagnostics.log.record import Log, Upload
from diagnostics.plant import plant_from
from diagnostics.what_if import WhatIf, what_if


@st.cache_data(max_entries=4, show_spinner="Reading the log")
def log_of(files: tuple[tuple[str, bytes], ...], plant: str, columns: str) -> Log:
    """Read uploaded logs."""
    uploads = [Upload(name, content) for name, content in files]
    return read_log(uploads, plant_from(json.loads(plant)), columns=json.loads(columns))


@st.cache_data(max_entries=4, show_spinner="Diagnosing")
def diagnosis_of(files: tuple[tuple[str, bytes], ...], plant: str, columns: str) -> Diagnosis:
    """Diagnose uploaded logs."""
    return diagnose(log_of(files, plant, columns), plant_from(json.loads(plant)))


@st.cache_data(max_entries=32, show_spinner=False)
def what_if_of(files: tuple[tuple[str, bytes], ...], plant: str, columns: str, settings: dict[str, float]) -> WhatIf:
    """Reckon the energy side again with changed settings."""
    return what_if(diagnosis_of(files, plant, columns), settings)


@st.cache_data(max_entries=4, show_spinner="Drawing the report")
def report_of(files: tuple[tuple[str, bytes], ...], plant: str, columns: str, kind: str) -> bytes:
    """Make the report of uploaded logs."""
    from diagnostics.report.page import report_bytes

    return report_bytes(diagnosis_of(files, plant, columns), kind)


@st.cache_data(max_entries=2, show_spinner="Running the invented dryer for two days")
def invented(name: str = "demo.toml") -> tuple[str, bytes]:
    """Plant file and log of an invented plant."""
    import tomllib

    from diagnostics.bed.simulation import simulate

    text = resources.files("scenarios").joinpath(name).read_text(encoding="utf-8")
    table, _ = simulate(plant_from(tomllib.loads(text)), days=2.0, seed=7)
    return text, table.to_csv(index=False, lineterminator="\n").encode()
