"""What has to be said beside the figures of purity.

Question: what could someone misread in class, verdict and uncertainty? Input: `Purity`, line pressure, plant. Output:
sentences.
"""

from __future__ import annotations

from diagnostics.air.conformity import purity_class
from diagnostics.air.humidity import change_pressure
from diagnostics.air.record import Purity
from diagnostics.air.uses import notes_on_use
from diagnostics.moment import say_duration
from diagnostics.plant import Plant

REFERENCE_BAR_G = 7.0
"""Gauge pressure the water classes refer to unless agreed otherwise (ISO 8573-3, as quoted on public pages)."""


def notes_on_purity(purity: Purity, pressure_bar: float, plant: Plant) -> tuple[str, ...]:
    """Sentences beside the figures.

    Parameters
    ----------
    purity : Purity
        Of at least one used reading.
    pressure_bar : float
        Line pressure [bar abs].
    plant : Plant

    Returns
    -------
    tuple of str
    """
    assert purity.p95_dew_point_c is not None  # a log without used readings is not described here
    p95 = purity.p95_dew_point_c
    return (
        *_on_class(p95, pressure_bar, plant),
        *_on_conformity(purity),
        _on_uncertainty(purity, p95),
        *_on_length(purity),
        *_at_use(purity, plant),
        *notes_on_use(p95, purity.uncertainty_c, pressure_bar, plant),
    )


def _on_class(p95: float, pressure_bar: float, plant: Plant) -> tuple[str, ...]:
    notes = []
    if purity_class(p95) is None:
        notes.append(
            f"The 95th percentile of {p95:.1f} °C is above +10 °C: classes 7 to 9 go by liquid water, which a dew point"
            " log cannot show, so no class is given."
        )
    elif purity_class(p95) == 1:
        notes.append("Class 0 is an agreement stricter than class 1; no log alone gives it.")
    reference_bar = REFERENCE_BAR_G + plant.site.barometric_pressure_bar
    if abs(pressure_bar - reference_bar) > 0.15:
        same_air = change_pressure(p95, pressure_bar, reference_bar)
        notes.append(
            f"The class is that at line pressure, {pressure_bar:.2f} bar absolute; at the standard's reference of 7 bar"
            f" gauge the same air has {same_air:.1f} °C (class {purity_class(same_air) or 'none'})."
        )
    return tuple(notes)


def _on_conformity(purity: Purity) -> tuple[str, ...]:
    longest_s, share = purity.longest_exceedance_s, purity.time_above_limit_share
    if purity.conformity != "pass" or not purity.exceedances or longest_s is None or share is None:
        return ()
    basis = "the longest exceedance" if purity.conformity_by == "longest_exceedance" else "the 95th percentile"
    times = "once" if purity.exceedances == 1 else f"{purity.exceedances} times"
    return (
        f"The limit of {purity.limit_dew_point_c:g} °C is kept by {basis}, yet it was passed {times}, for up to"
        f" {say_duration(longest_s)} and {100 * share:.2g} % of the time,"
        f" reaching {purity.max_dew_point_c:.1f} °C; whether the process stands that is for its owner to say.",
    )


def _on_uncertainty(purity: Purity, p95: float) -> str:
    budget = purity.budget
    parts = (
        []
        if budget is None
        else [
            ("instrument", budget.probe_k),
            ("drift since calibration", budget.drift_k),
            ("line pressure", budget.pressure_k),
            ("resolution", budget.resolution_k),
        ]
    )
    named = ", ".join(f"{name} {value:.2f} K" for name, value in parts if value > 0.005)
    return (
        f"Uncertainty of the dew point at {p95:.1f} °C: U = {purity.uncertainty_c:.1f} K (k = 2)"
        + (f" from standard uncertainties of {named}" if named else "")
        + "; as a guard band it leaves at most 2.3 % risk of a wrong pass."
    )


def _on_length(purity: Purity) -> tuple[str, ...]:
    p95, limit, expanded = purity.p95, purity.limit_dew_point_c, purity.uncertainty_c
    if p95 is None:
        return (
            "The log is too short, or changes too slowly over it, to say how far its 95th percentile would differ in"
            " another one.",
        )
    if purity.conformity_by != "p95" or purity.conformity == "undecided":
        return ()
    other = p95.high + expanded > limit if purity.conformity == "pass" else p95.low - expanded <= limit
    if not other:
        return ()
    return (
        f"Another log of this length could have its 95th percentile between {p95.low:.1f} and {p95.high:.1f} °C, enough"
        " to change the verdict; a longer log would settle it.",
    )


def _at_use(purity: Purity, plant: Plant) -> tuple[str, ...]:
    reserve, lowest = purity.frost_reserve_k, plant.operation.lowest_pipe_temperature_c
    if reserve is None or lowest is None:
        return ()
    where = "at line pressure (no pressure at the point of use given)"
    if purity.dew_point_at_use_c is not None:
        where = "at the point of use"
    if reserve > 0.0:
        return (f"The coldest pipe of {lowest:g} °C is {reserve:.1f} K above the dew point {where}.",)
    return (
        f"The coldest pipe of {lowest:g} °C is {-reserve:.1f} K below the dew point {where}: water or frost can form"
        " there.",
    )
