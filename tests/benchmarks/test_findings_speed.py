"""How long the findings take on two days at ten seconds and on a million readings."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.health.findings import find
from tests.health.cases import case_of, drawn_from, half_cycles


@pytest.mark.parametrize("readings", [20_000, 1_000_000])
def test_findings(benchmark, readings: int) -> None:
    rng = np.random.default_rng(0)
    half = readings // 60
    rows = half_cycles(-60 + rng.normal(0, 0.2, half), -60 + rng.normal(0, 0.2, half))
    c = case_of(rows, drawn_from(rows, interval_s=10.0, flow=8.0, inlet_temperature=30.0, moisture_load_g_min=50.0))
    parts = (c.screened, c.cycle, c.purity, c.trend, c.breakthrough, c.purge, c.switching, c.plant)
    assert benchmark.pedantic(find, args=parts, rounds=3, warmup_rounds=1) == ()
