"""Writing results: a file is there whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from diagnostics.errors import InputError


def write_whole(path: str | Path, content: str | bytes) -> Path:
    """Write a file by way of a temporary neighbour, so that nobody ever reads half of it.

    Parameters
    ----------
    path : str or Path
    content : str or bytes
        Text is written as UTF-8 with line feeds.

    Raises
    ------
    InputError
        If the folder is missing or cannot be written.
    """
    target = Path(path)
    folder = target.parent
    if not folder.is_dir():
        raise InputError(f"{target} cannot be written: there is no folder {folder}; make it first.")
    if target.is_dir():
        raise InputError(f"{target} cannot be written: it is a folder; name a file in it.")
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        handle, name = tempfile.mkstemp(dir=folder, prefix=f".{target.name}.")
    except OSError as error:
        raise InputError(
            f"{target} cannot be written ({error.strerror}); check the folder's permissions and free space."
        ) from None
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(name, 0o666 & ~mask)
        os.replace(name, target)
    except OSError as error:
        Path(name).unlink(missing_ok=True)
        raise InputError(
            f"{target} cannot be written ({error.strerror}); check the folder's permissions and free space."
        ) from None
    return target


def check_writable(path: str | Path) -> None:
    """Refuse a target before long work rather than after it.

    Raises
    ------
    InputError
        If the folder is missing or cannot be written.
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise InputError(f"{target} cannot be written: there is no folder {target.parent}; make it first.")
    if target.is_dir():
        raise InputError(f"{target} cannot be written: it is a folder; name a file in it.")
    if not os.access(target.parent, os.W_OK):
        raise InputError(f"{target} cannot be written: no permission in {target.parent}; choose another folder.")
