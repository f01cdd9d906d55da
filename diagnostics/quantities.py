"""What a column of a log can hold, as the command line and the plant file name it."""

from __future__ import annotations

from typing import Literal, get_args

Quantity = Literal[
    "time",
    "date",
    "dew_point",
    "temperature",
    "pressure",
    "flow",
    "inlet_temperature",
    "ambient_temperature",
    "tower",
    "purge_flow",
    "power",
]
COLUMN_QUANTITIES: tuple[str, ...] = get_args(Quantity)
