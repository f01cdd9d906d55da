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
_TWICE = re.compile(rb"\xc3[\x82\x83][\xc2\xc5\xe2]|&deg;|&sup[23];")
"""An A with a circumflex or a tilde and a sign behind it, as UTF-8 looks that was taken for Windows-1252."""
_INVISIBLE = tuple(mark.encode() for mark in "\ufeff\u200b\u200e\u200f\u202a\u202c\u2060")
"""Marks for the direction of writing and the like, which people copy along with a table."""
_FORMULA = re.compile(rb'(?m)(^|[;,\t|])(?:="([^"\n]*)"|"=""([^"\n]*)""")(?=[;,\t|]|$)')
"""A text that a spreadsheet is kept from turning into a number or date."""


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
    if b"\0" in text:
        text = _without_nuls(text)
    if name != "ASCII" and (b"\xe2" in text or b"\xef" in text):
        for mark in _INVISIBLE:
            text = text.replace(mark, b"")
    return (_respelt(text) if _TWICE.search(text[:_HEAD_BYTES]) else text), name


def _without_nuls(text: bytes) -> bytes:
    """Text without NULs: single ones go, a block of them goes with the line on which the writing broke off."""
    text = text.lstrip(b"\0")
    if text.count(b"\0\0\0\0") == 0:
        return text.replace(b"\0", b"")
    return re.sub(rb"[^\n]*\x00{4,}[^\n]*\n?", b"", text).replace(b"\0", b"")


def _respelt(text: bytes) -> bytes:
    """Letters that were taken for UTF-8 once too often, and those that a web page names."""

    def once(found: re.Match[str]) -> str:
        try:
            return found[0].encode("cp1252").decode("utf-8")
        except UnicodeError:
            return found[0]

    spelt = re.sub(r"[\u00c2\u00c3].", once, text.decode("utf-8", errors="replace"))
    for name, letter in (("&deg;", "°"), ("&sup3;", "³"), ("&sup2;", "²")):
        spelt = spelt.replace(name, letter)
    return spelt.encode("utf-8")


def plain_quotes(data: bytes) -> bytes:
    """Take off quotation marks that wrap whole lines, and write double ones for single.

    Parameters
    ----------
    data : bytes
        UTF-8.
    """
    head = data[:_HEAD_BYTES]
    if b'="' in head and _FORMULA.search(head):
        data = _FORMULA.sub(rb'\1"\2\3"', data)
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
