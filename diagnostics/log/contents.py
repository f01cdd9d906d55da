"""What lies behind a path: the bytes of one log, unpacked, and which kind of file they are.

Question: is this text, a workbook or Parquet, and is it safe to take in? Input: a path. Output: `Content`. Method:
magic numbers, never the file's ending; archives are unpacked piece by piece under a cap on size and on the ratio of
what comes out to what goes in, so that a few kilobytes can never fill the memory.
"""

from __future__ import annotations

import gzip
import io
import re
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from diagnostics.errors import InputError
from diagnostics.log.record import Upload

HEAD_BYTES = 65_536
MOST_BYTES = 1 << 30
"""A log of a gigabyte holds years of readings a second; more is no log of a day or two but a mistake."""
_PIECE_BYTES = 1 << 20
_MOST_RATIO, _RATIO_FROM_BYTES = 200, 64 << 20
_MOST_WORKBOOK_BYTES = 1 << 30

_STRANGERS = (
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"{\\rtf", "a text processor's document"),
    (b"MZ", "a program"),
    (b"\x7fELF", "a program"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ", "an XZ archive"),
    (b"\x28\xb5\x2f\xfd", "a Zstandard archive"),
    (b"SQLite format 3", "a database"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
)
_CONTROL = bytes((*range(1, 9), *range(14, 27), *range(28, 32)))
_MEND = "export the log as CSV, Excel or Parquet."


@dataclass(frozen=True)
class Content:
    """Bytes of one log.

    Attributes
    ----------
    name : str
        File name for people.
    data : bytes
        Unpacked.
    kind : str
        ``text``, ``workbook`` or ``parquet``.
    notes : tuple of str
    """

    name: str
    data: bytes
    kind: Literal["text", "workbook", "parquet"]
    notes: tuple[str, ...] = ()


def open_content(path: str | Path | Upload) -> tuple[Content, bytes]:
    """Take in one file, unpacked.

    Parameters
    ----------
    path : str, Path or Upload

    Returns
    -------
    Content
    bytes
        As they lie on the disk, for the digest.

    Raises
    ------
    InputError
        If the file is missing, empty, too large, no log by its first bytes, or an archive that hides something.
    """
    if isinstance(path, Upload):
        _refuse_size(path.name, len(path.content))
        _refuse_empty(path.name, path.content[:HEAD_BYTES], len(path.content))
        _refuse_stranger(path.name, path.content[:HEAD_BYTES])
        return _unpack(path.name, path.content), path.content
    file = Path(path)
    try:
        if file.is_dir():
            raise InputError(f"{file} is a folder; name a log file in it.")
        size = file.stat().st_size
        _refuse_size(file.name, size)
        with file.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
            _refuse_empty(file.name, head, size)
            _refuse_stranger(file.name, head)
            stream.seek(0)
            raw = stream.read()
    except FileNotFoundError:
        raise InputError(f"{file}: there is no such log; check the path.") from None
    except OSError as error:
        raise InputError(f"{file} cannot be read ({error.strerror}); check its permissions.") from None
    return _unpack(file.name, raw), raw


def _refuse_size(name: str, size: int) -> None:
    if size > MOST_BYTES:
        raise InputError(
            f"{name}: {size / 1e9:.1f} GB is too large for a log, at most {MOST_BYTES / 1e9:.1f} GB is read;"
            " export a shorter span."
        )


def _refuse_empty(name: str, head: bytes, size: int) -> None:
    if not head.strip(b"\r\n\t \x00") and size <= HEAD_BYTES:
        raise InputError(f"{name} is empty; export the log again.")


def _refuse_stranger(name: str, head: bytes) -> None:
    for magic, what in _STRANGERS:
        # "MZ" and "BZh" may begin a text; a program or archive has bytes no text has.
        if head.startswith(magic) and (len(magic) > 3 or _is_binary(head) or magic == b"\xff\xd8\xff"):
            raise InputError(f"{name} is {what}, not a log; {_MEND}")
    if head[:512].lstrip(b"\xef\xbb\xbf \r\n\t").lower().startswith((b"<!doctype html", b"<html")):
        if name.lower().endswith((".xls", ".xlsx")):
            raise InputError(
                f"{name} is a web page under a workbook's name; open it in a spreadsheet, save it as .xlsx."
            )
        raise InputError(f"{name} is a web page, not a log; {_MEND}")
    packed = head.startswith((b"\x1f\x8b", b"PK", b"PAR1", b"\xd0\xcf\x11\xe0", b"\xff\xfe", b"\xfe\xff"))
    if not packed and (_is_binary(head.rstrip(b"\x00")) or not head.strip(b"\x00")):
        raise InputError(f"{name} holds bytes that are no text, it is not a log; {_MEND}")


def _is_binary(head: bytes) -> bool:
    """Whether bytes are no text: NUL or control bytes, unless NULs alternate as in UTF-16 or fill a failed sector."""
    if b"\0\0\0\0" in head and head.count(b"\n") > 2:
        head = re.sub(rb"\x00{16,}", b"", head)
    if not head:
        return False
    pairs = len(head) // 2
    even, odd = head[0 : 2 * pairs : 2].count(0), head[1 : 2 * pairs : 2].count(0)
    if pairs >= 4 and min(even, odd) < 0.05 * pairs and max(even, odd) > 0.4 * pairs:
        return False
    control = len(head) - len(head.translate(None, _CONTROL))
    return even + odd > 0.02 * len(head) + 2 or control > 0.03 * len(head)


def _unpack(name: str, raw: bytes) -> Content:
    if raw.startswith(b"\x1f\x8b"):
        with gzip.GzipFile(fileobj=io.BytesIO(raw)) as stream:
            data, notes = _inflate(stream, name, len(raw))
        return _plain(name, data, notes)
    if raw.startswith(b"PK"):
        return _unzip(name, raw)
    return _plain(name, raw, ())


def _plain(name: str, data: bytes, notes: tuple[str, ...]) -> Content:
    _refuse_stranger(name, data[:HEAD_BYTES])
    if data.startswith(b"PAR1"):
        return Content(name, data, "parquet", notes)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        return Content(name, data, "workbook", notes)
    if data.startswith(b"PK"):
        inner = _unzip(name, data, nested=True)
        return Content(name, inner.data, inner.kind, notes + inner.notes)
    return Content(name, data, "text", notes)


def _unzip(name: str, raw: bytes, *, nested: bool = False) -> Content:
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            members = [m for m in archive.infolist() if not m.is_dir() and not m.filename.startswith("__MACOSX")]
            names = {m.filename for m in members}
            if "[Content_Types].xml" in names or "content.xml" in names:
                total = sum(m.file_size for m in members)
                if total > _MOST_WORKBOOK_BYTES or (total > _RATIO_FROM_BYTES and total > _MOST_RATIO * len(raw)):
                    raise InputError(
                        f"{name}: the workbook would unpack to {total / 1e6:.0f} MB, which no log needs; delete empty"
                        " formatted rows or export as CSV."
                    )
                return Content(name, raw, "workbook")
            if nested:
                raise InputError(f"{name} is an archive within an archive; unpack it and name the log.")
            if len(members) != 1:
                some = ", ".join(sorted(names)[:4]) or "nothing"
                raise InputError(f"{name} holds {len(members)} files ({some}); unpack it and name the log.")
            if members[0].flag_bits & 1:
                raise InputError(f"{name} is locked with a password; unpack it and name the log.")
            with archive.open(members[0]) as stream:
                assert isinstance(stream, zipfile.ZipExtFile)
                data, notes = _inflate(stream, name, len(raw))
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, zlib.error, EOFError, ValueError) as error:
        raise InputError(f"{name} is a damaged archive ({error}); copy it again or unpack it.") from None
    return _plain(name, data, notes)


def _inflate(stream: gzip.GzipFile | zipfile.ZipExtFile, name: str, packed_bytes: int) -> tuple[bytes, tuple[str, ...]]:
    pieces: list[bytes] = []
    total = 0
    notes: tuple[str, ...] = ()
    while True:
        try:
            piece = stream.read1(_PIECE_BYTES)
        except (EOFError, zlib.error, gzip.BadGzipFile, zipfile.BadZipFile):
            notes = (f"{name}: the archive is cut or damaged at its end; what came before was read.",)
            break
        if not piece:
            break
        if not total:
            _refuse_stranger(name, piece[:HEAD_BYTES])
        total += len(piece)
        if total > MOST_BYTES or (total > _RATIO_FROM_BYTES and total > _MOST_RATIO * packed_bytes):
            raise InputError(
                f"{name} unpacks to more than {total / 1e6:.0f} MB from {packed_bytes / 1e6:.2f} MB, which no log"
                " does; unpack it and name the log."
            )
        pieces.append(piece)
    if not total:
        raise InputError(f"{name}: the archive is empty or damaged; export the log again.")
    return b"".join(pieces), notes
