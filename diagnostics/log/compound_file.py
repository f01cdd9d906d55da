"""Whether an .xls workbook spans what such a sheet can hold, before anyone lays out memory for it.

Question: how far do the sheets of an old workbook reach? Input: bytes. Output: nothing, or a refusal. Method: the
workbook's stream is put together from the sectors of the compound file (layout as published in [MS-CFB]) and its
records are walked over ([MS-XLS] 2.4.90 Dimensions and the cell records); a damaged one names rows in the billions.
"""

from __future__ import annotations

import struct

from diagnostics.errors import InputError

SIGNATURE = b"\xd0\xcf\x11\xe0"
_MOST_ROWS, _MOST_COLUMNS = 65_536, 256
_LAST_SECTOR = 0xFFFFFFFA
_MINI_BYTES = 64
_DIMENSIONS, _SEVERAL = 0x0200, (0x00BD, 0x00BE)
_CELLS = frozenset((0x0006, 0x0201, 0x0203, 0x0204, 0x0205, 0x027E, 0x00FD, *_SEVERAL))


def refuse_impossible_extent(data: bytes, name: str) -> None:
    """Refuse a workbook whose cells lie where no such workbook has any.

    Parameters
    ----------
    data : bytes
        A compound file.
    name : str
        File name for the message.

    Raises
    ------
    InputError
        If the file is damaged.
    """
    try:
        stream = _workbook_stream(data)
        possible = stream is not None and _possible(stream)
    except (struct.error, IndexError, ValueError):
        possible = False
    if not possible:
        raise InputError(f"{name} is a damaged or locked workbook; save it again as .xlsx.")


def _workbook_stream(data: bytes) -> bytes | None:
    shift = _u16(data, 30)
    if shift not in (9, 12):
        return None
    size = 1 << shift
    sectors = -(-len(data) // size)

    def sector(k: int) -> bytes:
        return data[(k + 1) * size : (k + 2) * size]

    listed = list(struct.unpack_from("<109I", data, 76))
    more = _u32(data, 68)
    for _ in range(min(_u32(data, 72), sectors)):
        if more >= _LAST_SECTOR:
            break
        *places, more = _words(sector(more))
        listed += places
    table = [word for k in listed[: sectors + 109] if k < sectors for word in _words(sector(k))]

    def chain(start: int, follow: list[int]) -> list[int]:
        found: list[int] = []
        while start < _LAST_SECTOR and start < len(follow) and len(found) <= len(follow):
            found.append(start)
            start = follow[start]
        return found

    directory = b"".join(sector(k) for k in chain(_u32(data, 48), table))
    entries = [directory[at : at + 128] for at in range(0, len(directory) - 127, 128)]
    named = {entry[: max(0, _u16(entry, 64) - 2)].decode("utf-16-le", errors="replace"): entry for entry in entries}
    book = named.get("Workbook", named.get("Book"))
    if book is None or not entries:
        return None
    start, length = _u32(book, 116), _u32(book, 120)
    if length >= _u32(data, 56):
        return b"".join(sector(k) for k in chain(start, table))[:length]
    mini = b"".join(sector(k) for k in chain(_u32(entries[0], 116), table))
    small = [word for k in chain(_u32(data, 60), table) for word in _words(sector(k))]
    return b"".join(mini[k * _MINI_BYTES : (k + 1) * _MINI_BYTES] for k in chain(start, small))[:length]


def _possible(stream: bytes) -> bool:
    at = 0
    while at + 4 <= len(stream):
        kind, length = struct.unpack_from("<HH", stream, at)
        body = stream[at + 4 : at + 4 + length]
        at += 4 + length
        if kind == _DIMENSIONS and length >= 10:
            wide = length >= 14
            _, last_row, _, last_column = struct.unpack_from("<IIHH" if wide else "<HHHH", body)
            if last_row > _MOST_ROWS or last_column > _MOST_COLUMNS:
                return False
        elif kind in _CELLS and len(body) >= 6:
            column = _u16(body, len(body) - 2) if kind in _SEVERAL else _u16(body, 2)
            if column >= _MOST_COLUMNS:
                return False
    return True


def _words(sector: bytes) -> tuple[int, ...]:
    return struct.unpack(f"<{len(sector) // 4}I", sector[: len(sector) // 4 * 4])


def _u16(data: bytes, at: int) -> int:
    return int(struct.unpack_from("<H", data, at)[0])


def _u32(data: bytes, at: int) -> int:
    return int(struct.unpack_from("<I", data, at)[0])
