"""Bytes of a text to UTF-8.

Question: which letters do the bytes stand for? Method: byte order mark, then the pattern of NULs that UTF-16 leaves
between Latin letters, then strict UTF-8, then the code page under which titles and units make sense (`code_pages`).
Statistical guessing takes Windows-1252 for rarer pages.
"""

from __future__ import annotations

import codecs
import re

import numpy as np

from diagnostics.log.code_pages import code_page

_HEAD_BYTES = 65_536


def to_utf8(data: bytes) -> tuple[bytes, str]:
    """Recode a text.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    bytes
        UTF-8 without byte order mark; line ends are line feeds.
    str
        Name of the encoding it was read from.
    """
    text, name = _recoded(data)
    # A logger whose supply failed leaves a block of NULs, an old editor its end mark.
    text = text.rstrip(b"\x00\x1a")
    if b"\r" in text:
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return text, name


def plain_quotes(data: bytes) -> bytes:
    """Take off quotation marks that wrap whole lines, and write double ones for single.

    Parameters
    ----------
    data : bytes
        UTF-8.
    """
    lines = [line for line in data[:_HEAD_BYTES].split(b"\n")[:60] if line.strip()]
    for mark in (b'"', b"'"):
        wrapped = [line.strip() for line in lines if line.startswith(mark) and line.strip().endswith(mark)]
        if len(wrapped) < max(2, int(0.8 * len(lines))):
            continue
        if mark == b"'":
            return data.replace(b"'", b'"') if b'"' not in data[:_HEAD_BYTES] else data
        if all(line.count(mark) == 2 and re.search(rb"[;,\t|]", line) for line in wrapped):
            return re.sub(rb'(?m)^"(.*)"[ \r]*$', rb"\1", data)
    return data


def _recoded(data: bytes) -> tuple[bytes, str]:
    if data.startswith(codecs.BOM_UTF8):
        data = data[len(codecs.BOM_UTF8) :]
    elif data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        order = "utf-16-le" if data.startswith(codecs.BOM_UTF16_LE) else "utf-16-be"
        return _from_utf16(data[2:], order), "UTF-16"
    else:
        pairs = min(len(data), 4096) // 2
        even, odd = data[0 : 2 * pairs : 2].count(0), data[1 : 2 * pairs : 2].count(0)
        if pairs >= 4 and max(even, odd) > 0.4 * pairs and min(even, odd) < 0.05 * pairs:
            return _from_utf16(data, "utf-16-le" if odd > even else "utf-16-be"), "UTF-16"
    if data.isascii():
        return data, "ASCII"
    # Letters beyond ASCII mostly stand in the titles alone; a glance at the bytes behind spares decoding them all.
    if len(data) > 2 * _HEAD_BYTES and int(np.frombuffer(data, np.uint8, offset=_HEAD_BYTES).max()) < 128:
        head, name = _recoded(data[:_HEAD_BYTES])
        return (data if name == "UTF-8" and len(head) == _HEAD_BYTES else head + data[_HEAD_BYTES:]), name
    try:
        data.decode("utf-8")
        return data, "UTF-8"
    except UnicodeDecodeError as error:
        if error.start >= len(data) - 3 and error.start > 3 and not data[: error.start].isascii():
            return data[: error.start], "UTF-8"
    page, name = code_page(data[: _HEAD_BYTES // 4])
    return data.decode(page, errors="replace").encode("utf-8"), name


def _from_utf16(data: bytes, order: str) -> bytes:
    return data[: len(data) // 2 * 2].decode(order, errors="replace").encode("utf-8", errors="replace")
