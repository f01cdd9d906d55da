"""Stretches set aside and taken back by hand."""

from __future__ import annotations

import io

import numpy as np
import pytest

from diagnostics.errors import InputError
from diagnostics.log.corrections import REASONS, Correction, correct
from diagnostics.log.reading import read_log
from diagnostics.log.record import Exclusion, ScreenedLog, Upload
from diagnostics.log.screening import screen
from diagnostics.plant import plant_from
from diagnostics.report.schema import json_schema
from tests.logs import saw_tooth


@pytest.fixture(scope="module")
def screened() -> ScreenedLog:
    plant = plant_from({})
    content = io.BytesIO()
    saw_tooth(days=0.5).to_csv(content, index=False)
    return screen(read_log(Upload("a.csv", content.getvalue()), plant), plant)


def test_a_stretch_set_aside_is_used_no_more(screened: ScreenedLog) -> None:
    start = screened.log.time_s[100]
    after = correct(screened, [Correction(start, start + 600.0, "removal")])
    assert not after.used[100:121].any()
    assert after.used[121]
    assert after.used[99]
    assert Exclusion(start, start + 600.0, "removal") in after.exclusions
    assert "set aside by hand: removal" in after.notes[-1]
    assert screened.used[110], "the screened log given stays as it was"


def test_a_stretch_taken_back_is_used_again_and_splits_what_was_set_aside(screened: ScreenedLog) -> None:
    t = screened.log.time_s
    aside = correct(screened, [Correction(t[100], t[200], "frozen")])
    after = correct(aside, [Correction(t[140], t[160], None)])
    assert after.used[140:161].all()
    assert not after.used[100:140].any()
    assert [(e.start_s, e.end_s) for e in after.exclusions if e.reason == "frozen"] == [
        (t[100], t[140]),
        (t[160], t[200]),
    ]


def test_a_missing_reading_is_not_taken_back(screened: ScreenedLog) -> None:
    from dataclasses import replace

    dew_point = screened.dew_point_c.copy()
    dew_point[150] = np.nan
    hole = replace(screened, dew_point_c=dew_point, used=screened.used & np.isfinite(dew_point))
    t = screened.log.time_s
    after = correct(hole, [Correction(t[140], t[160], None)])
    assert not after.used[150]


@pytest.mark.parametrize(
    ("correction", "words"),
    [
        (lambda t: Correction(t[9], t[3], "removal"), "ends before it starts"),
        (lambda t: Correction(t[-1] + 10, t[-1] + 20, "removal"), "outside the log"),
        (lambda t: Correction(t[3], t[9], "boredom"), "choose one of"),
    ],
)
def test_senseless_corrections_are_refused(screened: ScreenedLog, correction, words: str) -> None:
    with pytest.raises(InputError, match=words):
        correct(screened, [correction(screened.log.time_s)])


def test_every_reason_is_one_the_document_knows() -> None:
    assert all(f"'{reason}'" in repr(json_schema()) for reason in REASONS)
