"""What is no log is refused in one sentence that names the file; what is nearly one is read."""

from __future__ import annotations

import gzip
import io
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest

from diagnostics.errors import InputError
from diagnostics.log import contents
from diagnostics.log.reading import read_log
from diagnostics.log.record import Upload
from diagnostics.plant import plant_from
from tests.log.reencoded import Clean, clean_log, old_workbook, plant_of, read_bytes, refusal, text, workbook, zipped

CLEAN = clean_log(100)


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("empty.csv", b"", "empty"),
        ("blank.csv", b"\n\n  \r\n", "empty"),
        ("picture.csv", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40, "PNG picture"),
        ("photo.csv", b"\xff\xd8\xff\xe0" + bytes(range(256)) * 40, "JPEG picture"),
        ("paper.csv", b"%PDF-1.7\n" + bytes(range(256)) * 40, "PDF"),
        ("page.csv", b"<!DOCTYPE html><html><body>Log in</body></html>", "web page"),
        ("noise.csv", np.random.default_rng(1).bytes(50_000), "no text"),
        ("prose.txt", b"Dear all,\nthe dryer is fine.\nRegards\n" * 20, "no table"),
        ("titles.csv", b"Time,Dew point,Flow\n", "prose|table|reading"),
        ("two.zip", zipped(("a.csv", b"1"), ("b.csv", b"2")), "2 files"),
        ("nested.zip", zipped(("a.zip", zipped(("log.csv", text(CLEAN))))), "archive within"),
        ("broken.xlsx", workbook(CLEAN)[:3000], "damaged"),
        ("broken.parquet", b"PAR1" + bytes(5000), "damaged Parquet"),
        ("broken.xls", b"\xd0\xcf\x11\xe0" + bytes(5000), "damaged"),
        ("one.csv", b"Time,Dew point\n2026-01-13 07:00:00,-60\nx,y\n", "holds a time"),
        ("still.csv", b"Time,Dew point\n" + b"2026-01-13 07:00:00,-60\n" * 20, "same time"),
        (
            "columnless.csv",
            b"Time,Voltage\n" + b"2026-01-13 07:00:00,3.3\n2026-01-13 07:01:00,3.3\n" * 5,
            "dew_point=HEADER",
        ),
    ],
)
def test_one_sentence_names_the_file(name: str, data: bytes, words: str, tmp_path: Path) -> None:
    sentence = refusal(tmp_path, name, data)
    assert name in sentence
    assert any(word in sentence for word in words.split("|")), sentence
    assert "\n" not in sentence


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such log"):
        read_log(tmp_path / "gone.csv", plant_from({}))
    with pytest.raises(InputError, match="is a folder"):
        read_log(tmp_path, plant_from({}))


def test_zeros_are_refused_by_their_first_bytes(tmp_path: Path) -> None:
    path = tmp_path / "zeros.csv"
    with path.open("wb") as stream:
        stream.truncate(200 << 20)
    with pytest.raises(InputError, match=r"zeros\.csv holds bytes that are no text"):
        read_log(path, plant_from({}))


def test_too_large_a_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.csv"
    with path.open("wb") as stream:
        stream.truncate(contents.MOST_BYTES + 1)
    with pytest.raises(InputError, match=r"huge\.csv: 1\.1 GB is too large"):
        read_log(path, plant_from({}))


def _bomb(line: bytes, megabytes: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("log.csv", "w") as member:
        piece = line * ((1 << 20) // len(line))
        for _ in range(megabytes):
            member.write(piece)
    return out.getvalue()


def test_an_archive_that_unpacks_without_end(tmp_path: Path) -> None:
    assert "no text" in refusal(tmp_path, "bomb.zip", _bomb(b"\0", 100))
    assert "unpacks to more than" in refusal(tmp_path, "bomb.zip", _bomb(b"2026-01-13 07:00:00,-60\n", 100))
    packed = gzip.compress(b"2026-01-13 07:00:00,-60\n" * 3_000_000)
    assert "unpacks to more than" in refusal(tmp_path, "bomb.csv.gz", packed)


def test_a_cut_gzip_gives_what_it_holds(tmp_path: Path) -> None:
    clean = clean_log(3000, step_s=60)
    packed = gzip.compress(text(clean))
    log = read_bytes(tmp_path, "log.csv.gz", packed[: len(packed) // 2], plant_of(clean))
    assert 100 < log.samples < 3000
    assert any("cut or damaged" in note for note in log.notes)


def test_a_line_of_five_megabytes_is_named(tmp_path: Path) -> None:
    lines = text(CLEAN).split(b"\n")
    lines.insert(41, b"2026-01-13 07:00:00," + b"9" * 5_000_000)
    sentence = refusal(tmp_path, "long.csv", b"\n".join(lines))
    assert "long.csv, line 42" in sentence
    assert "5.0 MB" in sentence
    assert "long.csv" in refusal(tmp_path, "long.csv", b"9," * 2_500_000)


def test_a_workbook_of_a_million_empty_rows(tmp_path: Path) -> None:
    rows = b"".join(b'<row r="%d"/>' % r for r in range(1, 1_000_001))
    assert "empty.xlsx" in refusal(tmp_path, "empty.xlsx", _sheet(rows))
    stray = b'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    assert "1048576 rows by 16384 columns" in refusal(tmp_path, "stray.xlsx", _sheet(stray))


def _sheet(rows: bytes) -> bytes:
    """A workbook whose sheet holds these rows and nothing else."""
    source = zipfile.ZipFile(io.BytesIO(workbook(Clean((), np.array([]), "UTC"))))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for member in source.namelist():
            data = source.read(member)
            if member.startswith("xl/worksheets/"):
                start, end = data.index(b"<sheetData>"), data.index(b"</sheetData>")
                data = data[: start + 11] + rows + data[end:]
            archive.writestr(member, data)
    return out.getvalue()


def test_a_stray_quotation_mark_swallows_nothing(tmp_path: Path) -> None:
    clean = clean_log(2000, step_s=60)
    lines = text(clean).decode().splitlines()
    lines[700] = lines[700].replace(",", ',"', 1)
    log = read_bytes(tmp_path, "log.csv", "\n".join(lines).encode(), plant_of(clean))
    assert log.samples >= 1998


def test_decimal_commas_among_separating_commas(tmp_path: Path) -> None:
    data = b"Time,Dew point,Flow\n" + b"".join(b"2026-01-13 07:%02d:00,-61,43,8,17\n" % m for m in range(60))
    sentence = refusal(tmp_path, "log.csv", data)
    assert "log.csv, line 1: 3 titles stand over rows of 5 cells" in sentence


@pytest.mark.parametrize("delimiter", ["||", "é", '"'])
def test_an_impossible_delimiter(delimiter: str, tmp_path: Path) -> None:
    assert "[log] delimiter" in refusal(tmp_path, "log.csv", text(CLEAN), plant_of(CLEAN, delimiter=delimiter))


def test_an_old_workbook_damaged_anywhere_is_read_or_refused_in_little_memory(
    capfd: pytest.CaptureFixture[str],
) -> None:
    """A hole in the file may make a cell's row any number; nothing may be laid out for it, and nothing else be said."""
    whole = old_workbook(clean_log(60))
    rng = np.random.default_rng(1)
    for k in range(120):
        at, length = int(rng.integers(len(whole))), int(rng.choice([1, 4, 30, 500]))
        torn = whole[:at] + (rng.bytes(length) if k % 2 else b"") + whole[at + length :]
        try:
            outcome: object = read_log(Upload(name="log.xls", content=torn), plant_from({})).source
        except InputError as error:
            outcome = str(error)
        assert str(outcome).startswith("log.xls")
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(("last_row", "last_column"), [(2_000_000_000, 3), (60, 60_000)])
def test_an_old_workbook_that_names_more_cells_than_any_has_is_refused(last_row: int, last_column: int) -> None:
    whole = old_workbook(clean_log(60))
    at = whole.index(bytes((0x00, 0x02, 0x0E, 0x00)))
    extent = struct.pack("<IIHH", 0, last_row, 0, last_column)
    with pytest.raises(InputError, match="damaged"):
        read_log(Upload(name="log.xls", content=whole[: at + 4] + extent + whole[at + 16 :]), plant_from({}))
