"""A large plain text, read from the disk piece by piece.

Question: what stands in a clean file of tens of megabytes? Input: a path. Output: `RawTable` and the file's digest, or
None where the file is small, packed, or anything but plain lines, which the careful way through memory then reads.
Method: the layout is found in the first pieces; the column reader takes the rest from the disk while a second thread
walks over the same bytes for the digest and for whatever the careful way would have to mend.
"""

from __future__ import annotations

import hashlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from diagnostics.errors import InputError
from diagnostics.log.contents import HEAD_BYTES, MOST_BYTES
from diagnostics.log.encoding import to_utf8
from diagnostics.log.layout import LONGEST_LINE_BYTES, Layout, find_layout
from diagnostics.log.raw import RawTable
from diagnostics.log.record import Upload
from diagnostics.log.text_table import read_stream
from diagnostics.plant import Plant

_WORTH_IT_BYTES = 4_000_000
_PIECE_BYTES = 1 << 20
_PACKED = (b"\x1f\x8b", b"PK", b"PAR1", b"\xd0\xcf\x11\xe0", b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True)
class _Walk:
    """What a walk over all bytes showed."""

    digest: str
    plain: bool


def read_streamed(file: str | Path | Upload, plant: Plant) -> tuple[RawTable, str] | None:
    """Table and digest of a large plain text.

    Parameters
    ----------
    file : path or upload
    plant : Plant
        Answers in ``[log]``.

    Returns
    -------
    RawTable and str, or None
        None leaves the file to `contents.open_content`, with all its refusals.
    """
    if isinstance(file, Upload):
        return None
    path = Path(file)
    try:
        if not path.is_file() or not _WORTH_IT_BYTES <= path.stat().st_size <= MOST_BYTES:
            return None
        with path.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
        begun = _begun(head, path.name, plant)
        if begun is None:
            return None
        layout, offset = begun
        with ThreadPoolExecutor(1) as beside:
            walk = beside.submit(_walk_over, path)
            table = read_stream(path, offset, layout, stamps_as_text=plant.log.time_format is not None)
            walked = walk.result()
    except OSError:
        return None
    return (table, walked.digest) if table is not None and walked.plain else None


def _begun(head: bytes, name: str, plant: Plant) -> tuple[Layout, int] | None:
    """Layout of a text by its beginning, and the byte its readings begin at."""
    cut = head.rfind(b"\n") + 1
    if head.startswith(_PACKED) or not cut or b"\r" in head or b"\0" in head:
        return None
    text, _ = to_utf8(head[:cut])
    try:
        layout = find_layout(text, name, delimiter=plant.log.delimiter, decimal=plant.log.decimal)
    except InputError:
        return None
    if layout.by_blanks:
        return None
    offset = 0
    for _ in range(layout.line - 1):
        offset = head.find(b"\n", offset) + 1
    return layout, offset


def _walk_over(path: Path) -> _Walk:
    """Digest of a file; whether it is ASCII behind its beginning, without carriage returns or endless lines."""
    digest = hashlib.sha256()
    room = bytearray(_PIECE_BYTES)
    view = memoryview(room)
    plain, at, line_end = True, 0, 0
    with path.open("rb", buffering=0) as stream:
        while count := stream.readinto(room):
            digest.update(view[:count])
            start = HEAD_BYTES if at == 0 else 0
            # a slice is a copy, which a full piece does not need
            letters = room if start == 0 and count == len(room) else room[start:count]
            plain = plain and letters.isascii() and room.find(b"\r", 0, count) < 0
            plain = plain and room.find(b"\0", 0, count) < 0
            end = room.rfind(b"\n", 0, count)
            line_end = at + end if end >= 0 else line_end
            at += count
            plain = plain and at - line_end <= LONGEST_LINE_BYTES
    return _Walk(digest.hexdigest(), plain)
