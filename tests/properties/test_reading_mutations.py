"""Whatever happens to a log's bytes ends in a `Log` or in an `InputError`, in bounded time."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics.errors import InputError
from diagnostics.log.reading import read_log
from diagnostics.log.record import Log
from diagnostics.plant import Plant, plant_from
from tests.log.reencoded import clean_log, gzipped, old_workbook, open_document, parquet, text, workbook, zipped

CLEAN = clean_log(60, step_s=60)
SOURCES = (
    text(CLEAN),
    text(CLEAN, delimiter=";", decimal=",", end="\r\n", encoding="cp1252", stamp=lambda t: [f"{t:%d.%m.%Y %H:%M:%S}"]),
    text(CLEAN, delimiter="\t", encoding="utf-16", stamp=lambda t: [f"{t:%m/%d/%Y}", f"{t:%I:%M:%S %p}"]),
    gzipped(text(CLEAN)),
    zipped(("log.csv", text(CLEAN))),
    workbook(CLEAN),
    old_workbook(CLEAN),
    open_document(CLEAN),
    parquet(CLEAN),
)
PLANTS = tuple(plant_from({"site": {"timezone": zone}}) for zone in ("Europe/Berlin", "Asia/Kolkata"))


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    data = draw(st.sampled_from(SOURCES))
    for _ in range(draw(st.integers(1, 4))):
        size = len(data)
        at, to = sorted((draw(st.integers(0, size)), draw(st.integers(0, size))))
        match draw(st.sampled_from("cut drop double shuffle noise insert recode lines".split())):
            case "cut":
                data = data[:to]
            case "drop":
                data = data[:at] + data[to:]
            case "double":
                data = data[:to] + data[at:]
            case "shuffle":
                lines = data.split(b"\n")
                data = b"\n".join(draw(st.permutations(lines[:40])) + lines[40:])
            case "noise":
                data = data[:at] + draw(st.binary(max_size=30)) + data[min(to, at + 30) :]
            case "insert":
                piece = draw(st.sampled_from([b'"', b",", b";;;", b"\0", b"\n\n", b"\r", b"-", b"1e999", b"OL"]))
                data = data[:at] + piece + data[at:]
            case "recode":
                data = data.decode("latin-1").encode(draw(st.sampled_from(["utf-16", "utf-8", "utf-16-be"])))
            case "lines":
                data = data.replace(b"\n", draw(st.sampled_from([b"\r", b"\r\n", b"\n\n", b",\n", b""])))
        data = data[:200_000]
    return data


@settings(max_examples=150, deadline=5000, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
@given(data=mutated(), plant=st.sampled_from(PLANTS))
def test_any_bytes_end_in_a_log_or_a_sentence(data: bytes, plant: Plant) -> None:
    outcome = outcome_of(data, plant)
    if isinstance(outcome, str):
        assert "log.csv" in outcome or "[log]" in outcome
    else:
        check(outcome)


def outcome_of(data: bytes, plant: Plant) -> Log | str:
    """The log that bytes read to, or the sentence that refuses them."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_bytes(data)
        try:
            return read_log(path, plant)
        except InputError as error:
            return str(error)


def check(log: Log) -> None:
    assert log.samples >= 2
    assert np.isfinite(log.time_s).all()
    assert (np.diff(log.time_s) > 0).all()
    assert log.interval_s > 0
    for values in (*log.channels.values(), *log.other.values()):
        assert values.shape == log.time_s.shape
        assert values.dtype == np.float64
        assert not np.isinf(values).any()
    assert "dew_point" in log.channels
    assert set(log.columns) == set(log.channels)


@settings(max_examples=60, deadline=5000, derandomize=True)
@given(data=st.binary(max_size=3000))
def test_random_bytes_end_in_a_sentence(data: bytes) -> None:
    outcome = outcome_of(data, PLANTS[0])
    if isinstance(outcome, str):
        assert "log.csv" in outcome
    else:
        check(outcome)
