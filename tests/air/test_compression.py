"""Work of compression against the form of ISO 1217's annex and real air from CoolProp."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI

from diagnostics.air.compression import isentropic_kw_per_m3_min, isothermal_kw_per_m3_min, power_ratio
from tests.reference.energy_rows import agrees, row, rows


@pytest.mark.parametrize("case", rows("isentropic_specific_power_ideal"))
def test_isentropic(case: dict) -> None:
    # ISO 1217 annex form
    assert agrees(isentropic_kw_per_m3_min(case["inputs"]["ratio"]), case)


@pytest.mark.parametrize("case", rows("isothermal_specific_power_ideal"))
def test_isothermal(case: dict) -> None:
    assert agrees(isothermal_kw_per_m3_min(case["inputs"]["ratio"]), case)


@pytest.mark.parametrize("case", rows("isentropic_specific_power_real_air", "isothermal_specific_power_real_air"))
def test_ideal_gas_is_close_to_real_air(case: dict) -> None:
    # CoolProp Air at 20 degC, 1 bar; the ideal gas departs by up to 0.15 % at 11 bar
    of = isentropic_kw_per_m3_min if "isentropic" in case["name"] else isothermal_kw_per_m3_min
    assert of(case["inputs"]["ratio"]) == pytest.approx(case["expected"], rel=1.5e-3)


@pytest.mark.parametrize("ratio", [2.0, 5.0, 12.0])
def test_isentropic_work_of_real_air(ratio: float) -> None:
    # CoolProp, enthalpy difference at constant entropy
    h1, s1 = (PropsSI(key, "T", 293.15, "P", 1e5, "Air") for key in ("H", "S"))
    h2 = PropsSI("H", "P", ratio * 1e5, "S", s1, "Air")
    kg_per_m3 = PropsSI("D", "T", 293.15, "P", 1e5, "Air")
    assert isentropic_kw_per_m3_min(ratio) == pytest.approx((h2 - h1) * kg_per_m3 / 60e3, rel=2e-3)


@pytest.mark.parametrize("case", rows("isentropic_power_change_per_bar", "isothermal_power_change_per_bar"))
def test_change_per_bar(case: dict) -> None:
    # central difference over 1 bar around the ratio
    ratio = case["inputs"]["ratio"]
    of = isentropic_kw_per_m3_min if "isentropic" in case["name"] else isothermal_kw_per_m3_min
    change = (of(ratio + 0.5) - of(ratio - 0.5)) / of(ratio)
    assert change == pytest.approx(case["expected"], rel=2e-3)


def test_rule_of_thumb_lies_between_the_theories() -> None:
    # 1 % per 2 psi, a rule of the trade, against theory at 7 bar g
    rule = row("one_percent_per_2psi_in_bar")["expected"]
    assert rule == pytest.approx(0.01 / (2 * 0.0689476), rel=1e-5)
    assert 0.060 < rule < power_ratio(8.51325, 8.01325) ** 2 - 1.0 + 0.01


def test_specific_power_of_a_trade_article() -> None:
    # 25 kW per 100 cfm (0.3048 m cubed), read in a trade article
    assert agrees(25.0 / (100.0 * 0.3048**3), row("25kW_per_100cfm_in_SI"))


def test_power_ratio_is_one_at_equal_pressure_and_grows() -> None:
    assert power_ratio(8.0, 8.0) == 1.0
    assert power_ratio(7.0, 8.0) < 1.0 < power_ratio(9.0, 8.0)


@pytest.mark.parametrize(("ratio", "inlet"), [(0.9, 1.0), (500.0, 1.0), (8.0, 0.0)])
def test_impossible_inputs_are_refused(ratio: float, inlet: float) -> None:
    with pytest.raises(ValueError, match="outside"):
        isentropic_kw_per_m3_min(ratio, inlet)
