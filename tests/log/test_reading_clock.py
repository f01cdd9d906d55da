"""Instants: ambiguous dates, clock changes, disorder, repeats, restarts, answers of the user."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from diagnostics.log.zone import changes_between
from diagnostics.plant import plant_from
from tests.log.reencoded import Clean, clean_log, plant_of, read_bytes, refusal, text

SLASHED = "%{}/%{}/%Y %H:%M:%S"


def _slashed(clean: Clean, day_first: bool = True) -> bytes:
    pattern = SLASHED.format(*("dm" if day_first else "md"))
    return text(clean, stamp=lambda t: [f"{t:{pattern}}"])


def test_one_ambiguous_day_is_refused_with_the_answer_to_give(tmp_path: Path) -> None:
    one_day = clean_log(100, start="2026-04-03T06:00:00+00:00", step_s=60)
    sentence = refusal(tmp_path, "log.csv", _slashed(one_day), plant_of(one_day))
    assert "[log] day_first = true or false" in sentence
    assert "time_format" in sentence
    for answer in ({"day_first": True}, {"time_format": "%d/%m/%Y %H:%M:%S"}):
        log = read_bytes(tmp_path, "log.csv", _slashed(one_day), plant_of(one_day, **answer))
        np.testing.assert_array_equal(log.time_s, one_day.time_s)


@pytest.mark.parametrize("day_first", [True, False])
def test_the_run_of_days_tells_day_from_month(day_first: bool, tmp_path: Path) -> None:
    three_days = clean_log(800, start="2026-05-04T06:00:00+00:00", step_s=300)
    log = read_bytes(tmp_path, "log.csv", _slashed(three_days, day_first), plant_of(three_days))
    np.testing.assert_array_equal(log.time_s, three_days.time_s)


def test_a_date_no_calendar_holds_drops_its_row_and_no_other(tmp_path: Path) -> None:
    clean = clean_log(60, start="2026-02-27T06:00:00+00:00", step_s=3600)
    stamped = text(clean, stamp=lambda t: [f"{t:%d.%m.%Y %H:%M:%S}"]).decode()
    bad = stamped.replace("28.02.2026 10:", "31.02.2026 10:")
    log = read_bytes(tmp_path, "log.csv", bad.encode(), plant_of(clean))
    assert log.samples == 59
    assert log.rows_dropped == 1
    assert any("no calendar" in note for note in log.notes)
    assert set(np.setdiff1d(clean.time_s, log.time_s)) == {dt.datetime(2026, 2, 28, 9, tzinfo=dt.UTC).timestamp()}


@pytest.mark.parametrize("step_s", [10, 60, 600, 3600])
@pytest.mark.parametrize(
    ("timezone", "start"),
    [
        ("Europe/Berlin", "2025-10-25T20:00:00+00:00"),
        ("Europe/Lisbon", "2025-10-25T20:00:00+00:00"),
        ("America/Chicago", "2025-11-02T01:00:00+00:00"),
        ("Australia/Lord_Howe", "2026-04-04T08:00:00+00:00"),
        ("Europe/Berlin", "2026-03-28T20:00:00+00:00"),
        ("America/Chicago", "2026-03-08T01:00:00+00:00"),
    ],
)
def test_clock_changes_come_from_the_order_of_rows(timezone: str, start: str, step_s: int, tmp_path: Path) -> None:
    if timezone == "Australia/Lord_Howe" and step_s == 3600:
        start = "2026-04-04T08:20:00+00:00"  # its clock goes back by half an hour, which hourly rows need not show
    clean = clean_log(max(20, 12 * 3600 // step_s), start=start, step_s=step_s, timezone=timezone)
    log = read_bytes(tmp_path, "log.csv", text(clean), plant_of(clean))
    np.testing.assert_array_equal(log.time_s, clean.time_s)
    assert all(jump.explained for jump in log.clock_jumps)
    autumn = any(c.after_s < c.before_s for c in changes_between(timezone, clean.time_s[0], clean.time_s[-1]))
    if step_s <= 600:
        assert len(log.clock_jumps) == int(autumn)


def test_a_newest_first_log_through_the_doubled_hour(tmp_path: Path) -> None:
    clean = clean_log(700, start="2025-10-25T20:00:00+00:00", step_s=60)
    log = read_bytes(tmp_path, "log.csv", text(clean, newest_first=True), plant_of(clean))
    np.testing.assert_array_equal(log.time_s, clean.time_s)


@pytest.mark.parametrize("start", ["2025-10-25T20:00:00+00:00", "2026-03-28T20:00:00+00:00"])
def test_a_logger_whose_clock_is_never_changed(start: str, tmp_path: Path) -> None:
    clean = clean_log(700, start=start, step_s=60)
    first = clean.rows[0][0]
    steady = Clean(
        tuple((first + dt.timedelta(minutes=i), d, f) for i, (_, d, f) in enumerate(clean.rows)),
        clean.time_s,
        clean.timezone,
    )
    log = read_bytes(tmp_path, "log.csv", text(steady), plant_of(steady))
    np.testing.assert_array_equal(log.time_s, clean.time_s)
    assert log.clock_jumps == ()
    assert any("was not changed" in note for note in log.notes)


def test_a_doubled_hour_that_no_zone_explains(tmp_path: Path) -> None:
    clean = clean_log(700, start="2025-10-25T20:00:00+00:00", step_s=60)
    log = read_bytes(tmp_path, "log.csv", text(clean), plant_from({"site": {"timezone": "Asia/Kolkata"}}))
    assert [jump.explained for jump in log.clock_jumps] == [False]
    assert log.clock_jumps[0].step_s == -3540.0
    assert log.rows_repeated == 60
    assert (np.diff(log.time_s) > 0).all()


def test_a_log_written_twice(tmp_path: Path) -> None:
    clean = clean_log()
    body = text(clean)
    log = read_bytes(tmp_path, "log.csv", body + body, plant_of(clean))
    np.testing.assert_array_equal(log.time_s, clean.time_s)
    np.testing.assert_array_equal(log.channels["dew_point"], clean.dew_point_c)
    assert log.rows_repeated == len(clean.rows)
    assert not any(jump.explained for jump in log.clock_jumps)


def test_every_row_written_twice(tmp_path: Path) -> None:
    clean = clean_log(step_s=60)
    lines = text(clean).decode().splitlines()
    doubled = [lines[0]] + [line for line in lines[1:] for _ in range(2)]
    log = read_bytes(tmp_path, "log.csv", "\n".join(doubled).encode(), plant_of(clean))
    np.testing.assert_array_equal(log.time_s, clean.time_s)
    assert log.rows_repeated == len(clean.rows)


def test_shuffled_rows_are_sorted(tmp_path: Path) -> None:
    clean = clean_log()
    lines = text(clean).decode().splitlines()
    body = lines[1:]
    np.random.default_rng(5).shuffle(body)
    log = read_bytes(tmp_path, "log.csv", "\n".join([lines[0], *body]).encode(), plant_of(clean))
    np.testing.assert_array_equal(log.time_s, clean.time_s)
    np.testing.assert_array_equal(log.channels["dew_point"], clean.dew_point_c)
    assert log.clock_jumps
    assert any("out of order" in note for note in log.notes)


def test_two_rows_exchanged_lose_nothing(tmp_path: Path) -> None:
    clean = clean_log()
    lines = text(clean).decode().splitlines()
    lines[100], lines[101] = lines[101], lines[100]
    log = read_bytes(tmp_path, "log.csv", "\n".join(lines).encode(), plant_of(clean))
    np.testing.assert_array_equal(log.time_s, clean.time_s)


def test_a_clock_reset_to_the_year_2000_keeps_both_parts(tmp_path: Path) -> None:
    clean = clean_log(200)
    reset = clean_log(100, start="2000-01-01T00:00:00+00:00")
    data = text(clean) + b"\n".join(text(reset).splitlines()[1:])
    log = read_bytes(tmp_path, "log.csv", data, plant_of(clean))
    assert log.samples == 300
    assert [jump.explained for jump in log.clock_jumps] == [False]


def test_stamps_cut_to_the_minute_are_spread(tmp_path: Path) -> None:
    clean = clean_log(600, start="2026-01-13T07:40:00+00:00", step_s=10)
    log = read_bytes(tmp_path, "log.csv", text(clean, stamp=lambda t: [f"{t:%Y-%m-%d %H:%M}"]), plant_of(clean))
    np.testing.assert_allclose(log.time_s, clean.time_s, atol=0.01)
    assert log.interval_s == 10.0


def test_times_of_day_without_a_date_are_refused(tmp_path: Path) -> None:
    clean = clean_log(100)
    assert "Date: 2026-01-31" in refusal(tmp_path, "log.csv", text(clean, stamp=lambda t: [f"{t:%H:%M:%S}"]))


def test_elapsed_time_without_a_start_is_refused(tmp_path: Path) -> None:
    clean = clean_log(100)
    stamps = iter(range(0, 100_000, 60))
    data = text(clean, titles=("Elapsed [s]", "Dew point", "Flow"), stamp=lambda t: [str(next(stamps))])
    assert "Start: 2026-01-31" in refusal(tmp_path, "log.csv", data)


def test_stamps_under_a_utc_title(tmp_path: Path) -> None:
    utc = clean_log(timezone="UTC")
    data = text(utc, titles=("Time (UTC)", "Dew point", "Flow"))
    log = read_bytes(tmp_path, "log.csv", data, plant_from({"site": {"timezone": "Europe/Helsinki"}}))
    np.testing.assert_array_equal(log.time_s, utc.time_s)
    assert log.timezone == "Europe/Helsinki"


def test_a_wrong_format_says_so(tmp_path: Path) -> None:
    clean = clean_log(100)
    sentence = refusal(tmp_path, "log.csv", text(clean), plant_of(clean, time_format="%d.%m.%Y %H:%M"))
    assert "time_format" in sentence
    assert "2026-01-13 08:40:36" in sentence or "'Time'" in sentence


def test_the_block_reader_agrees_with_the_careful_one() -> None:
    import pyarrow as pa

    from diagnostics.log.fixed_width import read_fixed_width
    from diagnostics.log.stamps import read_stamps

    clean = clean_log(30_000, start="2026-02-20T06:00:00+00:00", step_s=37)
    words = [f"{row[0]:%d.%m.%Y %H:%M:%S}" for row in clean.rows]
    words[777] = "31.02.2026 10:00:00"
    by_block = read_stamps(pa.array(words), name="log.csv", title="Time")
    assert read_fixed_width(pa.array(words)) is not None
    loose = [*words, "1.3.2026 9:00"]
    assert read_fixed_width(pa.array(loose)) is None
    by_parts = read_stamps(pa.array(loose), name="log.csv", title="Time")
    np.testing.assert_array_equal(by_block.local_s, by_parts.local_s[:-1])
    assert by_block.impossible == by_parts.impossible == 1
