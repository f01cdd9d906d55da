"""One tower's half-cycles in four numbers."""

from __future__ import annotations

import pandas as pd

from diagnostics.cycle.record import Cycle


def tower_summary(cycle: Cycle, tower: str) -> dict[str, float | int | None]:
    """Medians over one tower's complete half-cycles, under the document's keys."""
    rows = cycle.complete[cycle.complete["tower"] == tower]

    def median(values: pd.Series) -> float | None:
        kept = values.dropna()
        return None if kept.empty else float(kept.median())

    return {
        "half_cycle_s": median(rows["end_s"] - rows["start_s"]),
        "peak_dew_point_c": median(rows["peak_dew_point_c"]),
        "floor_dew_point_c": median(rows["floor_dew_point_c"]),
        "half_cycles": len(rows),
    }
