"""How long margin and trend take on logs of weeks; run with ``--benchmark-enable``."""

from __future__ import annotations

import pytest

from diagnostics.bed.breakthrough import margin_to_breakthrough
from diagnostics.health.trend import peak_trend
from tests.bed.front_logs import front_log
from tests.bed.plant_logs import plant_log
from tests.health.peak_logs import peak_log


@pytest.mark.benchmark(group="margin")
def test_heated_margin_of_a_month(benchmark):
    log = front_log(1, days=30.0, use=0.9)
    found = benchmark(margin_to_breakthrough, log.screened, log.cycle, log.plant)
    assert found.margin_s is not None


@pytest.mark.benchmark(group="margin")
def test_heatless_margin_of_two_days(benchmark):
    log = plant_log(1, kind="heatless", days=2.0)
    found = benchmark(margin_to_breakthrough, log.screened, log.cycle, log.plant)
    assert found.sustained_margin_s is not None


@pytest.mark.benchmark(group="trend")
@pytest.mark.parametrize("half_cycle_s", [300.0, 14400.0])
def test_trend_of_a_month(benchmark, half_cycle_s: float):
    log = peak_log(1, days=30.0, half_cycle_s=half_cycle_s)
    assert benchmark(peak_trend, *log).verdict == "steady"
