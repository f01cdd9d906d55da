"""Whether it pays: sums by hand, limits, open ends."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.energy.investment import (
    annuity_factor,
    cash_flows,
    discounted_payback_years,
    internal_rate,
    net_present_value,
)
from diagnostics.energy.payback import OPEN_END_YEARS, reckon_payback, yearly_saving
from diagnostics.energy.record import Switching, SwitchingFigures
from diagnostics.estimate import Estimate
from tests.energy import made


def saving(cost: Estimate | None, *, peak: Estimate | None = None, limited_by: str = "dew_point") -> Switching:
    energy = None if cost is None else cost.scaled(1 / 0.15)
    figures = SwitchingFigures(None, None, None, energy, cost, None)
    return Switching(figures, figures, limited_by, power_saved_at_peak_kw=peak)


def payback(cost: Estimate | None, *, peak: Estimate | None = None, limited_by: str = "dew_point", **economics):
    changes = {f"economics__{key}": value for key, value in economics.items()}
    return reckon_payback(saving(cost, peak=peak, limited_by=limited_by), made.plant(made.HEATLESS, **changes))


def test_worked_case() -> None:
    # 6000 against 3200 a year, 8 %, 10 years: 1.875 a, 2.1117 a, 15 472.26, 52.552 % (computed with scipy)
    case = payback(Estimate.exact(3200.0), discount_rate=0.08)
    assert case.simple_payback_years.value == pytest.approx(1.875)
    assert case.discounted_payback_years.value == pytest.approx(2.1117039)
    assert case.npv.value == pytest.approx(15472.26, abs=0.01)
    assert case.irr.value == pytest.approx(0.52552032)
    assert case.cash_flow[0] == (0, -6000.0)
    assert case.cash_flow[-1] == (10, pytest.approx(26000.0))


def test_upkeep_rebate_and_escalation() -> None:
    case = payback(Estimate.exact(2000.0), rebate=1000.0, upkeep_per_year=250.0, price_escalation_share=0.03)
    flows = [-5000.0] + [2000.0 * 1.03**k - 250.0 for k in range(10)]
    assert case.simple_payback_years.value == pytest.approx(5000 / 1750)
    assert case.npv.value == pytest.approx(sum(f / 1.07**k for k, f in enumerate(flows)))
    assert [amount for _, amount in case.cash_flow] == pytest.approx(np.cumsum(flows).tolist())
    assert sum(f / (1 + case.irr.value) ** k for k, f in enumerate(flows)) == pytest.approx(0.0, abs=1e-5)


def test_intervals_follow_the_saving() -> None:
    case = payback(Estimate(3000.0, 2000.0, 4000.0))
    assert (case.simple_payback_years.low, case.simple_payback_years.high) == (1.5, 3.0)
    assert case.npv.low < case.npv.value < case.npv.high
    assert case.irr.low < case.irr.value < case.irr.high
    assert case.probability_pays[1] == 0.0
    assert case.probability_pays[2] == pytest.approx(0.5, abs=0.02)
    assert case.probability_pays[5] == 1.0
    assert case.sensitivity[0][0] == "electricity price ± 20 %"


def test_demand_charge_counts_the_power_saved_at_the_peak() -> None:
    # the contract's cost saved is energy times tariff; the charge is counted here
    peak = Estimate(2.0, 1.0, 3.0)
    economics = made.plant(made.HEATLESS, economics__demand_charge_per_kw_year=100.0).economics
    assert yearly_saving(saving(Estimate.exact(1000.0), peak=peak), economics).value == pytest.approx(1200.0)


@pytest.mark.parametrize(
    ("cost", "economics", "says"),
    [
        (Estimate.exact(1000.0), {"retrofit_cost": None}, "retrofit_cost"),
        (None, {}, "saving"),
    ],
)
def test_what_is_missing_is_said(cost, economics, says) -> None:
    case = payback(cost, **economics)
    assert (case.simple_payback_years, case.npv, case.irr) == (None, None, None)
    assert says in case.notes[0]


def test_no_price_is_said() -> None:
    figures = SwitchingFigures(None, None, None, Estimate.exact(5000.0), None, None)
    case = reckon_payback(Switching(figures, figures, "dew_point"), made.plant(made.HEATLESS))
    assert case.simple_payback_years is None
    assert "price" in case.notes[0]


def test_no_cost_left_to_pay() -> None:
    for economics in ({"retrofit_cost": 0.0}, {"retrofit_cost": 3000.0, "rebate": 3000.0}):
        case = payback(Estimate.exact(1000.0), **economics)
        assert case.simple_payback_years is None
        assert case.irr is None
        assert case.npv.value > 0.0
        assert "Nothing is left to pay" in case.notes[0]


def test_a_saving_below_the_upkeep_never_pays() -> None:
    case = payback(Estimate(200.0, 100.0, 240.0), upkeep_per_year=250.0)
    assert case.simple_payback_years is None
    assert case.discounted_payback_years is None
    assert case.irr is None
    assert case.npv.high < 0.0
    assert "does not pay" in case.notes[0]


def test_an_open_end_is_closed_and_named() -> None:
    case = payback(Estimate(600.0, 100.0, 1200.0), upkeep_per_year=250.0)
    assert case.simple_payback_years.high == OPEN_END_YEARS
    assert any("never pays" in note for note in case.notes)
    assert case.irr.low == -1.0


@pytest.mark.parametrize("limited_by", ["air_use"])
def test_air_for_people_has_no_investment(limited_by: str) -> None:
    case = payback(None, limited_by=limited_by)
    assert case.npv is None
    assert "air of this use" in case.notes[0]


def test_a_dryer_that_already_switches_has_none_left() -> None:
    zero = Estimate.exact(0.0)
    figures = SwitchingFigures(Estimate.exact(900.0), zero, zero, zero, zero, None)
    switching = Switching(figures, figures, "dew_point", already_saved_share=Estimate.exact(0.6))
    assert "already" in reckon_payback(switching, made.plant(made.HEATLESS)).notes[0]


def test_internal_rate_needs_one_change_of_sign() -> None:
    assert internal_rate(np.array([-100.0, 10.0])) == pytest.approx(-0.9)
    assert internal_rate(np.array([100.0, 10.0])) is None
    assert internal_rate(np.array([-100.0, -10.0])) is None
    assert internal_rate(np.array([-100.0, 300.0, -250.0])) is None
    assert internal_rate(np.zeros(3)) is None


def test_annuity_against_the_sum() -> None:
    for rate, growth in ((0.07, 0.0), (0.07, 0.03), (0.05, 0.05), (0.0, 0.0)):
        total = sum((1 + growth) ** (k - 1) / (1 + rate) ** k for k in range(1, 13))
        assert annuity_factor(rate, 12, growth) == pytest.approx(total)


def test_discounted_payback_meets_the_present_value() -> None:
    years = discounted_payback_years(5000.0, 1500.0, 200.0, 0.06, 0.02)
    covered = 1500.0 * annuity_factor(0.06, years, 0.02) - 200.0 * annuity_factor(0.06, years)
    assert covered == pytest.approx(5000.0)
    assert discounted_payback_years(5000.0, 300.0, 0.0, 0.07) is None


@given(
    st.floats(0.0, 1e7),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1e6),
    st.floats(0.0, 1e5),
    st.floats(-0.9, 1.0),
    st.floats(-0.2, 0.5),
    st.integers(1, 50),
)
def test_never_infinite(value, spread, cost, upkeep, rate, growth, years) -> None:
    case = payback(
        Estimate(value, value * (1 - spread), value * (1 + spread)),
        retrofit_cost=cost,
        upkeep_per_year=upkeep,
        discount_rate=rate,
        price_escalation_share=growth,
        life_years=years,
    )
    for estimate in (case.simple_payback_years, case.npv, case.irr, case.discounted_payback_years):
        assert estimate is None or all(map(math.isfinite, (estimate.low, estimate.value, estimate.high)))
    assert all(math.isfinite(amount) for _, amount in case.cash_flow)
    assert all(0.0 <= p <= 1.0 for p in case.probability_pays.values())
    if value <= upkeep:
        assert case.simple_payback_years is None
    assert case.notes or case.simple_payback_years is not None


@given(st.floats(-0.4, 0.9), st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=20))
def test_present_value_against_a_loop(rate: float, amounts: list[float]) -> None:
    total = 0.0
    for year, amount in enumerate(amounts):
        total += amount / (1 + rate) ** year
    assert net_present_value(np.array(amounts), rate) == pytest.approx(total, rel=1e-9, abs=1e-6)


def test_cash_flows() -> None:
    assert cash_flows(100.0, 50.0, 5.0, 0.1, 2).tolist() == pytest.approx([-100.0, 45.0, 50.0])


def test_a_control_that_is_there_but_idle_costs_less_to_revive() -> None:
    case = reckon_payback(saving(Estimate.exact(1000.0)), made.plant(made.HEATLESS, dryer__control="dew_point"))
    assert any("has dew-point control" in note for note in case.notes)


def test_a_century_is_no_payback() -> None:
    case = payback(Estimate.exact(10.0))
    assert case.simple_payback_years is None
    assert any("does not pay" in note for note in case.notes)
