"""How long the energy side takes: a what-if while a slider moves, two days, a year of minutes."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.energy.levers import weigh_levers
from diagnostics.what_if import energy_case, what_if
from tests.energy import made
from tests.energy.case import diagnosis


def case_of(rows: int):
    plant = made.plant(made.HEATLESS)
    flow = 7 + 2 * np.sin(np.arange(rows) / 1440 * 2 * np.pi)
    log = made.screened(plant, hours=rows / 60, flow=flow)
    return diagnosis(plant, log, made.cycle(log, 300.0))


@pytest.mark.parametrize("rows", [2_880, 20_000])
def test_what_if(benchmark, rows: int) -> None:
    case = case_of(rows)
    result = benchmark(what_if, case, {"dryer.longest_half_cycle_s": 600.0, "economics.retrofit_cost": 4000.0})
    assert result.after.switching.figures.half_cycle_s.value <= 600.0 + 1e-6


@pytest.mark.parametrize("rows", [2_880, 20_000, 1_000_000])
def test_purge_to_payback(benchmark, rows: int) -> None:
    case = case_of(rows)
    result = benchmark(energy_case, case.screened, case.cycle, case.breakthrough, case.plant)
    assert result.payback.npv is not None


def test_levers(benchmark) -> None:
    case = case_of(20_000)
    assert benchmark(weigh_levers, case).levers
