"""What a manager reads: settings by their names, nothing that is not drawn, no saving before the dryer is mended."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnostics import Diagnosis
from diagnostics.estimate import Estimate
from diagnostics.report.case_rows import case_rows
from diagnostics.report.charts import energy_table, forecast_table
from diagnostics.report.content import headline, report_content, verdict
from diagnostics.report.figures import METRIC, US
from diagnostics.report.instrument import budget_rows, instrument_rows
from diagnostics.report.setting_names import MODELS, label_of, named, named_setting, turned_setting, turns
from diagnostics.report.summary import seen_lines, trend_words, worth_lines
from diagnostics.what_if import EnergyCase

KEYS = [(table, name) for table, model in MODELS.items() for name in model.model_fields if name != "tariff"]


@pytest.mark.parametrize(("table", "name"), KEYS, ids=lambda part: part)
def test_every_setting_has_a_name_without_a_key(table: str, name: str) -> None:
    for display in (METRIC, US):
        assert "_" not in label_of(name, display)
        assert f"{table}." not in named(f"Give {table}.{name}.", display)
        there, back = turns(name, display)
        assert back(there(12.5)) == pytest.approx(12.5, rel=1e-5)


def test_a_setting_is_named_and_turned_for_the_reader() -> None:
    assert named_setting("site.barometric_pressure_bar", US) == "Site: Barometric pressure [psi absolute]"
    # 1 atm is 14.6959 psi (NIST SP 811, table B.8: 101 325 Pa over 6 894.757 Pa a psi).
    assert turned_setting("site.barometric_pressure_bar", 1.01325, US) == pytest.approx(14.6959, abs=1e-4)
    assert turned_setting("dryer.desiccant", "activated_alumina", METRIC) == "activated alumina"
    assert named("blocks ([[profile]]) narrow them", METRIC) == "blocks narrow them"
    assert named("give dryer.no_such_key", METRIC) == "give dryer.no_such_key"
    assert named("needs economics.retrofit_cost", METRIC, tab=False) == "needs “Cost of the control, installed”"


def stopped(diagnosis: Diagnosis) -> Diagnosis:
    return replace(
        diagnosis, cycle=replace(diagnosis.cycle, control="stopped", stopped_s=diagnosis.screened.log.time_s[-1])
    )


def controlled(diagnosis: Diagnosis) -> Diagnosis:
    share = Estimate(0.5, 0.4, 0.6)
    trend = replace(diagnosis.trend, verdict="too_short")
    switching = replace(diagnosis.switching, already_saved_share=share)
    payback = replace(diagnosis.payback, cash_flow=())
    cycle = replace(diagnosis.cycle, control="dew_point")
    return replace(diagnosis, cycle=cycle, switching=switching, trend=trend, payback=payback)


def test_a_saving_waits_for_the_mend(diagnosis: Diagnosis) -> None:
    labels = [label for label, _, _ in headline(stopped(diagnosis), METRIC)]
    assert "Once mended, switching saves a year" in labels
    assert "Once mended, pays back in" in labels
    told = {line.topic: line.text for line in worth_lines(stopped(diagnosis))}
    assert told["Switching"].endswith("first mend what stopped the switching")
    assert told["Payback"].endswith("first mend what stopped the switching")
    assert not any("mended" in label for label, _, _ in headline(diagnosis, METRIC))


def test_control_at_work_is_told_without_noughts(diagnosis: Diagnosis) -> None:
    at_work = controlled(diagnosis)
    content = report_content(at_work)
    assert content["switching"] == []
    assert not content["money"]
    assert set(energy_table(at_work)["case"]) == {"today"}
    assert ("Regenerations saved already", "50 %", "40 to 60") in content["headline"]
    assert "set point" in trend_words(at_work, METRIC)
    case = EnergyCase(at_work.plant, at_work.purge, at_work.switching, at_work.payback)
    names = [name for name, _ in case_rows(case, METRIC)]
    assert names[-1] == "Regenerations that dew-point control saves already"
    assert "Energy saved a year" not in names


def test_towers_that_cannot_be_seen_are_not_called_sound(diagnosis: Diagnosis) -> None:
    unseen = replace(diagnosis, cycle=replace(diagnosis.cycle, resolved=False, control="unresolved"), findings=())
    assert verdict(unseen, METRIC).endswith("how the towers work cannot be seen in this log.")
    assert trend_words(unseen, METRIC) == "cannot be told without half-cycles"


def test_a_trend_is_drawn_only_where_there_is_one(diagnosis: Diagnosis) -> None:
    slope = Estimate(0.3, 0.1, 0.5)
    shaped = replace(diagnosis, trend=replace(diagnosis.trend, verdict="rising", peak_dew_point_c_per_day=slope))
    assert len(forecast_table(shaped))
    assert "dashed" in report_content(shaped)["texts"]["captions"]["peaks"]
    one_stretch = replace(shaped, trend=replace(shaped.trend, verdict="steady"))
    assert not len(forecast_table(one_stretch))
    assert "dashed" not in report_content(one_stretch)["texts"]["captions"]["peaks"]
    assert "hatched" not in report_content(one_stretch)["texts"]["captions"]["curve"]


def test_cost_has_no_column_where_there_is_no_price(diagnosis: Diagnosis) -> None:
    content = report_content(diagnosis)
    priced = {len(row) for row in content["levers"]}
    assert priced == {3}
    free = replace(diagnosis, switching=replace(diagnosis.switching, price_per_kwh=None))
    content = report_content(free)
    assert {len(row) for row in content["levers"]} == {2}
    assert len(content["texts"]["columns"]["levers"]) == 2


def test_uncertainty_follows_the_readers_unit(diagnosis: Diagnosis) -> None:
    # A kelvin is 1.8 °F of difference (NIST SP 811, B.8); U of the example is 2 K.
    assert dict(budget_rows(diagnosis, METRIC))["U, k = 2"] == "2.00"
    assert dict(budget_rows(diagnosis, US))["U, k = 2"] == "3.60"
    assert dict(budget_rows(diagnosis, US))["drift since calibration"] == "not known"
    assert dict(instrument_rows(diagnosis, US))["Stated uncertainty"].startswith("± 3.6 °F, k = 2")
    assert "± 3.6 °F at the 95th percentile" in seen_lines(diagnosis, US)[0].text
    assert report_content(diagnosis, display=US)["texts"]["captions"]["budget"].endswith("[°F]")
    assert "guard band of ± 3.6 °F" in report_content(diagnosis, display=US)["method"]
    assert "[K]" in report_content(diagnosis)["texts"]["captions"]["budget"]


@pytest.mark.parametrize("method", ["tail", "prior", "prior and tail", "purge balance", "passed", "none"])
def test_what_a_margin_rests_on_is_said_in_words(method: str, diagnosis: Diagnosis) -> None:
    told = replace(diagnosis, breakthrough=replace(diagnosis.breakthrough, method=method))
    assert f"Margin: {method}." not in report_content(told)["method"]


def test_a_tower_that_comes_back_wet_is_mended_before_anything_is_saved(diagnosis: Diagnosis) -> None:
    wet = replace(diagnosis.findings[0], code="regeneration_failure")
    told = replace(diagnosis, findings=(wet,))
    assert worth_lines(told)[1].text.endswith("first mend the tower that comes back wet")
    assert any(label.startswith("Once mended") for label, *_ in headline(told, METRIC))
    assert not any(label.startswith("Once mended") for label, *_ in headline(diagnosis, METRIC))
