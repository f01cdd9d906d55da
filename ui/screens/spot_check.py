"""Spot check: one reading beside the dryer, on a phone."""

import streamlit as st

from diagnostics.errors import UserError
from diagnostics.report.figures import US
from diagnostics.report.summary import CONFORMITY_WORDS
from diagnostics.spot_check import spot_check
from ui import gate, state

UNITS = {
    "°C dew point": "degC",
    "°F dew point": "degF",
    "ppm by volume": "ppmv",
    "ppm by mass": "ppmw",
    "g/m³ at the line": "g_m3",
    "g/kg dry air": "g_kg",
    "% relative humidity": "percent_rh",
}

st.title("Spot check")
st.caption("One reading with its pressure: class, limit, and every other quantity.")
display = state.display()
psi = display.pressure == US.pressure
value = st.number_input("Reading", value=-40.0, step=0.1, format="%.2f", key="spot_value")
unit = st.selectbox("Unit", list(UNITS), key="spot_unit")
pressure = st.number_input(
    f"Line pressure [{display.pressure_unit} gauge]",
    min_value=0.0,
    value=100.0 if psi else 7.0,
    step=0.1,
    key="spot_bar",
)
basis = st.segmented_control(
    "The instrument shows it at", ["line pressure", "atmospheric pressure"], default="line pressure", key="spot_basis"
)
limit = st.number_input("Limit, pressure dew point [°C]", value=-40.0, step=1.0, key="spot_limit")
with st.expander("Instrument and air"):
    uncertainty = st.number_input("Uncertainty, k = 2 [K]", min_value=0.0, value=2.0, step=0.1, key="spot_u")
    over = st.segmented_control("Below 0 °C over", ["ice", "water"], default="ice", key="spot_over")
    gas = st.number_input("Air temperature [°C]", value=20.0, step=1.0, key="spot_gas")
    barometer = st.number_input("Barometer [bar]", 0.5, 1.1, 1.01325, step=0.001, format="%.4f", key="spot_barometer")
    ideal = st.toggle("Ideal gas, as printed tables reckon", key="spot_ideal")

try:
    result = spot_check(
        value,
        UNITS[unit],
        pressure / display.line_pressure(1.0),
        basis="atmospheric" if basis == "atmospheric pressure" else "pressure",
        barometer_bar=barometer,
        gas_temperature_c=gas,
        over=over or "ice",
        ideal=ideal,
        limit_c=limit,
        uncertainty_c=uncertainty,
    )
except UserError as error:
    gate.show_sentence(str(error))
    st.stop()

icon = {"pass": ":material/check_circle:", "fail": ":material/cancel:", "undecided": ":material/help:"}
verdict = result.conformity or "undecided"
rank = "no class, wetter than +10 °C" if result.purity_class is None else f"water class {result.purity_class}"
with st.container(border=True):
    st.markdown(f"### {icon[verdict]} {display.level_words(result.pressure_dew_point_c)} at line pressure")
    st.write(
        f"The air {CONFORMITY_WORDS[verdict]}: probability {display.share(result.probability_of_conformity)}."
        f" ISO 8573-1 {rank}."
    )
number = display.number
gate.show_table(
    {
        "quantity": [
            "pressure dew point",
            "atmospheric dew point",
            "dew point over water",
            "vapour pressure",
            "by volume of dry air",
            "by mass of dry air",
            "mixing ratio",
            "at the line",
            "per m³ at 20 °C, 1 bar, dry",
            "relative humidity",
        ],
        "value": [
            display.level_words(result.pressure_dew_point_c, 2),
            display.level_words(result.atmospheric_dew_point_c, 2),
            display.level_words(result.dew_point_over_water_c, 2),
            f"{number(result.vapour_pressure_pa, digits=4)} Pa",
            f"{number(result.ppmv, digits=4)} ppm",
            f"{number(result.ppmw, digits=4)} ppm",
            f"{number(result.mixing_ratio_g_kg, digits=4)} g/kg",
            f"{number(result.absolute_humidity_g_m3, digits=4)} g/m³",
            f"{number(result.reference_humidity_g_m3, digits=4)} g/m³",
            f"{number(result.relative_humidity_percent, digits=4)} %",
        ],
    }
)
for note in result.notes:
    st.caption(note)
st.caption(
    "Open the sample point slowly, with a rated coupling; never unscrew a bleed fully under pressure; close the valve"
    " before taking the probe off."
)
