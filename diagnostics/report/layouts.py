"""Page layouts: the HTML files beside this module, ready to be filled."""

from __future__ import annotations

import re
from functools import cache
from importlib import resources
from typing import Any


@cache
def template_of(name: str) -> Any:
    """One of the page layouts that stand beside this module, ready to be filled."""
    from jinja2 import Environment, StrictUndefined

    source = resources.files("diagnostics.report").joinpath(name).read_text(encoding="utf-8")
    surroundings = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    surroundings.filters["breakable"] = _breakable
    return surroundings.from_string(source)


def _breakable(cell: str) -> Any:
    """Text whose keys may be broken at dots and underscores, in a narrow column."""
    from markupsafe import Markup, escape

    parts = (escape(part) for part in re.split(r"(?<=[._])(?=[^\W\d_])", cell))
    return Markup("<wbr>").join(parts)
