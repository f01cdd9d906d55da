"""Many instants at once against one by one, with the standard library's zones in between."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from diagnostics.moment import iso_time, iso_times

ZONES = (
    None,
    "Europe/Lisbon",
    "Asia/Kolkata",
    "+05:30",
    "America/New_York",
    "Australia/Lord_Howe",
    "Africa/Casablanca",
)
SPANS = {
    "two days": (1_772_433_000.0, 2e5),
    "end of summer time": (1_792_890_000.0, 4e5),
    "years": (0.0, 1e8),
    "before 1970": (-1e8, 2e6),
}


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("span", SPANS)
def test_many_are_as_one(span: str, zone: str | None) -> None:
    start_s, length_s = SPANS[span]
    times_s = start_s + np.sort(np.round(np.random.default_rng(3).random(200) * length_s, 3))
    times_s[::5] = np.floor(times_s[::5])
    told = iso_times(np.sort(times_s), zone)
    assert told == [iso_time(float(time_s), zone) for time_s in np.sort(times_s)]
    if zone is not None:
        back = [dt.datetime.fromisoformat(stamp).timestamp() for stamp in told]
        assert back == pytest.approx(np.sort(times_s).tolist(), abs=6e-4)


def test_none_at_all() -> None:
    assert iso_times(np.empty(0), "Europe/Lisbon") == []
