"""The usual interval between falls that come in two kinds."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.cycle.events import Falls
from diagnostics.cycle.regularity import common_length_s


@pytest.mark.parametrize(
    ("lengths_s", "common_s"), [([600.0] * 5, 600.0), ([600.0, 1200.0], 600.0), ([600.0, 1200.0] * 3, 600.0)]
)
def test_a_length_is_told_even_where_the_median_lies_between_two_kinds(lengths_s: list[float], common_s: float) -> None:
    at_s = np.concatenate([[0.0], np.cumsum(lengths_s)])
    falls = Falls(at_s, np.full(at_s.size, -60.0), np.full(at_s.size, 2.0), 1e-9)
    assert common_length_s(falls) == pytest.approx(common_s)
