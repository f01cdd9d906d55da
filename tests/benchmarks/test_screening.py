"""What screening a long log costs; run with ``--benchmark-only``."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.log.screening import screen
from tests.log.screening_logs import dry_down, dryer_air, log_of, noisy, plant_of


@pytest.mark.parametrize("samples", [20_000, 1_000_000])
def test_screening(benchmark, samples: int) -> None:  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(1)
    air = dryer_air(rng, samples * 10.0 / 3600.0, 10.0, 300.0)
    trace, _ = dry_down(air, 5.0, 400.0, 2.0, 3000.0)
    log = log_of(trace.time_s, noisy(rng, trace), flow=np.full(trace.time_s.size, 8.0))
    screened = benchmark.pedantic(screen, (log, plant_of()), rounds=3)
    assert [e.reason for e in screened.exclusions] == ["settling"]
