"""Spot check: one reading beside the dryer, on a phone."""

import streamlit as st

from diagnostics.errors import UserError
from diagnostics.estimate import Estimate
from diagnostics.report.figures import US
from diagnostics.report.summary import CONFORMITY_WORDS
from diagnostics.report.texts import words
from diagnostics.spot_check import spot_check
from ui import state
from ui.plant_form import spoken
from ui.words import plain, show_caution, show_sentence, show_table

UNITS = {
    "°C dew point": "degC",
    "°F dew point": "degF",
    "ppm by volume": "ppmv",
    "ppm by mass": "ppmw",
    "g/m³ at the line": "g_m3",
    "g/kg dry air": "g_kg",
    "% relative humidity": "percent_rh",
}

LINE, AIR = "line pressure", "atmospheric pressure"

st.title("Spot check")
st.caption("One reading with its pressure: class, limit, and every other quantity.")
show_caution(
    "open the sample point slowly, with a rated coupling; never unscrew a bleed fully under pressure; close the valve"
    " before taking the probe off."
)
display = state.display()
tag = display.temperature
start = {
    "value": -40.0,
    "unit": "°C dew point",
    f"pressure_{tag}": 100.0 if display.pressure == US.pressure else 7.0,
    "basis": LINE,
    f"limit_{tag}": display.level(-40.0),
    f"uncertainty_{tag}": display.kelvins(2.0),
    "over": "ice",
    f"gas_{tag}": display.level(20.0),
    "barometer": 1.01325,
}
for name, first in start.items():
    st.session_state.setdefault(f"{state.HOLD}spot_{name}", first)

left, right = st.columns(2)  # a pair a row, so that on a phone the unit stands below its reading
value = left.number_input("Reading", value=None, step=0.1, format="%.2f", key="hold_spot_value")
unit = right.selectbox("Unit", list(UNITS), key="hold_spot_unit")
left, right = st.columns(2)
pressure = left.number_input(
    f"Line pressure [{display.pressure_unit} gauge]",
    min_value=0.0,
    value=None,
    step=0.1,
    key=f"hold_spot_pressure_{tag}",
)
limit = right.number_input(
    f"Limit, pressure dew point [{display.temperature_unit}]", value=None, step=1.0, key=f"hold_spot_limit_{tag}"
)
basis = st.segmented_control("The instrument shows it at", [LINE, AIR], key="hold_spot_basis")
with st.expander("Instrument and air"):
    uncertainty = st.number_input(
        f"Uncertainty, k = 2 [{display.difference_unit}]",
        min_value=0.0,
        value=None,
        step=0.1,
        key=f"hold_spot_uncertainty_{tag}",
    )
    over = st.segmented_control("Below 0 °C over", ["ice", "water"], key="hold_spot_over")
    gas = st.number_input(
        f"Air temperature [{display.temperature_unit}]", value=None, step=1.0, key=f"hold_spot_gas_{tag}"
    )
    barometer = st.number_input("Barometer [bar]", 0.5, 1.1, None, step=0.001, format="%.4f", key="hold_spot_barometer")
    ideal = st.toggle("Ideal gas, as printed tables reckon", key="hold_spot_ideal")
if value is None or pressure is None:
    st.info("Type the reading and the line pressure.")
    st.stop()


def celsius(level: float | None) -> float | None:
    """Level in the plant file's unit."""
    return level if level is None or tag == "C" else (level - 32.0) / 1.8


try:
    result = spot_check(
        value,
        UNITS[unit],
        pressure / display.line_pressure(1.0),
        basis="atmospheric" if basis == AIR else "pressure",
        barometer_bar=barometer or 1.01325,
        gas_temperature_c=20.0 if gas is None else celsius(gas),
        over=over or "ice",
        ideal=ideal,
        limit_c=celsius(limit),
        uncertainty_c=(uncertainty or 0.0) / display.kelvins(1.0),
    )
except UserError as error:
    show_sentence(str(error))
    st.stop()

icon = {"pass": ":material/check_circle:", "fail": ":material/cancel:", "undecided": ":material/help:"}
verdict = result.conformity or "undecided"
rank = (
    spoken("no class, wetter than +10 °C", display)
    if result.purity_class is None
    else f"water class {result.purity_class}"
)
band = f" ± {display.number(uncertainty, digits=2)} {display.difference_unit}" if uncertainty else ""
with st.container(border=True):
    st.markdown(f"### {icon[verdict]} {display.level_words(result.pressure_dew_point_c)}{band}")
    likely = display.share(result.probability_of_conformity)
    told = f"The air {CONFORMITY_WORDS[verdict]}: probability of meeting it {likely}."
    st.caption("Pressure dew point with the instrument's uncertainty, k = 2" if band else "Pressure dew point")
    st.text(f"{told if result.conformity else 'No limit was given.'} ISO 8573-1 {rank}.")
LEVELS = ("pressure_dew_point_c", "atmospheric_dew_point_c", "dew_point_over_water_c")
OTHERS = {
    "vapour_pressure_pa": "Pa",
    "ppmv": "ppm",
    "ppmw": "ppm",
    "mixing_ratio_g_kg": "g/kg",
    "absolute_humidity_g_m3": "g/m³",
    "reference_humidity_g_m3": "g/m³",
    "relative_humidity_percent": "%",
}


def shown(key: str) -> str:
    """Quantity with its unit and interval."""
    value, span = getattr(result, key), result.intervals.get(key)
    estimate = None if value is None else Estimate(value, *(span or (value, value)))
    if key in LEVELS:
        return display.estimate(estimate, display.temperature_unit, decimals=1, turned=display.level)
    return display.estimate(estimate, OTHERS[key], digits=3)


names = words("convert")
keys = (*LEVELS, *OTHERS)
show_table({"quantity": [spoken(names[key], display) for key in keys], "value": [shown(key) for key in keys]})
if not band:
    st.caption("Without the instrument's uncertainty the values have no interval.")
for note in result.notes:
    st.caption(plain(spoken(note, display)))
