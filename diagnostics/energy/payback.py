"""Whether the investment pays: simple payback, net present value, internal rate of return, cash by year.

Question: what does the retrofit earn? Input: the switching figures and the plant's economics. Output: a `Payback`.
Method: amounts at each year's end; currency-neutral; a case that cannot be reckoned is None with a note.
"""

from __future__ import annotations

import numpy as np

from diagnostics.energy.record import Payback, Switching
from diagnostics.estimate import Estimate
from diagnostics.plant import Plant


def reckon_payback(switching: Switching, plant: Plant) -> Payback:
    """Reckon the investment case of switching on dew point.

    Parameters
    ----------
    switching : Switching
    plant : Plant

    Returns
    -------
    Payback
    """
    economics = plant.economics
    saving, cost = switching.figures.cost_saved_per_year, economics.retrofit_cost
    if saving is None or cost is None or cost <= 0 or saving.value <= economics.upkeep_per_year:
        note = "The payback is not reckoned: it needs a price, a cost above nought and a saving above the upkeep."
        return Payback(cost, None, None, None, economics.currency, notes=(note,))
    outlay = max(0.0, cost - economics.rebate)
    net = Estimate.ordered(
        saving.value - economics.upkeep_per_year,
        max(saving.low - economics.upkeep_per_year, outlay / 99.0),
        saving.high - economics.upkeep_per_year,
    )
    years = economics.life_years
    value = net.map(lambda yearly: npv(-outlay, np.full(years, yearly), economics.discount_rate))
    return Payback(cost, net.map(lambda yearly: outlay / yearly), value, None, economics.currency)


def npv(now: float, yearly: np.ndarray, rate: float) -> float:
    """Net present value of an amount now and amounts at each year's end."""
    return now + float(np.sum(yearly / (1.0 + rate) ** np.arange(1, yearly.size + 1)))
