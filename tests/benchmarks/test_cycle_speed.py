"""Time to find the half-cycles: a two-day log, a million readings, and growth from there."""

import pytest

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import Recipe, timer_log


@pytest.mark.parametrize("days", [2.0, 23.2, 116.0], ids=["17k", "200k", "1M"])
def test_segment(benchmark, days):
    made = timer_log(Recipe(seed=1, days=days, half_cycle_s=240.3))
    cycle = benchmark.pedantic(segment, (made.screened, made.plant), rounds=2, iterations=1, warmup_rounds=1)
    assert cycle.control == "fixed"
