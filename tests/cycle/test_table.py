"""Half-cycles by hand: peak, floor, spike, end and mean of short series a reader can check by eye."""

import numpy as np
import pytest

from diagnostics.cycle.table import half_cycle_table
from diagnostics.cycle.timer import Stretch
from tests.cycle.invented import moisture_of, screened_log


def _table(dew, switchovers, interval_s=60.0, towers=None):
    dew = np.asarray(dew, dtype=float)
    time_s = interval_s * np.arange(dew.size)
    names = towers or tuple("BA"[i % 2] for i in range(len(switchovers)))
    stretch = Stretch(0.0, float(time_s[-1]), np.asarray(switchovers, dtype=float), names)
    return half_cycle_table(screened_log(time_s, dew, interval_s), [stretch])


HEATED = [-60.0, -50.0, -54.0, -58.0, -60.0, -60.2, -60.2, -60.1, -60.0, -59.8]


def test_the_spike_stands_apart_from_the_peak():
    table = _table(HEATED * 3, [600.0, 1200.0])
    middle = table.iloc[1]
    assert middle["complete"]
    assert middle["spike_dew_point_c"] == -50.0
    assert middle["peak_dew_point_c"] == pytest.approx(-58.0, abs=2.0)
    assert middle["peak_dew_point_c"] < -55.0
    assert middle["floor_dew_point_c"] == -60.2
    assert middle["end_dew_point_c"] == -59.8


def test_a_rise_that_turns_just_after_the_switchover_belongs_to_the_half_cycle_before():
    rise = [-50.0, -49.6, -50.4, -51.6, -52.0, -51.8, -51.4, -51.0, -50.6, -50.3]
    table = _table(rise * 3, [600.0, 1200.0])
    assert table.iloc[1]["peak_dew_point_c"] == -49.6
    assert table.iloc[1]["end_dew_point_c"] == -50.3


def test_the_mean_is_taken_in_moisture():
    dew = [-60.0] * 5 + [-40.0] * 5
    table = _table(dew * 3, [600.0, 1200.0])
    wet = 0.5 * (moisture_of(-60.0) + moisture_of(-40.0))
    grid = np.linspace(-60.0, -40.0, 4001)
    expected = np.interp(wet, moisture_of(grid), grid)
    # linear interpolation between the two levels that occur, in moisture
    assert table.iloc[1]["mean_dew_point_c"] == pytest.approx(expected, abs=6.0)
    assert table.iloc[1]["mean_dew_point_c"] > -52.0


def test_a_half_cycle_with_a_fifth_missing_is_not_complete():
    dew = np.array(HEATED * 4)
    dew[12:15] = np.nan
    table = _table(dew, [600.0, 1200.0, 1800.0])
    assert table["complete"].tolist() == [False, False, True, False]


def test_a_half_cycle_without_a_reading_has_no_row():
    dew = np.array(HEATED * 4)
    dew[10:20] = np.nan
    table = _table(dew, [600.0, 1200.0, 1800.0])
    assert len(table) == 3
    assert 600.0 not in table["start_s"].tolist()


def test_rows_stand_in_order_and_touch():
    table = _table(HEATED * 4, [600.0, 1200.0, 1800.0])
    assert table["start_s"].tolist() == [0.0, 600.0, 1200.0, 1800.0]
    assert table["tower"].tolist() == ["A", "B", "A", "B"]
