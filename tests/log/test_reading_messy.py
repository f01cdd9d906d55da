"""Real files that nobody here wrote read to their published truth, or are refused with what would mend them.

The truths are those of the table that comes with the files: rows, spans and first readings as published by their
authors (origin and licence stand there).
"""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.errors import InputError
from diagnostics.log.reading import read_log
from diagnostics.moment import iso_time
from diagnostics.plant import plant_from
from tests.shared_data import shared

NO_PLANT = plant_from({})


def test_semicolons_decimal_comma_and_minus_200() -> None:
    log = read_log(shared("data", "messy", "01_gas_multisensor_semicolon_deccomma.csv"), NO_PLANT)
    assert log.samples == 9357
    assert iso_time(log.time_s[0], None) == "2004-03-10T18:00:00"
    assert iso_time(log.time_s[-1], None) == "2005-04-04T14:00:00"
    assert set(np.diff(log.time_s)) == {3600.0}
    assert np.isnan(log.channels["temperature"]).sum() == 366
    assert log.channels["temperature"][0] == 13.6
    assert log.clock_jumps == ()
    assert log.columns["dew_point"].header == "RH"
    assert any("'AH'" in note and "kPa" in note for note in log.notes)
    # Magnus over water (WMO No. 8): 13.6 degC at 48.9 % has its dew point at 3.1 degC.
    assert log.channels["dew_point"][0] == pytest.approx(3.1, abs=0.15)


def test_three_title_rows_newest_first() -> None:
    log = read_log(shared("data", "messy", "02_synop_german_3header_units_dashes.csv"), NO_PLANT)
    assert log.samples == 25
    assert iso_time(log.time_s[-1], log.timezone) == "2020-04-06T08:00:00+00:00"
    assert log.interval_s == 3600.0
    assert log.channels["dew_point"][-1] == -10.0
    assert log.channels["temperature"][-1] == -3.1
    assert log.channels["pressure"][-1] == pytest.approx(1.0231 - 1.01325)
    assert log.other["Relative Feuchte"][-1] == 59.0
    assert any("newest" in note for note in log.notes)


def test_a_river_has_no_dew_point() -> None:
    path = shared("data", "messy", "03_river_rdb_hash_preamble_typerow.txt")
    with pytest.raises(InputError, match=r"no dew point.*01_00060_00003.*--column dew_point"):
        read_log(path, NO_PLANT)
    log = read_log(path, NO_PLANT, moisture_required=False)
    assert iso_time(log.time_s[0], None) == "2012-09-01T00:00:00"
    assert log.other["01_00060_00003"][0] == 191.0
    assert log.interval_s == 86400.0


def test_year_day_of_year_and_hhmm() -> None:
    log = read_log(shared("data", "messy", "07_station_raw_no_iso_time.txt"), NO_PLANT)
    assert log.samples == 1440
    assert log.interval_s == 60.0
    assert iso_time(log.time_s[0], log.timezone) == "2018-10-18T00:00:00-07:00"
    assert iso_time(log.time_s[-1], log.timezone) == "2018-10-18T23:59:00-07:00"
    assert log.channels["temperature"][0] == 16.1
    assert np.nanmin(log.other["Temp CHP1 [deg C]"]) > -7999.0


def test_stamps_with_offset_beside_calendar_columns() -> None:
    log = read_log(shared("data", "messy", "11_two_line_meta_header.csv"), NO_PLANT)
    assert log.samples == 288
    assert log.interval_s == 300.0
    assert log.timezone == "-07:00"
    assert iso_time(log.time_s[0], log.timezone) == "2019-01-01T00:00:00-07:00"
    assert log.channels["dew_point"][0] == -23.4
    assert log.channels["temperature"][0] == -19.6


def test_no_titles_at_all() -> None:
    path = shared("data", "messy", "14_met_split_datetime_missing99.txt")
    with pytest.raises(InputError, match=r"no dew point.*--column dew_point"):
        read_log(path, NO_PLANT)
    log = read_log(path, NO_PLANT, columns={"dew_point": "column 10", "pressure": "#9"}, moisture_required=False)
    assert log.samples == 20
    assert log.interval_s == 3600.0
    assert iso_time(log.time_s[0], None) == "2020-01-01T00:00:00"
    assert log.channels["dew_point"][0] == -25.5
    assert "column 12" not in log.other  # nothing but -999.9


def test_stuck_values_pass_for_their_rhythm_alone() -> None:
    path = shared("data", "messy", "17_stuck_values.csv")
    with pytest.raises(InputError, match=r"no dew point.*value_normalized"):
        read_log(path, NO_PLANT)
    log = read_log(path, NO_PLANT, moisture_required=False)
    assert log.samples == 3000
    assert log.other["stale_data_mask"].sum() == 245


def test_both_clock_changes_in_utc_column() -> None:
    log = read_log(shared("data", "messy", "23_airport_local_hour_dst_both_ways.csv"), NO_PLANT)
    assert log.samples == 138
    assert log.columns["dew_point"].unit == "degF"
    assert log.channels["dew_point"][0] == pytest.approx((28.04 - 32) / 1.8)
    _assert_only_true_holes(log.time_s)
    assert log.clock_jumps == ()


def test_both_clock_changes_from_local_calendar_columns(tmp_path) -> None:  # type: ignore[no-untyped-def]
    source = shared("data", "messy", "23_airport_local_hour_dst_both_ways.csv").read_text().splitlines()
    path = tmp_path / "local.csv"
    path.write_text("\n".join(line.rsplit(",", 1)[0] for line in source))
    plant = plant_from({"site": {"timezone": "America/New_York"}})
    log = read_log(path, plant)
    assert log.samples == 138
    _assert_only_true_holes(log.time_s)
    assert [jump.explained for jump in log.clock_jumps] == [True]
    utc = read_log(shared("data", "messy", "23_airport_local_hour_dst_both_ways.csv"), NO_PLANT)
    np.testing.assert_array_equal(log.time_s, utc.time_s)


def _assert_only_true_holes(time_s: np.ndarray) -> None:
    steps = np.diff(time_s)
    wide = [(iso_time(time_s[i], "America/New_York")[:16], steps[i] / 3600.0) for i in np.flatnonzero(steps > 3600.0)]
    within = [(start, hours) for start, hours in wide if hours < 48]
    assert within == [("2013-11-02T19:00", 6.0), ("2013-11-04T09:00", 2.0)]


@pytest.mark.parametrize(("name", "rows"), [("metropt3_first1000.csv", 1000), ("metropt2022_1hz_1000.csv", 1000)])
def test_an_air_supply_without_dew_point(name: str, rows: int) -> None:
    path = shared("data", "air_supply", name)
    with pytest.raises(InputError, match="no dew point"):
        read_log(path, NO_PLANT)
    log = read_log(path, NO_PLANT, moisture_required=False)
    assert log.samples == rows
    assert {"DV_pressure", "TP2", "COMP"} <= set(log.other)
    assert set(np.unique(log.channels["tower"])) <= {0.0, 1.0}
