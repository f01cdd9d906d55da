"""Dew-point-dependent switching in invented logs: no period, only a level."""

import numpy as np
import pytest

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import set_point_log
from tests.cycle.scoring import margin_of, score


def _found(made, cycle):
    found = cycle.half_cycles["start_s"].to_numpy()
    return found[found > made.screened.log.time_s[0]]


@pytest.mark.parametrize("seed", range(4))
def test_switchovers_and_set_point(seed):
    made = set_point_log(seed=seed)
    cycle = segment(made.screened, made.plant)
    assert cycle.control == "dew_point"
    margin = margin_of(made.screened.log.interval_s, np.median(np.diff(made.switchovers_s)))
    assert score(made.switchovers_s, _found(made, cycle), margin).f1 >= 0.97
    # the lag lowers the highest reading a little
    assert cycle.set_point_c.value == pytest.approx(-45.0, abs=0.35)
    low, high = cycle.half_cycle_spread_s
    assert high / low > 1.3


def test_long_half_cycles_at_a_reading_a_minute():
    made = set_point_log(
        seed=9, usual_s=40_000.0, interval_s=60.0, half_cycles=14, floor_c=-62.0, lag_s=120.0, set_point_c=-45.0
    )
    cycle = segment(made.screened, made.plant)
    assert cycle.control == "dew_point"
    margin = margin_of(60.0, np.median(np.diff(made.switchovers_s)))
    assert score(made.switchovers_s, _found(made, cycle), margin).f1 >= 0.97


def test_a_log_that_obeys_first_one_control_then_the_other_is_split():
    made = set_point_log(seed=5, fixed_first=150, fixed_s=300.0, half_cycles=150, usual_s=520.0)
    cycle = segment(made.screened, made.plant)
    kinds = {span.control for span in cycle.control_spans}
    assert {"fixed", "dew_point"} <= kinds
    change = made.switchovers_s[np.argmax(np.diff(made.switchovers_s) > 301.0)]
    turn = next(span.start_s for span in cycle.control_spans if span.control == "dew_point")
    assert turn == pytest.approx(change, abs=8 * 520.0)
    margin = margin_of(10.0, 300.0)
    assert score(made.switchovers_s, _found(made, cycle), margin).f1 >= 0.93
