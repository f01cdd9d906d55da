"""The report's texts: one file a language, read from the package."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any

LANGUAGE = "en"


@cache
def texts(language: str = LANGUAGE) -> dict[str, Any]:
    """All texts of a language.

    Parameters
    ----------
    language : str
        ISO 639-1 code that ends the file's name.

    Returns
    -------
    dict
        Tables as in ``texts_<language>.toml``.
    """
    file = resources.files("diagnostics.report").joinpath(f"texts_{language}.toml")
    return tomllib.loads(file.read_text(encoding="utf-8"))


def words(table: str) -> dict[str, str]:
    """One table of the texts."""
    found: dict[str, str] = texts()[table]
    return found
