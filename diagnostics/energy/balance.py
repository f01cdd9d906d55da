"""How much purge a heatless dryer needs: by volume, and by the water that leaves saturated.

Question: what is the least purge at these pressures and temperatures? Method: Skarstrom's rule, purge volume at the
pressure it has in the purged vessel at least the feed's volume at line pressure; and the water balance of a purge that
leaves saturated, which shows what a colder bed costs.
"""

from __future__ import annotations

from diagnostics.air.humidity import moisture_fraction
from diagnostics.energy.evidence import regenerating_bar
from diagnostics.estimate import Estimate
from diagnostics.plant import Plant


def least_ratio(line_bar: float, purged_bar: float) -> float:
    """Purge over feed, as amounts of air, at equal actual volumes [-].

    Parameters
    ----------
    line_bar, purged_bar : float
        Pressure in the drying and in the purged vessel [bar abs].

    Returns
    -------
    float
        ``purged_bar / line_bar``

    Raises
    ------
    ValueError
        If a pressure is not above nought or the purged vessel is above the line.
    """
    if not 0.0 < purged_bar <= line_bar:
        raise ValueError(f"purged_bar = {purged_bar:g} bar absolute is outside 0 to the line's {line_bar:g}")
    return purged_bar / line_bar


def saturated_ratio(feed_c: float, exit_c: float, line_bar: float, purged_bar: float, *, real: bool = True) -> float:
    """Dry purge over dry feed where the feed enters and the purge leaves saturated [-].

    Parameters
    ----------
    feed_c, exit_c : float
        Temperature of the feed, and of the purge as it leaves the bed [degC].
    line_bar, purged_bar : float
        [bar abs]
    real : bool
        With the enhancement factor.

    Returns
    -------
    float
        Water per dry air in the feed over that in the purge leaving.
    """
    feed = float(moisture_fraction(feed_c, line_bar, real=real))
    leaving = float(moisture_fraction(exit_c, purged_bar, real=real))
    return feed / (1.0 - feed) / (leaving / (1.0 - leaving))


def least_purge_m3_min(plant: Plant, line_bar: float) -> Estimate | None:
    """Average purge that carries as much actual volume as the rated feed: the least for a heatless dryer.

    Parameters
    ----------
    plant : Plant
    line_bar : float
        [bar abs]

    Returns
    -------
    Estimate or None
        [m3/min]; designs take 1.1 to 1.5 times the least, which is the interval. None for heated dryers and without a
        rating.
    """
    rated = plant.dryer.rated_flow_m3_min
    if plant.heated or rated is None:
        return None
    least = rated * least_ratio(line_bar, min(regenerating_bar(plant), line_bar))
    return Estimate(least, least, 1.5 * least)
