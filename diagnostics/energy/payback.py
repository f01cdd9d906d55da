"""Whether the investment pays: simple payback, net present value, internal rate of return, cash by year.

Question: what does the retrofit earn? Input: the switching figures and the plant's economics. Output: a `Payback`.
Method: `investment`, at the saving's value and at both ends of its interval: every sum rises or falls with the saving
throughout, so its 95 % interval is the image of the saving's. What cannot be reckoned is None with a note.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from diagnostics.energy.investment import (
    cash_flows,
    cost_per_saved_kwh,
    discounted_payback_years,
    internal_rate,
    net_present_value,
    simple_payback_years,
)
from diagnostics.energy.record import Payback, Step, Switching
from diagnostics.energy.uncertain import DRAWS, uncertain
from diagnostics.estimate import Estimate
from diagnostics.plant import Plant
from diagnostics.plant_file import Economics

OPEN_END_YEARS = 99.0
"""Upper end of a payback where the low end of the saving does not pay at all."""
LEAST_RATE = -0.5
"""Discount rates below are reckoned as this: they mean nothing and overflow over long lives."""
_PAYS_WITHIN = (1, 2, 3, 5, 10)
_GIVEN_SHARE, _RATE_STEP = 0.20, 0.03
"""How far a given price or cost, and the discount rate, are moved to see what that does."""


@dataclass(frozen=True, slots=True)
class _Terms:
    """What the sums need; the saving is the first year's [currency]."""

    outlay: float
    upkeep: float
    growth: float
    rate: float
    years: int

    def flows(self, saving: float) -> np.ndarray:
        return cash_flows(self.outlay, saving, self.upkeep, self.growth, self.years)

    def npv(self, saving: float) -> float:
        return net_present_value(self.flows(saving), self.rate)


def reckon_payback(switching: Switching, plant: Plant) -> Payback:
    """Reckon the investment case of switching on dew point.

    Parameters
    ----------
    switching : Switching
    plant : Plant

    Returns
    -------
    Payback
        Figures are None, with a note, where price, cost or saving are missing or the case never pays.
    """
    economics = plant.economics
    cost, saving = economics.retrofit_cost, yearly_saving(switching, economics)
    missing = _missing(switching, saving, cost)
    if missing is not None or saving is None or cost is None:
        return Payback(cost, None, None, None, economics.currency, notes=(missing or "",))
    terms = _Terms(
        max(0.0, cost - economics.rebate),
        economics.upkeep_per_year,
        economics.price_escalation_share,
        max(economics.discount_rate, LEAST_RATE),
        economics.life_years,
    )
    net = Estimate(saving.value - terms.upkeep, saving.low - terms.upkeep, saving.high - terms.upkeep)
    notes = _notes(terms, net, economics, plant.dryer.control == "dew_point")
    years = np.arange(terms.years + 1)
    return Payback(
        retrofit_cost=cost,
        simple_payback_years=_open_ended(net, lambda yearly: simple_payback_years(terms.outlay, yearly)),
        npv=saving.map(terms.npv),
        irr=_rate_of_return(terms, saving),
        currency=economics.currency,
        discounted_payback_years=_open_ended(
            saving, lambda s: discounted_payback_years(terms.outlay, s, terms.upkeep, terms.rate, terms.growth)
        ),
        cash_flow=tuple(zip(years.tolist(), np.cumsum(terms.flows(saving.value)).tolist(), strict=True)),
        sensitivity=_sensitivity(switching, terms, saving, economics),
        probability_pays=_probability(saving, terms),
        trace=_trace(terms, saving, net, economics) + _trace_probability(saving, terms),
        notes=notes,
        net_saving_per_year=net,
        cost_per_saved_kwh=_unit_cost(switching, terms),
    )


def yearly_saving(switching: Switching, economics: Economics) -> Estimate | None:
    """First year's saving before upkeep [currency]: energy and, at the peak, demand charge; None without a price."""
    saving, peak = switching.figures.cost_saved_per_year, switching.power_saved_at_peak_kw
    if saving is None or peak is None or economics.demand_charge_per_kw_year <= 0.0:
        return saving
    charge = peak.scaled(economics.demand_charge_per_kw_year)
    return Estimate(saving.value + charge.value, saving.low + charge.low, saving.high + charge.high)


def _missing(switching: Switching, saving: Estimate | None, cost: float | None) -> str | None:
    if switching.limited_by == "air_use":
        return "No investment is offered for air of this use."
    if switching.already_saved_share is not None:
        return "The dryer already switches on dew point; there is no investment left to reckon."
    if cost is None:
        priced = saving is not None or switching.figures.energy_saved_kwh_per_year is None
        price = "" if priced else " and economics.electricity_price_per_kwh or a tariff"
        return f"The payback needs economics.retrofit_cost{price}."
    if switching.figures.energy_saved_kwh_per_year is None:
        return "The payback needs a saving, which could not be told."
    if saving is None:
        return "The payback needs economics.electricity_price_per_kwh or a tariff."
    return None


def _open_ended(saving: Estimate, years: Callable[[float], float | None]) -> Estimate | None:
    """Years at the saving's value and ends; None where the value does not pay, the open end where only the low one."""
    value, best, worst = years(saving.value), years(saving.high), years(saving.low)
    if value is None or best is None or value > OPEN_END_YEARS:
        return None
    return Estimate.ordered(value, best, min(OPEN_END_YEARS, OPEN_END_YEARS if worst is None else worst))


def _rate_of_return(terms: _Terms, saving: Estimate) -> Estimate | None:
    value = internal_rate(terms.flows(saving.value))
    if value is None:
        return None
    ends = [internal_rate(terms.flows(end)) for end in (saving.low, saving.high)]
    low = -1.0 if ends[0] is None else ends[0]
    high = value if ends[1] is None else ends[1]
    return Estimate.ordered(value, low, high)


def _probability(saving: Estimate, terms: _Terms) -> dict[int, float]:
    """Share of the draws of the saving for which the simple payback is within so many years."""
    draws = uncertain("saving", saving).draws - terms.upkeep
    return {year: float(np.mean(draws * year >= terms.outlay)) for year in _PAYS_WITHIN}


def _trace_probability(saving: Estimate, terms: _Terms) -> tuple[Step, ...]:
    inputs = (
        ("cost less rebate", terms.outlay, "plant file"),
        ("saving, low end", saving.low, "computed"),
        ("saving, high end", saving.high, "computed"),
        ("upkeep per year", terms.upkeep, "plant file or assumed"),
        ("draws", float(DRAWS), "fixed seed"),
    )
    formula = "share of the drawn savings whose simple payback is within the years"
    source = "Monte Carlo after JCGM 101:2008"
    return tuple(
        Step(f"payback.probability_pays.{year}", share, "-", formula, inputs, source)
        for year, share in _probability(saving, terms).items()
    )


def _unit_cost(switching: Switching, terms: _Terms) -> float | None:
    energy = switching.figures.energy_saved_kwh_per_year
    if energy is None:
        return None
    return cost_per_saved_kwh(terms.outlay, terms.upkeep, energy.value, terms.rate, terms.years)


def _sensitivity(
    switching: Switching, terms: _Terms, saving: Estimate, economics: Economics
) -> tuple[tuple[str, float, float], ...]:
    """NPV with one input at its low and high end; the most telling first."""
    energy = switching.figures.energy_saved_kwh_per_year
    rows: list[tuple[str, float, float]] = []
    if energy is not None and energy.value > 0.0:
        per_kwh = saving.value / energy.value
        rows += [(name, terms.npv(low * per_kwh), terms.npv(high * per_kwh)) for name, low, high in switching.drivers]
    less, more = 1.0 - _GIVEN_SHARE, 1.0 + _GIVEN_SHARE
    rows.append(("electricity price ± 20 %", terms.npv(less * saving.value), terms.npv(more * saving.value)))

    def changed(**values: float) -> float:
        fields = {name: values.get(name, getattr(terms, name)) for name in ("outlay", "upkeep", "growth", "rate")}
        return _Terms(**fields, years=terms.years).npv(saving.value)

    rebate, cost = economics.rebate, economics.retrofit_cost or 0.0
    outlays = [max(0.0, factor * cost - rebate) for factor in (less, more)]
    rows.append(("retrofit cost ± 20 %", changed(outlay=outlays[0]), changed(outlay=outlays[1])))
    rates = [max(LEAST_RATE, terms.rate - _RATE_STEP), terms.rate + _RATE_STEP]
    rows.append(("discount rate ± 3 points", changed(rate=rates[0]), changed(rate=rates[1])))
    if terms.upkeep > 0.0:
        rows.append(("upkeep ± 20 %", changed(upkeep=less * terms.upkeep), changed(upkeep=more * terms.upkeep)))
    return tuple(sorted(rows, key=lambda row: abs(row[2] - row[1]), reverse=True))


def _notes(terms: _Terms, net: Estimate, economics: Economics, has_control: bool) -> tuple[str, ...]:
    notes = []
    if terms.outlay <= 0.0:
        notes.append("Nothing is left to pay (no cost, or the rebate covers it): there is no payback time or rate.")
    elif net.value <= 0.0:
        notes.append("The saving does not cover the upkeep: the investment does not pay.")
    elif terms.outlay / net.value > OPEN_END_YEARS:
        notes.append(f"The investment takes more than {OPEN_END_YEARS:g} years to come back: it does not pay.")
    elif net.low <= 0.0 or terms.outlay / net.low > OPEN_END_YEARS:
        notes.append(
            f"At the low end of the saving the investment never pays; {OPEN_END_YEARS:g} years stand for that in the"
            " payback's interval."
        )
    if has_control:
        notes.append(
            "The plant file says the dryer has dew-point control: bringing it back to work may cost far less than the"
            " retrofit reckoned here."
        )
    if economics.discount_rate < LEAST_RATE:
        notes.append(f"A discount rate below {100 * LEAST_RATE:g} % means nothing; it was reckoned as that.")
    if economics.price_escalation_share == 0.0:
        notes.append("Prices are taken as constant; the discount rate is then one above inflation.")
    return tuple(notes)


def _trace(terms: _Terms, saving: Estimate, net: Estimate, economics: Economics) -> tuple[Step, ...]:
    inputs = (
        ("retrofit cost", economics.retrofit_cost or 0.0, "plant file"),
        ("rebate", economics.rebate, "plant file or assumed"),
        ("first year's saving", saving.value, "computed"),
        ("upkeep per year", terms.upkeep, "plant file or assumed"),
    )
    rated = (
        *inputs,
        ("price escalation", terms.growth, "plant file or assumed"),
        ("discount rate", terms.rate, "plant file or assumed"),
        ("years", float(terms.years), "plant file or assumed"),
    )
    simple = simple_payback_years(terms.outlay, net.value)
    formula = "Σ amount of the year / (1 + rate)^year, year-end amounts"
    steps = [Step("payback.npv", terms.npv(saving.value), economics.currency, formula, rated, "textbook sum")]
    if simple is not None:
        steps.insert(
            0,
            Step(
                "payback.simple_payback_years", simple, "a", "(cost − rebate) / (saving − upkeep)", inputs, "textbook"
            ),
        )
    discounted = discounted_payback_years(terms.outlay, saving.value, terms.upkeep, terms.rate, terms.growth)
    if discounted is not None:
        formula = "years n with saving × annuity(n, growth) − upkeep × annuity(n) = cost − rebate"
        steps.append(Step("payback.discounted_payback_years", discounted, "a", formula, rated, "annuity"))
    yearly = (("first year's saving", saving.value, "computed"), ("upkeep per year", terms.upkeep, "plant file"))
    steps.append(
        Step("payback.net_saving_per_year", net.value, economics.currency, "saving − upkeep", yearly, "difference")
    )
    rate = internal_rate(terms.flows(saving.value))
    if rate is not None:
        steps.append(
            Step("payback.irr", rate, "1/a", "rate at which the net present value is nought", rated, "textbook")
        )
    return tuple(steps)
