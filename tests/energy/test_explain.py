"""Every headline figure can be followed back, and its steps give the figure."""

from __future__ import annotations

import math

import pytest

from diagnostics.energy.explain import explain
from diagnostics.errors import UsageError
from tests.energy import made
from tests.energy.case import diagnosis

FIGURES = {
    "purge.average_m3_min": lambda d: d.purge.average_m3_min.value,
    "purge.share_of_rated": lambda d: d.purge.share_of_rated.value,
    "purge.share_of_inlet": lambda d: d.purge.share_of_inlet.value,
    "purge.energy_kwh_per_year": lambda d: d.purge.energy_kwh_per_year.total.value,
    "purge.cost_per_year": lambda d: d.purge.cost_per_year.value,
    "switching.half_cycle_s": lambda d: d.switching.figures.half_cycle_s.value,
    "switching.regenerations_saved_share": lambda d: d.switching.figures.regenerations_saved_share.value,
    "switching.purge_saved_m3_min": lambda d: d.switching.figures.purge_saved_m3_min.value,
    "switching.energy_saved_kwh_per_year": lambda d: d.switching.figures.energy_saved_kwh_per_year.value,
    "switching.cost_saved_per_year": lambda d: d.switching.figures.cost_saved_per_year.value,
    "switching.co2_saved_kg_per_year": lambda d: d.switching.figures.co2_saved_kg_per_year.value,
    "payback.simple_payback_years": lambda d: d.payback.simple_payback_years.value,
    "payback.discounted_payback_years": lambda d: d.payback.discounted_payback_years.value,
    "payback.npv": lambda d: d.payback.npv.value,
    "payback.irr": lambda d: d.payback.irr.value,
}


@pytest.fixture(scope="module")
def case():
    return diagnosis(made.plant(made.HEATLESS, economics__co2_kg_per_kwh=0.25))


@pytest.mark.parametrize("key", FIGURES)
def test_the_last_step_is_the_figure(case, key: str) -> None:
    steps = explain(case, key)
    step = next(s for s in reversed(steps) if s.key == key)
    assert step.value == pytest.approx(FIGURES[key](case))
    assert step.unit
    assert step.formula
    assert step.source
    assert step.inputs
    for _, value, origin in step.inputs:
        assert origin
        assert isinstance(value, str) or math.isfinite(value)


def test_grounds_come_first(case) -> None:
    keys = [step.key for step in explain(case, "switching.energy_saved_kwh_per_year")]
    assert keys.index("purge.average_m3_min") < keys.index("switching.purge_saved_m3_min") < len(keys) - 1
    assert keys[-1] == "switching.energy_saved_kwh_per_year"


def test_products_of_inputs_give_the_value(case) -> None:
    (step,) = [s for s in explain(case, "switching.purge_saved_m3_min") if s.key == "switching.purge_saved_m3_min"]
    purge, share = (value for _, value, _ in step.inputs)
    assert step.value == pytest.approx(purge * share)


def test_a_part_gives_all_its_steps(case) -> None:
    assert {step.key.partition(".")[0] for step in explain(case, "payback")} == {"payback"}


def test_an_unknown_key_is_helped(case) -> None:
    with pytest.raises(UsageError, match=r"did you mean purge\.average_m3_min"):
        explain(case, "purge.average_m3")
    with pytest.raises(UsageError, match="known:"):
        explain(case, "zzz")


def test_what_dew_point_control_already_saves_is_traced() -> None:
    plant = made.plant(made.HEATLESS)
    log = made.screened(plant)
    switched = diagnosis(plant, log, made.cycle(log, 900.0, control="dew_point"))
    (step,) = explain(switched, "switching.already_saved_share")
    assert step.value == pytest.approx(2 / 3)
