"""Pauses that end near a whole half-cycle: invented logs whose switchovers are known, no published source."""

import numpy as np
import pytest

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import Recipe, timer_log


def paused(seed, half_s, days, interval_s, pauses):
    length = days * 86400.0
    return timer_log(
        Recipe(
            half_cycle_s=half_s,
            days=days,
            interval_s=interval_s,
            seed=seed,
            unlike=0.6,
            tail_s=half_s / 2.0,
            spike_s=half_s / 8.0,
            lag_s=half_s / 12.0,
            pauses=tuple((at, halves * half_s / length) for at, halves in pauses),
        )
    )


@pytest.mark.parametrize("seed", [31, 32, 33])
@pytest.mark.parametrize("pauses", [((0.4, 4.07), (0.58, 5.02)), ((0.3, 3.16), (0.7, 6.28))])
def test_a_pause_that_moves_the_switchovers_by_little_lengthens_no_half_cycle(seed, pauses):
    made = paused(seed, 240.1, 1.0, 10.0, pauses)
    cycle = segment(made.screened, made.plant)
    starts = cycle.half_cycles["start_s"].to_numpy(dtype=float)
    found = starts[starts > made.screened.log.time_s[0]]
    assert cycle.half_cycle_s.value == pytest.approx(240.1, rel=2e-4)
    late = found - made.switchovers_s[np.abs(found[:, None] - made.switchovers_s).argmin(axis=1)]
    # the place of a switchover within the average cycle is common to all and judged elsewhere; a smeared step is not
    assert np.mean(np.abs(late - np.median(late)) <= 0.05 * 240.1) >= 0.97
    assert abs(found.size - made.switchovers_s.size) <= sum(halves for _, halves in pauses)
