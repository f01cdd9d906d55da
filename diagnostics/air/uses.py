"""What the air's use asks of its dryness, beyond a purity class.

Question: which published limit applies to instrument, breathing or medical air, and how does the log stand to it?
Input: the 95th percentile of dew point, its uncertainty and the plant. Output: sentences. The figures are those quoted
in public texts; editions differ and the standards themselves were not at hand, so that each sentence names its document
and the decision stays with the person responsible for the air.
"""

from __future__ import annotations

from collections.abc import Callable

from diagnostics.air.conformity import conformity
from diagnostics.air.humidity import dew_point_c, moisture_fraction, moisture_from_ppmv_moist, ppmv_moist
from diagnostics.plant import Plant

INSTRUMENT_AIR_BELOW_LOWEST_K = 10.0
INSTRUMENT_AIR_HIGHEST_C = 4.0
BREATHING_AIR_BELOW_LOWEST_K = 5.0
BREATHING_AIR_UNKNOWN_C = -11.0
MEDICINAL_AIR_PPMV = 67.0

_VERDICT = {
    "pass": "keeps it",
    "fail": "does not keep it",
    "undecided": "lies within its own uncertainty of it",
}


def instrument_air_limit_c(lowest_temperature_c: float) -> float:
    """Highest pressure dew point of instrument air [degC] by the lowest temperature of the system [degC].

    ANSI/ISA-7.0.01-1996: 10 K below the lowest temperature any part is exposed to, and not above 4 degC.
    """
    return min(lowest_temperature_c - INSTRUMENT_AIR_BELOW_LOWEST_K, INSTRUMENT_AIR_HIGHEST_C)


def breathing_air_limit_c(lowest_temperature_c: float | None) -> float:
    """Highest pressure dew point of breathing air up to 40 bar [degC] by the lowest temperature likely [degC].

    EN 12021:2014: 5 K below it; -11 degC where the conditions are not known.
    """
    if lowest_temperature_c is None:
        return BREATHING_AIR_UNKNOWN_C
    return lowest_temperature_c - BREATHING_AIR_BELOW_LOWEST_K


def medicinal_air_limit_c(pressure_bar: float) -> float:
    """Pressure dew point [degC] of 67 ppm by volume at a line pressure [bar abs]: European Pharmacopoeia."""
    return float(dew_point_c(moisture_from_ppmv_moist(MEDICINAL_AIR_PPMV), pressure_bar))


def notes_on_use(p95_c: float, uncertainty_c: float, pressure_bar: float, plant: Plant) -> tuple[str, ...]:
    """Sentences on the air's use.

    Parameters
    ----------
    p95_c : float
        95th percentile of the pressure dew point [degC].
    uncertainty_c : float
        Its expanded uncertainty, k = 2 [K].
    pressure_bar : float
        Line pressure [bar abs].
    plant : Plant
        ``site.air_use`` and ``operation.lowest_pipe_temperature_c``.

    Returns
    -------
    tuple of str
    """
    notes = _NOTES.get(plant.site.air_use)
    return () if notes is None else notes(p95_c, uncertainty_c, pressure_bar, plant.operation.lowest_pipe_temperature_c)


def _against(limit_c: float, p95_c: float, uncertainty_c: float) -> str:
    return f"the 95th percentile of {p95_c:.1f} °C {_VERDICT[conformity(p95_c, limit_c, uncertainty_c)]}"


def _instrument(p95_c: float, uncertainty_c: float, pressure_bar: float, lowest_c: float | None) -> tuple[str, ...]:
    if lowest_c is None:
        return (
            "Instrument air (ANSI/ISA-7.0.01) goes by the lowest temperature of the system; give"
            " operation.lowest_pipe_temperature_c to have it judged.",
        )
    limit = instrument_air_limit_c(lowest_c)
    return (
        f"Instrument air (ANSI/ISA-7.0.01-1996: 10 K below the lowest temperature, at most +4 °C) asks for"
        f" {limit:.0f} °C at line pressure; {_against(limit, p95_c, uncertainty_c)}.",
    )


_RESPONSIBLE = (
    "Nobody may breathe this air on the strength of a dew point: oil, carbon monoxide, carbon dioxide and the rest are"
    " not in this log, and the person responsible for the air decides under the local rules."
)


def _breathing(p95_c: float, uncertainty_c: float, pressure_bar: float, lowest_c: float | None) -> tuple[str, ...]:
    limit = breathing_air_limit_c(lowest_c)
    why = "the lowest temperature is not given" if lowest_c is None else f"5 K below {lowest_c:.0f} °C"
    return (
        f"Breathing air up to 40 bar (EN 12021:2014) asks for {limit:.0f} °C at line pressure ({why});"
        f" {_against(limit, p95_c, uncertainty_c)}. Filling cylinders has limits of its own, in mg/m³.",
        _RESPONSIBLE,
    )


def _medical(p95_c: float, uncertainty_c: float, pressure_bar: float, lowest_c: float | None) -> tuple[str, ...]:
    limit = medicinal_air_limit_c(pressure_bar)
    content = ppmv_moist(moisture_fraction(p95_c, pressure_bar))
    return (
        f"Medicinal air (European Pharmacopoeia: 67 ppm water by volume) is {limit:.1f} °C at this line pressure;"
        f" {_against(limit, p95_c, uncertainty_c)} ({content:.3g} ppm). Codes for pipelines set alarms of their own.",
        _RESPONSIBLE,
    )


def _product(p95_c: float, uncertainty_c: float, pressure_bar: float, lowest_c: float | None) -> tuple[str, ...]:
    return (
        "Where the air meets the product, the class agreed with those responsible for its safety holds; particles and"
        " oil belong to it and are not in this log.",
    )


_NOTES: dict[str, Callable[[float, float, float, float | None], tuple[str, ...]]] = {
    "instrument": _instrument,
    "breathing": _breathing,
    "medical": _medical,
    "food": _product,
    "pharma": _product,
}
