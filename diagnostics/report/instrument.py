"""What was measured with, how it was set, and how far its reading may be off."""

from __future__ import annotations

from diagnostics.diagnosis import Diagnosis
from diagnostics.report.figures import BAR_PER_PSI, METRIC, Display
from diagnostics.report.texts import words


def instrument_rows(diagnosis: Diagnosis, display: Display = METRIC) -> list[tuple[str, str]]:
    """Instrument, calibration and settings as rows of a table."""
    say, plant = words("instrument"), diagnosis.plant
    measured, cycle = plant.measurement, diagnosis.cycle
    calibrated = say["never_said"]
    if measured.calibrated_on is not None:
        months = display.number(measured.calibration_interval_months, digits=2)
        calibrated = say["calibrated_on"].format(date=measured.calibrated_on.isoformat(), months=months)
    lags = [
        (say[name], display.duration(cycle.time_constant_s[name]) if name in cycle.time_constant_s else say["not_seen"])
        for name in ("drying", "wetting")
    ]
    resolution = (
        f"{display.number(display.kelvins(diagnosis.screened.resolution_c), digits=2)} {display.difference_unit}"
    )
    lowered = cycle.peak_lowered_c
    return [
        (say["calibrated"], calibrated),
        (say["stated"], _stated(diagnosis, display)),
        (say["basis"], _basis(diagnosis, display)),
        (say["over"], say[f"over_{measured.over}"]),
        (say["resolution"], resolution),
        (say["interval"], display.span(diagnosis.screened.log.interval_s)),
        *lags,
        (
            say["peak_lowered"],
            say["not_seen"]
            if lowered is None
            else display.estimate(lowered, display.difference_unit, digits=2, turned=display.kelvins),
        ),
    ]


def budget_rows(diagnosis: Diagnosis, display: Display = METRIC) -> list[tuple[str, str]]:
    """Standard uncertainties by cause and their sums, in the reader's unit; empty where no reading could be used."""
    budget = diagnosis.purity.budget
    if budget is None:
        return []
    names = ("probe_k", "drift_k", "pressure_k", "resolution_k", "standard_k", "expanded_k")
    rows = {name: display.number(display.kelvins(getattr(budget, name)), decimals=2) for name in names}
    if diagnosis.plant.measurement.calibrated_on is None:
        rows["drift_k"] = words("page")["unknown"]
    return [(words("budget")[name], shown) for name, shown in rows.items()]


def _stated(diagnosis: Diagnosis, display: Display) -> str:
    say, measured = words("instrument"), diagnosis.plant.measurement
    if isinstance(measured.uncertainty_c, list):
        pairs = ", ".join(
            f"{display.level_words(at, 0)}: ± {display.difference_words(band)}" for at, band in measured.uncertainty_c
        )
        return say["stated_table"].format(table=pairs)
    text = say[f"stated_{measured.uncertainty_kind}"].format(value=display.difference_words(measured.uncertainty_c))
    return text if diagnosis.plant.is_given("measurement.uncertainty_c") else f"{text} {say['assumed']}"


def _basis(diagnosis: Diagnosis, display: Display) -> str:
    say, measured = words("instrument"), diagnosis.plant.measurement
    gauge = measured.pressure_bar_g or 0.0
    shown = gauge if display.pressure == "bar" else gauge / BAR_PER_PSI
    pressure = f"{display.number(shown)} {display.pressure_unit}"
    gas = say[f"gas_{measured.conversion}"]
    return say[f"basis_{diagnosis.screened.basis or measured.basis or 'pressure'}"].format(pressure=pressure, gas=gas)
