"""Half-cycles begin where the trace first answers, though the hottest air comes later."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.air.humidity import moisture_fraction
from diagnostics.bed.breakthrough import margin_to_breakthrough
from diagnostics.bed.changeover import from_first_answer
from diagnostics.cycle.record import Cycle
from diagnostics.log.record import ScreenedLog
from tests.bed.front_logs import PRESSURE_BAR, FrontLog, front_log
from tests.bed.plant_logs import plant_log

_LATE_S = 1200.0


def with_hot_air(log: FrontLog, stroke: bool = False) -> ScreenedLog:
    """A jump at each switchover and the bed's hot, wet air twenty minutes later; or a valve's stroke before it."""
    time_s, dew_c = log.screened.log.time_s, log.screened.dew_point_c.copy()
    for start in log.cycle.half_cycles["start_s"]:
        since = time_s - start
        if stroke:
            dew_c[(since > -900.0) & (since < -700.0)] += 3.0
            continue
        jump = np.where(since >= 0.0, 8.0 * np.exp(-np.clip(since, 0.0, None) / 500.0), 0.0)
        dew_c = dew_c + jump + 25.0 * np.exp(-0.5 * ((since - _LATE_S) / 200.0) ** 2)
    moisture = np.asarray(moisture_fraction(dew_c, PRESSURE_BAR))
    return replace(log.screened, dew_point_c=dew_c, moisture=moisture)


def moved(cycle: Cycle, by_s: float) -> Cycle:
    table = cycle.half_cycles.copy()
    table[["start_s", "end_s"]] += by_s
    table["complete"] &= table["end_s"] <= table["end_s"].max() - by_s
    return replace(cycle, half_cycles=table)


@pytest.mark.parametrize("use", [0.5, 0.9])
def test_half_cycles_counted_from_the_hot_air_are_moved_back(use: float) -> None:
    log = front_log(4100, use=use, reserve=1.2)
    screened = with_hot_air(log)
    told = from_first_answer(screened, moved(log.cycle, _LATE_S - 240.0))
    assert told.half_cycles["start_s"].to_numpy()[1:-1] == pytest.approx(
        log.cycle.half_cycles["start_s"].to_numpy()[1:-1], abs=120.0
    )


def test_hot_air_is_no_rise_towards_the_limit() -> None:
    log = front_log(4101, use=0.45, reserve=1.3)
    screened = with_hot_air(log)
    late = moved(log.cycle, _LATE_S - 240.0)
    found = margin_to_breakthrough(screened, late, log.plant)
    assert found.censored
    assert found.reached is False
    assert found.margin_s.low <= log.margin_s


def test_true_starts_and_a_valve_s_stroke_stay() -> None:
    log = front_log(4102, use=0.9)
    assert from_first_answer(log.screened, log.cycle) is log.cycle
    assert from_first_answer(with_hot_air(log, stroke=True), log.cycle) is log.cycle
    other = plant_log(4103, kind="heated", reserve=1.4, load=1.2)
    assert from_first_answer(other.screened, other.cycle) is other.cycle
