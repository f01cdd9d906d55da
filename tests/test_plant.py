"""The plant file: what is refused, with which sentence, and what is assumed."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnostics.errors import InputError
from diagnostics.plant import load_plant, plant_from
from tests.shared_data import shared

REFUSED = [
    ({"dryer": {"purge_shar": 0.1}}, "dryer.purge_shar", "purge_share"),
    ({"dryr": {}}, "dryr", "dryer"),
    ({"dryer": {"purge_share": 1.5}}, "dryer.purge_share = 1.5", "1 or less"),
    ({"dryer": {"rated_flow_m3_min": "20"}}, "dryer.rated_flow_m3_min = '20'", "take the quotation marks away"),
    ({"dryer": {"purge_share": 15}}, "dryer.purge_share = 15", "15 % is written 0.15"),
    ({"operation": {"flow_m3_min": -3}}, "operation.flow_m3_min = -3", "0 or more"),
    ({"dryer": {"half_cycle_s": "soon"}}, "dryer.half_cycle_s", "number"),
    ({"dryer": {"control": "clock"}}, "dryer.control", "'fixed' or 'dew_point'"),
    ({"dryer": {"dew_point_limit_c": 40}}, "dryer.dew_point_limit_c = 40", "check the sign"),
    ({"dryer": {"half_cycle_s": 300, "purge_s": 400}}, "dryer.purge_s = 400", "half_cycle_s"),
    ({"dryer": {"shortest_half_cycle_s": 900, "longest_half_cycle_s": 300}}, "shortest_half_cycle_s", "exchange"),
    ({"site": {"timezone": "Mars/Base"}}, "site.timezone", "Europe/Lisbon"),
    ({"log": {"columns": {"dewpoint": "x"}}}, "log.columns.dewpoint", "'dew_point'"),
    ({"profile": [{"hours": 10, "flow_m3_min": 1}]}, "profile", "hours_per_year"),
    ({"compressor": {}, "compressors": [{}]}, "compressors", "pool"),
    ({"economics": {"tariff": [{"price": 1}]}}, "economics.tariff.0.price", "price_per_kwh"),
]


@pytest.mark.parametrize(("tables", "place", "mend"), REFUSED, ids=[r[1] for r in REFUSED])
def test_refusal_names_key_and_mend(tables: dict, place: str, mend: str) -> None:
    with pytest.raises(InputError) as refusal:
        plant_from(tables, source="plant.toml")
    sentence = str(refusal.value)
    assert sentence.startswith("plant.toml: ")
    assert place in sentence
    assert mend in sentence
    assert "\n" not in sentence


def test_toml_error_names_the_line(tmp_path: Path) -> None:
    file = tmp_path / "plant.toml"
    file.write_text("[dryer]\nhalf_cycle_s = = 3\n")
    with pytest.raises(InputError, match=r"plant\.toml.*line 2"):
        load_plant(file)


def test_missing_plant_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such plant file"):
        load_plant(tmp_path / "nowhere.toml")


def test_every_gap_filled_is_listed() -> None:
    plant = plant_from({"dryer": {"regeneration": "heated_purge", "rated_flow_m3_min": 20}})
    assumed = {item.key: item.value for item in plant.assumptions}
    assert plant.half_cycle_s == assumed["dryer.half_cycle_s"] == 14400
    for key in ("purge_share", "purge_s", "heater_s", "vessel_volume_m3", "desiccant_mass_kg", "longest_half_cycle_s"):
        assert assumed[f"dryer.{key}"] == getattr(plant.dryer, key)
    assert "dryer.regeneration" not in assumed
    assert all(item.why for item in plant.assumptions)


def test_what_is_given_is_not_assumed() -> None:
    plant = plant_from({"dryer": {"half_cycle_s": 250}, "measurement": {"pressure_bar_g": 6.2}})
    assumed = {item.key for item in plant.assumptions}
    assert not {"dryer.half_cycle_s", "measurement.pressure_bar_g"} & assumed
    assert plant.is_given("dryer.half_cycle_s")
    assert not plant.is_given("dryer.purge_share")
    assert plant.line_pressure_bar == pytest.approx(6.2 + 1.01325)


def test_dates_times_and_tables_are_read(tmp_path: Path) -> None:
    file = tmp_path / "plant.toml"
    file.write_text(
        "\ufeff[measurement]\ncalibrated_on = 2026-03-01\nuncertainty_c = [[-40, 2.0], [-70, 3.0]]\n"
        "[[economics.tariff]]\nprice_per_kwh = 0.2\nfrom = 06:00:00\nto = 22:00:00\nweekdays = [1, 2, 3, 4, 5]\n",
        encoding="utf-8",
    )
    plant = load_plant(file)
    assert plant.measurement.calibrated_on.isoformat() == "2026-03-01"
    assert plant.measurement.uncertainty_c == [(-40, 2.0), (-70, 3.0)]
    assert plant.economics.tariff[0].start.hour == 6


def test_the_contract_s_example_is_read() -> None:
    text = shared("design", "contract.md").read_text(encoding="utf-8")
    block = text.split("```toml")[1].split("```")[0]
    import tomllib

    tables = tomllib.loads(block)
    tables.pop("profile")  # the printed example shows one block of a year, not the whole of it
    plant = plant_from(tables)
    assert plant.dryer.orifice_mm == 8.0
    assert plant.compressors[0].specific_power_kw_per_m3_min == 6.2
