"""Everything the rooms upstream said of one dryer, laid side by side for the detectors of faults."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from diagnostics.air.record import Purity
from diagnostics.bed.record import Breakthrough
from diagnostics.cycle.record import Cycle
from diagnostics.energy.record import Purge, Switching
from diagnostics.health.record import Finding, Severity, Trend
from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.moment import say_time
from diagnostics.plant import Plant


@dataclass(frozen=True)
class Case:
    """One log with what purity, trend, margin and energy made of it."""

    screened: ScreenedLog
    cycle: Cycle
    purity: Purity
    trend: Trend
    breakthrough: Breakthrough
    purge: Purge
    switching: Switching
    plant: Plant

    @property
    def zone(self) -> str | None:
        """Zone of the log's clock."""
        return self.screened.log.timezone

    @property
    def start_s(self) -> float:
        """First stamp [epoch s]."""
        return float(self.screened.log.time_s[0])

    @property
    def end_s(self) -> float:
        """Last stamp [epoch s]."""
        return float(self.screened.log.time_s[-1])

    @property
    def limit_c(self) -> float:
        """Pressure dew point that the process needs [degC]."""
        return self.plant.dryer.dew_point_limit_c

    @property
    def for_people(self) -> bool:
        """Whether people breathe the air."""
        return self.plant.site.air_use in ("medical", "breathing")

    @property
    def switched_on_dew_point(self) -> bool:
        """Whether the log shows working dew-point control."""
        return self.cycle.control == "dew_point"

    def say(self, time_s: float) -> str:
        """Local time for a sentence."""
        return say_time(time_s, self.zone)

    @cached_property
    def rows(self) -> pd.DataFrame:
        """Complete half-cycles that hold used readings, with ``length_s`` and the mean load over each [g/min]."""
        rows = self.cycle.complete
        rows = rows[rows["peak_dew_point_c"].notna()].reset_index(drop=True)
        rows = rows.assign(length_s=rows["end_s"] - rows["start_s"])
        load = self.screened.conditions.moisture_load_g_min
        rows["load_g_min"] = np.nan if load is None else self.mean_between(load, rows)
        return rows

    def rows_to_the_end(self) -> pd.DataFrame:
        """Rows, and where a timer's half-cycles were told apart only up to some time, its beat carried on to the end.

        A failing tower changes the shape of half-cycles so much that they may no longer be recognised; the timer runs
        on. Readings at the end of the range count here, as the bounds they are.
        """
        rows, values, time_s = self.rows, self.screened.dew_point_c, self.screened.log.time_s
        if self.cycle.control != "fixed" or len(rows) < 4:
            return rows
        length_s, end_s = float(rows["length_s"].median()), float(rows["end_s"].iloc[-1])
        more = []
        tower = rows["tower"].iloc[-1]
        for k in range(int((self.end_s - end_s) / length_s)):
            first, last = np.searchsorted(time_s, (end_s + k * length_s, end_s + (k + 1) * length_s))
            seen = values[first:last][np.isfinite(values[first:last])]
            tower = "A" if tower == "B" else "B"
            if seen.size < 4:
                continue
            level = {"peak": seen.max(), "floor": seen.min(), "mean": np.mean(seen), "end": seen[-1], "spike": np.nan}
            more.append(
                {"start_s": end_s + k * length_s, "end_s": end_s + (k + 1) * length_s, "tower": tower, "complete": True}
                | {f"{name}_dew_point_c": float(value) for name, value in level.items()}
                | {"length_s": length_s, "load_g_min": np.nan}
            )
        return (
            rows
            if len(more) < 2
            else pd.concat([rows, pd.DataFrame(more).reindex(columns=rows.columns)], ignore_index=True)
        )

    def mean_between(self, values: Floats, rows: pd.DataFrame) -> Floats:
        """Mean of a channel over each half-cycle; shape (len(rows),), NaN where no reading lies inside."""
        time_s = self.screened.log.time_s
        first = np.searchsorted(time_s, rows["start_s"].to_numpy(float))
        last = np.searchsorted(time_s, rows["end_s"].to_numpy(float))
        known = np.isfinite(values)
        total = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
        count = np.concatenate([[0], np.cumsum(known)])
        number = count[last] - count[first]
        mean = (total[last] - total[first]) / np.maximum(number, 1)
        return np.where(number > 0, mean, np.nan)

    def finding(
        self,
        code: str,
        severity: Severity,
        confidence: float,
        *,
        statement: str,
        action: str,
        evidence: Iterable[str] = (),
        other_causes: Iterable[str] = (),
        caution: str = "",
        start_s: float | None = None,
        end_s: float | None = None,
        tower: str | None = None,
    ) -> Finding:
        """Finding whose span is the whole log unless said otherwise."""
        return Finding(
            code=code,
            severity=severity,
            confidence=round(float(min(max(confidence, 0.01), 0.99)), 3),
            start_s=self.start_s if start_s is None else float(start_s),
            end_s=self.end_s if end_s is None else float(end_s),
            tower=tower,
            statement=statement,
            evidence=tuple(evidence),
            other_causes=tuple(other_causes),
            action=action,
            caution=caution,
        )
