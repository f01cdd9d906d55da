"""One tower's half-cycles in four numbers."""

from __future__ import annotations

import numpy as np

from diagnostics.cycle.record import Cycle


def tower_summary(cycle: Cycle, tower: str) -> dict[str, float | int | None]:
    """Medians over one tower's complete half-cycles, under the document's keys."""
    rows = cycle.half_cycles
    mine = rows["complete"].to_numpy(bool) & (rows["tower"].to_numpy() == tower)

    def middle(values: np.ndarray) -> float | None:
        kept = values[mine & np.isfinite(values)]
        return float(np.median(kept)) if kept.size else None

    return {
        "half_cycle_s": middle(rows["end_s"].to_numpy(float) - rows["start_s"].to_numpy(float)),
        "peak_dew_point_c": middle(rows["peak_dew_point_c"].to_numpy(float)),
        "floor_dew_point_c": middle(rows["floor_dew_point_c"].to_numpy(float)),
        "half_cycles": int(mine.sum()),
    }
