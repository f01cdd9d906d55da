"""Numbers as people type them, in the format they chose."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.report.figures import Display
from ui.number_field import read_number, written
from ui.state import NUMBERS

POINT, COMMA = Display(), Display(decimal=",", group=".")


@pytest.mark.parametrize(
    ("text", "display", "value"),
    [
        ("12.5", POINT, 12.5),
        ("12,5", POINT, 12.5),
        ("1,234", POINT, 1234.0),
        ("1,234.5", POINT, 1234.5),
        ("1.234,5", POINT, 1234.5),
        ("12,5", COMMA, 12.5),
        ("12.5", COMMA, 12.5),
        ("1.234", COMMA, 1234.0),
        ("1,234", COMMA, 1.234),
        ("1.234.567", COMMA, 1234567.0),
        ("1 234,5", COMMA, 1234.5),
        ("−38,5", COMMA, -38.5),
        ("1e3", POINT, 1000.0),
        ("  ", POINT, None),
    ],
)
def test_either_mark_is_read(text: str, display: Display, value: float | None) -> None:
    assert read_number(text, display) == value


@pytest.mark.parametrize("text", ["twelve", "1.2.3,4,5x", "nan", "inf", "-"])
def test_what_is_no_number_is_refused_with_a_pattern(text: str) -> None:
    with pytest.raises(ValueError, match="is not a number; write it like 1234,5"):
        read_number(text, COMMA)


@given(
    st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: float(f"{x:.10g}")),
    st.sampled_from(list(NUMBERS.values())),
)
def test_what_is_written_is_read_back(value: float, marks: tuple[str, str]) -> None:
    display = Display(group=marks[0], decimal=marks[1])
    back = read_number(written(value, display), display)
    assert back == value
