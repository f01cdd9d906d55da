"""Titles, units and moistures: what a column is and what its numbers mean in house units."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diagnostics.air.uncertainty import uncertainty_budget
from diagnostics.log.basis import as_the_log_has_it
from diagnostics.log.reading import read_log
from diagnostics.log.screening import screen
from diagnostics.log.titles import quantity_of
from diagnostics.log.units import FLOW_STATES, parse_unit, split_title
from diagnostics.plant import plant_from
from tests.log.reencoded import clean_log, read_bytes, refusal, text

# Words of the trade in each language: common practice, no published source.
TITLES = {
    "dew_point": (
        "Dew point [°C];Pressure dew point °Ctd;dew_point_c;PDP (°C);Td [°C];Frost point;DP [°C];Taupunkt;"
        "Drucktaupunkt [°C];Taupunkt / °C;Point de rosée (°C);Punto de rocío [°C];Punto di rugiada;Ponto de orvalho;"
        "Drukdauwpunt;Tryckdaggpunkt;Trykduggpunkt;Trykdugpunkt;Painekastepiste;Punkt rosy;Tlakový rosný bod;Rosný bod;"
        "Harmatpont;Punct de rouă;Rosišče;Точка росы;Точка роси;Σημείο δρόσου;Çiy noktası;露点"
    ),
    "temperature": "Temperature;Air temperature [°C];T [°C];Lufttemperatur;Température de l'air;Outlet temp;Temp °F",
    "inlet_temperature": "Inlet temperature [°C];T_inlet;Eintrittstemperatur;Température d'entrée;Temperatura entrada",
    "ambient_temperature": "Ambient temperature;Umgebungstemperatur [°C];T_amb;Room temp;Omgevingstemperatuur [°C]",
    "pressure": "Pressure [bar(g)];Netzdruck;Pression (bar);Presión [bar];Tryck;Ciśnienie [bar];Line pressure psig",
    "flow": "Flow [m3/min];Volumenstrom [m³/h];Débit (Nm3/h);Caudal [l/s];Portata;Debiet;Flow scfm;Przepływ [m3/h]",
    "purge_flow": "Purge flow [m3/min];Purge air flow;Spülluft [m³/h];Caudal de purga [l/s]",
    "tower": "Tower;Active tower;Turm;Torre;Drying vessel;Colonne",
    "power": "Power [kW];Leistung [kW];Puissance (kW);Potencia kW;Compressor power",
    "relative_humidity": "Relative humidity [%];RH;Feuchte [%rF];Humidité relative (%);Umidità relativa",
    "water_content": "Moisture [ppmv];H2O ppm;Water content [g/m³];Absolute Feuchte (g/m³);Wassergehalt [mg/m³]",
    "vapour_pressure": "Vapour pressure [Pa];vapor_pressure_kPa;Dampfdruck [hPa]",
    None: (
        "DV_pressure;TP2;Oil_temperature;Motor_current;Differential pressure [mbar];Dew point alarm;Dew point setting;"
        "CO2 [ppm];Inlet dew point [°C];Tower A temperature [°C];Wind speed;Battery [V];Oil [mg/m3];Cooling water flow"
    ),
}


@pytest.mark.parametrize(("quantity", "titles"), TITLES.items())
def test_titles_of_the_trade(quantity: str | None, titles: str) -> None:
    found = {title: quantity_of(*split_title(title)) for title in titles.split(";")}
    assert {title: got for title, got in found.items() if got != quantity} == {}


@pytest.mark.parametrize(
    ("text_", "name", "factor", "reference"),
    [
        # NIST SP 811 (2008), table B.8: psi 6.894757 kPa; kgf/cm2 98.0665 kPa; cfm 4.719474e-4 m3/s.
        ("psi", "psi", 0.06894757, ""),
        ("psig", "psi_g", 0.06894757, "gauge"),
        ("psia", "psi_a", 0.06894757, "absolute"),
        ("kgf/cm2", "kgf/cm2", 0.980665, ""),
        ("cfm", "cfm", 4.719474e-4 * 60, ""),
        ("bar(ü)", "bar_g", 1.0, "gauge"),
        ("bar abs", "bar_a", 1.0, "absolute"),
        ("MPa", "MPa", 10.0, ""),
        ("hPa", "hPa", 1e-3, ""),
        ("Nm³/h", "Nm3/h", 1 / 60, "0C_1.01325bar"),
        ("l/s", "l/s", 0.06, ""),
        ("m³ per hour", "m3/hour", 1 / 60, ""),
    ],
)
def test_units(text_: str, name: str, factor: float, reference: str) -> None:
    unit = parse_unit(text_)
    assert unit is not None
    assert (unit.name, unit.reference) == (name, reference)
    assert unit.factor == pytest.approx(factor, rel=2e-7)


def _log(tmp_path: Path, titles: str, cells: str, plant: dict[str, object] | None = None, **options: object):  # type: ignore[no-untyped-def]
    rows = [f"2026-01-13 {h:02d}:{m:02d}:00,{cells}" for h in range(4) for m in range(0, 60, 5)]
    data = "\n".join([f"Time,{titles}", *rows]).encode()
    return read_bytes(tmp_path, "log.csv", data, plant_from(plant or {}), **options)


@pytest.mark.parametrize(
    ("title", "cell", "bar_g"),
    [
        ("Pressure [bar(g)]", "7.0", 7.0),
        ("Pressure [bar abs]", "8.0", 7.0),
        ("Pressure [kPa]", "700", 7.0),
        ("Pressure [MPa(a)]", "0.8", 7.0),
        ("Pressure psig", "101.526", 7.0),
        ("Pressure", "7.0", 7.0),
        ("Pressure", "101.526", 7.0),
        ("Druck [mbar]", "1000", 0.0),
    ],
)
def test_pressure_is_brought_to_bar_gauge(title: str, cell: str, bar_g: float, tmp_path: Path) -> None:
    log = _log(tmp_path, f"Dew point,{title}", f"-60,{cell}", {"site": {"barometric_pressure_bar": 1.0}})
    np.testing.assert_allclose(log.channels["pressure"], bar_g, atol=1e-4)


@pytest.mark.parametrize(
    ("title", "measurement", "m3_min"),
    [
        ("Flow [m3/min]", {}, 6.0),
        ("Flow [m3/h]", {}, 0.1),
        ("Flow [l/s]", {}, 0.36),
        ("Flow cfm", {}, 6 * 0.3048**3),
        # DIN 1343: 0 degC, 1.01325 bar; ideal gas to 20 degC, 1 bar: 1.01325 x 293.15 / 273.15.
        ("Flow [Nm3/min]", {}, 6.0 * 1.01325 * 293.15 / 273.15),
        ("Flow [m3/min]", {"flow_reference": "0C_1.01325bar"}, 6.0 * 1.01325 * 293.15 / 273.15),
        ("Flow [m3/min]", {"flow_reference": "15C_1.01325bar"}, 6.0 * 1.01325 * 293.15 / 288.15),
        ("Flow [m3/min]", {"flow_reference": "actual"}, 6.0 * 8.01325 * 293.15 / 303.15),
    ],
)
def test_flow_is_brought_to_20_degc_1_bar(title: str, measurement: dict, m3_min: float, tmp_path: Path) -> None:
    titles = f"Dew point,{title},Pressure [bar(g)],Inlet temperature [°C]"
    log = _log(tmp_path, titles, "-60,6,7.0,30", {"measurement": measurement})
    np.testing.assert_allclose(log.channels["flow"], m3_min, rtol=1e-9)
    assert FLOW_STATES["20C_1bar"] == (293.15, 1.0)


# IAPWS ice saturation (R14-08) at -40 degC: 12.841 Pa; at 8 bar abs with f about 1.045 that is 16.8 ppmv.
@pytest.mark.parametrize(
    ("titles", "cells", "unit"),
    [
        ("Moisture [ppmv]", "16.77", "ppmv"),
        ("Water content [ppmw]", "10.43", "ppmw"),
        ("Mixing ratio moisture [g/kg]", "0.01043", "g_kg"),
        ("Vapour pressure [Pa]", "13.42", "Pa"),
        ("Absolute humidity [g/m3],Air temperature [°C]", "0.0992,20", "g_m3"),
        ("Absolute humidity [mg/m3],Air temperature [°C]", "99.2,20", "mg_m3"),
        # Over water at 20 degC: 2339 Pa (IAPWS R7-97), f about 1.026 at 8 bar: 13.42 / (2339 x 1.026) = 0.559 %.
        ("Relative humidity [%],Air temperature [°C]", "0.559,20", "percent_rh"),
    ],
)
def test_any_moisture_becomes_the_frost_point_of_the_line(titles: str, cells: str, unit: str, tmp_path: Path) -> None:
    plant = {"measurement": {"pressure_bar_g": 6.98675}}
    log = _log(tmp_path, titles, cells, plant)
    np.testing.assert_allclose(log.channels["dew_point"], -40.0, atol=0.15)
    assert log.moisture_basis == "line"
    assert log.moisture_unit == unit == log.columns["dew_point"].unit
    assert any("reckoned from" in note for note in log.notes)


def test_a_dew_point_stays_as_logged(tmp_path: Path) -> None:
    log = _log(tmp_path, "Atmospheric dew point [°C]", "-58.2", {"measurement": {"basis": "atmospheric"}})
    np.testing.assert_array_equal(log.channels["dew_point"], -58.2)
    assert (log.moisture_basis, log.titled_basis) == ("as_logged", "atmospheric")


def test_an_atmospheric_title_is_followed_where_the_plant_file_is_silent(tmp_path: Path) -> None:
    """IAPWS R14-08: 1.69 Pa at -56.6 °C; 8 / 1.01325 times as much is 13.4 Pa, f e at -40 °C and 8 bar absolute."""
    log = _log(tmp_path, "Atmospheric dew point [°C]", "-56.6")
    assert any("the title was followed" in note for note in log.notes)
    screened = screen(log, plant_from({"measurement": {"pressure_bar_g": 6.98675}}))
    assert np.nanmedian(screened.dew_point_c) == pytest.approx(-40.0, abs=0.2)
    assert not [s for s in screened.signs if s.code == "pressure_mismatch"]
    assert screened.basis == "atmospheric"


@pytest.mark.parametrize(
    ("titles", "cells", "listed"),
    [
        ("Atmospheric dew point [°C]", "-58.2", ["atmospheric"]),
        ("Pressure dew point [°C]", "-40.2", ["pressure"]),
        ("Dew point [°C]", "-40.2", ["pressure"]),
        ("Water content [ppmv]", "16.74", []),
    ],
)
def test_the_basis_is_listed_as_it_was_taken(titles: str, cells: str, listed: list[str], tmp_path: Path) -> None:
    log = _log(tmp_path, titles, cells)
    found = [as_the_log_has_it(item, log) for item in plant_from({}).assumptions]
    assert [item.value for item in found if item is not None and item.key == "measurement.basis"] == listed
    assert len(found) == len(plant_from({}).assumptions)


def test_what_a_title_says_of_the_pressure_reaches_the_uncertainty(tmp_path: Path) -> None:
    """A title that says atmospheric counts as much as the plant file's word for it."""
    widths = []
    for title, stated in (("Dew point", "atmospheric"), ("Atmospheric dew point", None), ("Dew point", None)):
        plant = plant_from({"measurement": {"pressure_bar_g": 7.0, **({"basis": stated} if stated else {})}})
        screened = screen(_log(tmp_path, f"{title} [°C]", "-56.6"), plant)
        budget = uncertainty_budget(-40.0, plant, basis=screened.basis)
        widths.append((budget.probe_k, budget.pressure_k))
    assert widths[0] == widths[1]
    assert widths[1][0] > widths[2][0]


@pytest.mark.parametrize(("title", "stated"), [("Atmospheric", "pressure"), ("Pressure", "atmospheric")])
def test_a_title_against_the_plant_file_is_a_sign(title: str, stated: str, tmp_path: Path) -> None:
    log = _log(tmp_path, f"{title} dew point [°C]", "-58.2")
    signs = screen(log, plant_from({"measurement": {"basis": stated}})).signs
    assert [s.sentence for s in signs if "the plant file was followed" in s.sentence]


@pytest.mark.parametrize(
    ("titles", "page"),
    [
        ("Czas;Punkt rosy [°C];Ciśnienie [bar];Przepływ [m3/h]", "cp1250"),
        ("Время;Точка росы [°C];Давление [бар];Расход [м3/ч]", "cp1251"),
        ("Время;Точка росы, °C;Давление, бар;Расход, м3/ч", "koi8-r"),
        ("Ώρα;Σημείο δρόσου [°C];Πίεση [bar];Παροχή [m3/h]", "cp1253"),
        ("Zaman;Çiy noktası [°C];Basınç [bar];Akış [m3/h]", "cp1254"),
        ("Heure;Point de rosée [°C];Pression [bar];Débit [m3/h]", "cp1252"),
        ("Zeit;Taupunkt [°C];Druck [bar];Durchfluß [m3/h]", "cp850"),
    ],
)
@pytest.mark.parametrize("unicode", [True, False])
def test_titles_in_a_code_page_of_their_own(titles: str, page: str, unicode: bool, tmp_path: Path) -> None:
    rows = "".join(f"2026-01-13 07:{m:02d}:00;-40,{m:02d};7,01;600,5\n" for m in range(60))
    path = tmp_path / "log.csv"
    path.write_bytes(f"{titles}\n{rows}".encode("utf-8" if unicode else page))
    log = read_log(path, plant_from({}))
    assert set(log.channels) == {"dew_point", "pressure", "flow"}
    assert log.columns["dew_point"].header == titles.split(";")[1]
    assert log.columns["flow"].unit == "m3/h"
    np.testing.assert_allclose(log.channels["flow"], 600.5 / 60.0)


def test_humidity_needs_its_temperature(tmp_path: Path) -> None:
    data = b"Time,RH [%]\n" + b"".join(b"2026-01-13 07:%02d:00,0.5\n" % m for m in range(60))
    assert "--column temperature=HEADER" in refusal(tmp_path, "log.csv", data)


def test_several_dew_points_the_choice_is_told(tmp_path: Path) -> None:
    log = _log(tmp_path, "Atmospheric dew point [°C],Pressure dew point [°C],RH [%]", "-58,-40,0.5")
    assert log.columns["dew_point"].header == "Pressure dew point [°C]"
    assert any("Several columns" in note for note in log.notes)
    assert log.other["Atmospheric dew point [°C]"][0] == -58.0
    assert log.other["RH [%]"][0] == 0.5


def test_the_users_word_comes_first(tmp_path: Path) -> None:
    log = _log(tmp_path, "Dew point,Probe 7", "-60,-41", columns={"dew_point": "probe 7"})
    assert log.channels["dew_point"][0] == -41.0
    from_file = _log(tmp_path, "Dew point,Probe 7", "-60,-41", {"log": {"columns": {"dew_point": "Probe 7"}}})
    assert from_file.channels["dew_point"][0] == -41.0
    units = _log(tmp_path, "Dew point", "-40", {"log": {"units": {"dew_point": "degF"}}})
    assert units.channels["dew_point"][0] == pytest.approx(-40.0)
    assert units.columns["dew_point"].unit == "degF"


def test_a_misspelt_column_is_answered_with_the_nearest(tmp_path: Path) -> None:
    clean = clean_log(50)
    path = tmp_path / "log.csv"
    path.write_bytes(text(clean))
    from diagnostics.errors import InputError
    from diagnostics.log.reading import read_log

    with pytest.raises(InputError, match=r"no column 'Dew pont \[°C\]' for dew_point; did you mean 'Dew point \[°C\]'"):
        read_log(path, plant_from({}), columns={"dew_point": "Dew pont [°C]"})


@pytest.mark.parametrize(
    ("words", "levels"),
    [("AB", (0, 1)), ("12", (0, 1)), ("01", (0, 1)), (("left", "right"), (0, 1)), (("Turm 2", "Turm 1"), (1, 0))],
)
def test_which_tower_dries(words: tuple[str, str], levels: tuple[int, int], tmp_path: Path) -> None:
    rows = [f"2026-01-13 07:{m:02d}:00,-60,{words[m // 5 % 2]}" for m in range(60)]
    data = "\n".join(["Time,Dew point,Tower", *rows]).encode()
    log = read_bytes(tmp_path, "log.csv", data, plant_from({}))
    np.testing.assert_array_equal(log.channels["tower"], [levels[m // 5 % 2] for m in range(60)])


@pytest.mark.parametrize(
    "word",
    [
        "---",
        "OL",
        "ERR",
        "N/A",
        "NaN",
        "#N/A",
        "Fehler",
        "over range",
        "-999.9",
        "9999",
        "-9999",
        "-7999",
        "32767",
        "1e20",
    ],
)
def test_words_and_codes_for_no_reading(word: str, tmp_path: Path) -> None:
    rows = [f"2026-01-13 07:{m:02d}:00,{word if m % 10 == 3 else f'{-60 + 0.1 * m:.1f}'}" for m in range(60)]
    data = "\n".join(["Time,Dew point [°C]", *rows]).encode()
    log = read_bytes(tmp_path, "log.csv", data, plant_from({}))
    assert log.samples == 60
    assert np.isnan(log.channels["dew_point"]).sum() == 6
    assert log.cells_missing == 6
    assert np.nanmin(log.channels["dew_point"]) == pytest.approx(-60.0)


def test_a_true_end_of_range_is_no_code(tmp_path: Path) -> None:
    rows = [f"2026-01-13 07:{m:02d}:00,{max(-100.0, -90.0 - m):.1f}" for m in range(60)]
    log = read_bytes(tmp_path, "log.csv", "\n".join(["Time,Dew point [°C]", *rows]).encode(), plant_from({}))
    assert np.isfinite(log.channels["dew_point"]).all()


def test_readings_below_the_range_keep_their_bound(tmp_path: Path) -> None:
    rows = [f"2026-01-13 07:{m:02d}:00,{'<-80.0' if m > 30 else -70.0}" for m in range(60)]
    log = read_bytes(tmp_path, "log.csv", "\n".join(["Time,Dew point [°C]", *rows]).encode(), plant_from({}))
    assert log.channels["dew_point"][-1] == -80.0
    assert any("bound" in note for note in log.notes)


@pytest.mark.parametrize("title", ["DP", "°C", "Value", "Channel 1 [°C]"])
def test_a_title_that_says_little_over_numbers_that_say_enough(title: str, tmp_path: Path) -> None:
    rows = [f"2026-01-13 07:{m:02d}:00,{-60 + 0.1 * m:.1f},{3.6 - 0.001 * m:.3f}" for m in range(60)]
    data = "\n".join([f"Time,{title},Battery [V]", *rows]).encode()
    log = read_bytes(tmp_path, "log.csv", data, plant_from({}))
    assert log.columns["dew_point"].header == title
    assert any("by its numbers" in note for note in log.notes)


def test_a_pressure_drop_titled_dp_is_no_dew_point(tmp_path: Path) -> None:
    data = b"Time,DP\n" + b"".join(b"2026-01-13 07:%02d:00,0.2%d\n" % (m, m % 10) for m in range(60))
    assert "no dew point" in refusal(tmp_path, "log.csv", data)


def test_air_outdoors_in_a_unit_that_no_title_names(tmp_path: Path) -> None:
    log = _log(tmp_path, "Dew point,Temp,RH,Pressure", "28.04,37.04,69.63,1022.4")
    # Temperature, dew point and relative humidity agree in degF alone (Magnus: 37.04/28.04 degC would be 60 %).
    assert log.columns["dew_point"].unit == log.columns["temperature"].unit == "degF"
    assert log.columns["pressure"].unit == "hPa_a"
