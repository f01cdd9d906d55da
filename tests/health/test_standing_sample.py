"""A sample that stands still between changeovers hours apart, and what only looks like it."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.health.case import Case
from diagnostics.health.signs import signs_of
from diagnostics.health.standing_sample import find_standing_sample
from tests.health.cases import case_of, screened_log

HALF_S, INTERVAL_S = 14400.0, 120.0


def _reading(rng: np.random.Generator, days: float = 4.0) -> tuple[np.ndarray, np.ndarray]:
    """Hours since the start, and a heated dryer's dew point: a spike after each changeover, then flat, and noise."""
    hours = np.arange(0.0, days * 24.0, INTERVAL_S / 3600.0)
    since_s = np.mod(hours * 3600.0, HALF_S)
    return hours, -65.0 + 6.0 * np.exp(-since_s / 900.0) + 0.03 * rng.standard_normal(hours.size)


def _case(dew_point_c: np.ndarray) -> Case:
    screened = screened_log(np.round(dew_point_c, 2), interval_s=INTERVAL_S)
    return case_of(None, screened, {"dryer": {"regeneration": "heated_purge", "half_cycle_s": HALF_S}})


def test_a_stretch_without_changeovers_is_a_standing_sample() -> None:
    hours, shown = _reading(np.random.default_rng(1))
    inside = (hours > 40.0) & (hours < 60.0)
    shown[inside] = -64.0 + 6.0 * (1.0 - np.exp(-(hours[inside] - 40.0) / 3.0)) + np.sin(hours[inside] / 4.0)
    case = _case(shown)
    found = find_standing_sample(case)
    assert found is not None
    # The last changeover before it may lie a half-cycle back.
    assert -4.2 <= (found.start_s - case.start_s) / 3600.0 - 40.0 <= 0.5
    assert abs((found.end_s - case.start_s) / 3600.0 - 60.0) <= 1.0
    assert [s.code for s in signs_of(case) if s.code in ("sample_stagnant", "sensor_frozen")] == ["sample_stagnant"]


@pytest.mark.parametrize("kind", ["sound", "frozen", "stays wet", "every night", "breaks through by day"])
def test_what_only_looks_like_it_is_none(kind: str) -> None:
    hours, shown = _reading(np.random.default_rng(2))
    inside = (hours > 40.0) & (hours < 60.0)
    if kind == "frozen":
        shown[inside] = -64.0
    if kind == "stays wet":
        # A stopped switching: no changeover any more, and the air does not come back.
        later = hours > 40.0
        shown[later] = -64.0 + 0.4 * (hours[later] - 40.0)
    if kind == "every night":
        for night in (20.0, 44.0, 68.0):
            rests = (hours > night) & (hours < night + 13.0)
            shown[rests] = -64.0 + 0.3 * (hours[rests] - night)
    if kind == "breaks through by day":
        # One night of lighter load: its changeovers show less, and they do show.
        rise = np.where((hours > 36.0) & (hours < 56.0), 0.0, 100.0)
        shown += rise * np.clip(np.mod(hours * 3600.0, HALF_S) / HALF_S - 0.6, 0.0, 1.0) + np.sin(hours / 4.0)
    assert find_standing_sample(_case(shown)) is None
