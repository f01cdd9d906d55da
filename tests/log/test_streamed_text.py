"""A large plain text is read from the disk piece by piece and must give the log that the careful way gives."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from diagnostics.errors import InputError
from diagnostics.log.reading import read_log
from diagnostics.log.record import Log, Upload
from diagnostics.log.streamed_text import read_streamed
from diagnostics.plant import plant_from

PLANT = plant_from({"site": {"timezone": "Europe/Lisbon"}})
ROWS = 120_000


@pytest.fixture(scope="module")
def plain() -> bytes:
    """120,000 rows, 10 s apart, 4.9 MB."""
    stamps = np.datetime_as_string(np.datetime64("2026-01-05T07:00:00") + 10 * np.arange(ROWS), unit="s")
    k = np.arange(ROWS)
    levels = np.round(-60.0 + 4.0 * ((k / 200.0) % 1.0), 2)
    rows = "\n".join(f"{s},{v:.2f},{7 + i % 10 / 1000:.4f},12.345" for s, v, i in zip(stamps, levels, k, strict=True))
    return f"Site: invented\nTime,Dew point [°C],Pressure [bar],Flow [m3/min]\n{rows}\n".encode()


def _both(tmp_path: Path, data: bytes) -> tuple[Log, Log]:
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    return read_log(path, PLANT), read_log(Upload("log.csv", data), PLANT)


def _same(one: Log, other: Log) -> None:
    np.testing.assert_array_equal(one.time_s, other.time_s)
    assert list(one.channels) == list(other.channels)
    for quantity in one.channels:
        np.testing.assert_array_equal(one.channels[quantity], other.channels[quantity])
    assert one.sha256 == other.sha256
    assert one.notes == other.notes
    assert one.rows_dropped == other.rows_dropped


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_plain_lines_take_the_short_way(mark: bytes, plain: bytes, tmp_path: Path) -> None:
    streamed, careful = _both(tmp_path, mark + plain)
    assert read_streamed(tmp_path / "log.csv", PLANT) is not None
    _same(streamed, careful)
    assert streamed.sha256 == hashlib.sha256(mark + plain).hexdigest()
    assert streamed.samples == ROWS


@pytest.mark.parametrize("case", ["returns", "letters", "torn", "words", "Western"])
def test_what_needs_mending_takes_the_careful_way(case: str, plain: bytes, tmp_path: Path) -> None:
    lines = plain.split(b"\n")
    if case == "letters":
        lines[90_000] += " µ".encode()
    elif case == "torn":
        lines[90_000] = lines[90_000][:25]
        lines[100_000] += b",1,2,3"
    elif case == "words":
        lines[90_000] = b",".join((lines[90_000].split(b",")[0], b"error", b"7,1"))
    data = (b"\r\n" if case == "returns" else b"\n").join(lines)
    if case == "Western":
        data = data.decode().encode("cp1252")
    streamed, careful = _both(tmp_path, data)
    assert (read_streamed(tmp_path / "log.csv", PLANT) is None) == (case not in ("words", "Western"))
    _same(streamed, careful)


def test_an_endless_line_far_behind_is_named(plain: bytes, tmp_path: Path) -> None:
    lines = plain.split(b"\n")
    lines[90_000] += b"9" * 5_000_000
    path = tmp_path / "log.csv"
    path.write_bytes(b"\n".join(lines))
    with pytest.raises(InputError, match=r"log\.csv, line 90001: the line is 5\.0 MB long"):
        read_log(path, PLANT)
