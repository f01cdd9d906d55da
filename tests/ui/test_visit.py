"""What a visit remembers, corrects and shows in the reader's units."""

from __future__ import annotations

import io
import json
import re
import threading

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from diagnostics import diagnose, read_log
from diagnostics.log.record import Upload
from diagnostics.plant import plant_from
from diagnostics.what_if import what_if
from tests.logs import saw_tooth
from tests.ui.conftest import SCREENS, words


def test_units_and_number_format_hold_on_every_page(good: AppTest) -> None:
    good.selectbox(key="hold_units").select("°F, psi, cfm").run()
    good.selectbox(key="hold_numbers").select("1.234,5").run()
    good.switch_page("screens/the_dryer.py").run()
    assert "°F" in words(good)
    assert "limit −40 °F" in words(good), "−40 °C and −40 °F are the same level"
    good.switch_page("screens/the_plant.py").run()
    assert good.session_state["hold_units"] == "°F, psi, cfm"
    label = next(item.label for item in good.text_input if item.label.startswith("Dew point limit"))
    assert label == "Dew point limit [°F]"
    good.switch_page("screens/payback.py").run()
    assert not good.exception
    assert "," in words(good)


def test_a_setting_tried_survives_a_change_of_page_and_equals_the_engine(good: AppTest, log_bytes: bytes) -> None:
    good.switch_page("screens/what_if.py").run()
    good.slider(key="try_slider_dryer.dew_point_limit_c_C").set_value(-30.0).run()
    shown = good.table[0].value
    plant = plant_from(json.loads(good.session_state["kept_plant"]))
    diagnosis = diagnose(read_log(Upload("log.csv", log_bytes), plant), plant)
    after = what_if(diagnosis, {"dryer.dew_point_limit_c": -30.0}).after
    from diagnostics.report.figures import METRIC

    assert shown.loc["Regenerations saved", "after"] == METRIC.percent(
        after.switching.figures.regenerations_saved_share
    ).replace("(", "\\(").replace(")", "\\)")
    good.switch_page("screens/payback.py").run()
    good.switch_page("screens/what_if.py").run()
    assert good.slider(key="try_slider_dryer.dew_point_limit_c_C").value == -30.0
    assert next(item for item in good.text_input if item.label.startswith("Dew point limit")).value == "-30"
    good.button(key="back_to_today").click().run()
    assert good.slider(key="try_slider_dryer.dew_point_limit_c_C").value == -40.0


def test_slider_and_field_move_together(good: AppTest) -> None:
    good.switch_page("screens/what_if.py").run()
    next(item for item in good.text_input if item.label.startswith("Hours a year")).set_value("4,000").run()
    assert good.slider(key="try_slider_operation.hours_per_year_").value == 4000.0


def test_edits_of_the_plant_outlive_the_page_before_they_are_used(good: AppTest) -> None:
    good.switch_page("screens/the_plant.py").run()
    field = next(item for item in good.text_input if item.label.startswith("Rated flow"))
    field.set_value("12.5").run()
    assert "Changed, not used yet." in words(good)
    good.switch_page("screens/payback.py").run()
    good.switch_page("screens/the_plant.py").run()
    assert next(item for item in good.text_input if item.label.startswith("Rated flow")).value == "12.5"
    good.button(key="plant_use").click().run()
    assert json.loads(good.session_state["kept_plant"])["dryer"]["rated_flow_m3_min"] == 12.5


def test_edits_of_the_plant_outlive_a_change_of_units_before_they_are_used(good: AppTest) -> None:
    def field(visit: AppTest, label: str):
        return next(item for item in visit.text_input if item.label.startswith(label))

    good.switch_page("screens/the_plant.py").run()
    assert "These settings are in use." in words(good)
    field(good, "Rated flow").set_value("12.5").run()
    field(good, "Dew point limit").set_value("-30").run()
    good.selectbox(key="hold_units").select("°F, psi, cfm").run()
    assert field(good, "Rated flow").label == "Rated flow [cfm]"
    assert float(field(good, "Rated flow").value) == pytest.approx(12.5 / 0.028316846592, rel=1e-6)
    assert float(field(good, "Dew point limit").value) == pytest.approx(-22.0)
    assert "Changed, not used yet." in words(good)
    field(good, "Dew point limit").set_value("-40").run()
    good.selectbox(key="hold_units").select("°C, bar, m³/min").run()
    assert float(field(good, "Rated flow").value) == pytest.approx(12.5, rel=1e-6)
    assert float(field(good, "Dew point limit").value) == pytest.approx(-40.0)
    good.button(key="plant_use").click().run()
    assert json.loads(good.session_state["kept_plant"])["dryer"]["rated_flow_m3_min"] == pytest.approx(12.5, rel=1e-6)


def test_a_change_of_units_alone_changes_no_setting(good: AppTest) -> None:
    good.switch_page("screens/the_plant.py").run()
    for units in ("°F, psi, cfm", "°C, bar, m³/min"):
        good.selectbox(key="hold_units").select(units).run()
        assert "These settings are in use." in words(good)


METRIC_LEFT = re.compile(r"\d ?(?:°C|bar\b|m³/min|K\b(?! per K))")


@pytest.mark.parametrize("screen", SCREENS)
def test_no_quantity_stays_metric_where_other_units_are_chosen(good: AppTest, screen: str) -> None:
    good.switch_page(f"screens/{screen}.py").run()
    assert screen not in ("the_dryer", "payback") or METRIC_LEFT.search(words(good))
    good.selectbox(key="hold_units").select("°F, psi, cfm").run()
    text = words(good) + "\n" + "\n".join(good_table(table) for table in good.table)
    assert not METRIC_LEFT.search(text), METRIC_LEFT.findall(text)


def good_table(table) -> str:
    return table.value.to_csv()


def test_an_impossible_setting_is_told_at_its_field_and_not_taken(good: AppTest) -> None:
    good.switch_page("screens/the_plant.py").run()
    next(item for item in good.text_input if item.label.startswith("Purge share")).set_value("3").run()
    assert words(good).count("must be 1 or less") == 2
    assert good.button(key="plant_use").disabled


def test_a_wrong_column_is_corrected(upload) -> None:
    table = saw_tooth(days=0.5)
    table["Dew point 2 [°C]"] = table["Dew point [°C]"] + 7.0
    stream = io.BytesIO()
    table.to_csv(stream, index=False)
    visit = upload(stream.getvalue())
    before = visit.table[0].value
    chosen = str(before.loc["dew point", "column"]).replace("\\", "")
    other = next(title for title in ("Dew point [°C]", "Dew point 2 [°C]") if title != chosen)
    visit.selectbox(key="answer_column_dew_point").select(other)
    next(button for button in visit.button if button.label == "Read the log again").click().run()
    assert not visit.exception
    assert str(visit.table[0].value.loc["dew point", "column"]).replace("\\", "") == other


def test_basis_and_zone_are_corrected(good: AppTest) -> None:
    good.selectbox(key="answer_basis").select("atmospheric pressure")
    good.selectbox(key="answer_timezone").select("Europe/Berlin")
    next(button for button in good.button if button.label == "Read the log again").click().run()
    tables = json.loads(good.session_state["kept_plant"])
    assert tables["measurement"]["basis"] == "atmospheric"
    assert "Time zone: Europe/Berlin" in words(good)


def test_a_unit_is_corrected(good: AppTest) -> None:
    good.selectbox(key="answer_unit_dew_point").select("degF")
    next(button for button in good.button if button.label == "Read the log again").click().run()
    assert good.table[0].value.loc["dew point", "unit"] == "°F"


def test_a_stretch_is_set_aside_and_taken_back(good: AppTest) -> None:
    start = pd.Timestamp("2026-03-02 09:00").to_pydatetime()
    good.datetime_input(key="aside_from").set_value(start)
    good.datetime_input(key="aside_to").set_value(start.replace(hour=10))
    next(button for button in good.button if button.label == "Set aside").click().run()
    assert not good.exception
    assert "1,319 used" in words(good), "120 readings an hour, both ends included"
    good.button(key="undo_corrections").click().run()
    assert "1,440 used" in words(good)


def state_of(visit: AppTest, key: str) -> object:
    return visit.session_state[key]


@pytest.mark.parametrize(
    "text",
    ["<script>alert(1)</script>", '<img src=x onerror="alert(1)">', "[click](https://example.org)", "$x^2$ **bold**"],
)
def test_names_from_files_are_shown_as_they_stand(visit: AppTest, upload, text: str) -> None:
    table = saw_tooth(days=0.25).rename(columns={"Dew point [°C]": f"Dew point {text}"})
    stream = io.BytesIO()
    table.to_csv(stream, index=False)
    visit.file_uploader(key="plant_file").set_value(
        ("plant.toml", f"[site]\nname = {json.dumps(text)}\n".encode(), "application/toml")
    )
    visit.run()
    upload(stream.getvalue())
    assert not visit.exception
    if state_of(visit, "kept_refused"):
        visit.text_input(key="name_dew_point").set_value(f"Dew point {text}")
        next(button for button in visit.button if button.label == "Try again").click().run()
    assert "What was read" in words(visit)
    for element in visit.markdown:
        assert text not in element.value
        assert not element.allow_html


def test_a_stopped_diagnosis_waits_until_it_is_wanted(good: AppTest) -> None:
    good.session_state["kept_halted"] = True
    good.run()
    assert "The diagnosis was stopped." in words(good)
    assert "What was read" in words(good)
    good.button(key="diagnose_again").click().run()
    assert "1,440 used" in words(good)


def test_several_files_are_one_log(visit: AppTest) -> None:
    table = saw_tooth(days=0.5)
    parts = [table.iloc[:700], table.iloc[700:]]
    files = [(f"part {n}.csv", part.to_csv(index=False).encode(), "text/csv") for n, part in enumerate(parts)]
    visit.file_uploader(key="log_files").set_value(files).run()
    assert not visit.exception
    assert "1,440 readings" in words(visit)


def test_charts_write_numbers_in_the_format_chosen(good: AppTest) -> None:
    good.selectbox(key="hold_numbers").select("1.234,5").run()
    for screen in ("the_log", "the_dryer", "what_if", "payback"):
        good.switch_page(f"screens/{screen}.py").run()
        charts = good.get("vega_lite_chart")
        assert charts
        for chart in charts:
            marks = json.loads(chart.proto.spec)["config"]["locale"]["number"]
            assert (marks["decimal"], marks["thousands"]) == (",", ".")


def test_the_towers_stand_beside_each_other_with_their_spread(good: AppTest, log_bytes: bytes) -> None:
    good.switch_page("screens/the_dryer.py").run()
    table = next(table.value for table in good.table if table.value.index.name == "tower")
    plant = plant_from(json.loads(good.session_state["kept_plant"]))
    rows = diagnose(read_log(Upload("log.csv", log_bytes), plant), plant).cycle.complete
    for tower, part in rows.groupby("tower"):
        low, middle, high = part["peak_dew_point_c"].quantile([0.05, 0.5, 0.95])
        said = f"{middle:.1f} °C ({low:.1f} to {high:.1f})".replace("-", "−")
        assert table.loc[tower, "peak"].replace("\\", "") == said
        assert table.loc[tower, "half-cycles"] == str(len(part))


def test_a_log_with_doubtful_dates_is_read_once_the_order_is_told(visit: AppTest, upload) -> None:
    table = saw_tooth(days=0.5)
    stamps = pd.to_datetime(table.iloc[:, 0])
    table[table.columns[0]] = (stamps - stamps.iloc[0] + pd.Timestamp("2026-04-03 06:00")).dt.strftime(
        "%m/%d/%Y %H:%M:%S"
    )
    visit = upload(table.to_csv(index=False).encode())
    assert "04/03/2026" in words(visit)
    assert "--column" not in words(visit)
    visit.selectbox(key="name_day_first").select("month first, 12/31")
    next(button for button in visit.button if button.label == "Try again").click().run()
    assert not visit.exception
    assert "2026-04-03 06:00" in words(visit)


def test_a_stop_by_another_visit_does_not_reach_this_one(good: AppTest, monkeypatch) -> None:
    """Two visits to the same log share one run of the engine; only the one that stopped it is left without."""
    from ui import cached, gate
    from ui.work import Work

    def endless(progress) -> None:
        while True:
            progress("waiting")

    stopped = Work(endless)
    stopped.stop()
    assert stopped.wait(10)
    first = iter([stopped])
    real = cached.diagnosis_work
    monkeypatch.setattr(gate.cached, "diagnosis_work", lambda *key: next(first, None) or real(*key))
    good.switch_page("screens/report.py").run()
    assert not good.exception
    assert "To read and hand on" in words(good)


def test_reading_that_was_stopped_is_taken_up_when_wanted_again(monkeypatch, log_bytes: bytes) -> None:
    from ui import cached
    from ui.work import Stopped

    real, begun = cached.read_log, threading.Event()

    def endless(*_: object, progress, **__: object) -> None:
        progress("reading without end")
        begun.set()
        while True:
            pass

    monkeypatch.setattr(cached, "read_log", endless)
    key = ("a digest of this test", "{}", "{}", (("log.csv", log_bytes),))
    work = cached.log_work(*key)
    assert begun.wait(10)
    work.stop()
    assert work.wait(10)
    assert cached.log_work(*key, again=False) is work
    monkeypatch.setattr(cached, "read_log", real)
    again = cached.log_work(*key)
    assert again is not work
    assert again.wait(30)
    assert again.result().samples == 1440
    with pytest.raises(Stopped):
        work.result()


def test_a_log_whose_reading_was_stopped_waits_until_it_is_wanted(good: AppTest, monkeypatch) -> None:
    from ui import cached, gate
    from ui.work import Work

    def endless(progress) -> None:
        while True:
            progress("waiting")

    stopped = Work(endless)
    stopped.stop()
    assert stopped.wait(10)
    real = cached.log_work
    monkeypatch.setattr(gate.cached, "log_work", lambda *key, again=True: real(*key) if again else stopped)
    good.session_state["kept_halted"] = True
    good.switch_page("screens/report.py").run()
    assert "Reading was stopped." in words(good)
    good.button(key="read_again").click().run()
    assert not good.exception
    assert "To read and hand on" in words(good)


def test_files_being_read_are_let_go_and_the_former_log_stays(good: AppTest) -> None:
    def press_stop() -> None:
        from ui import gate, state
        from ui.work import Work

        def endless(progress) -> None:
            while True:
                progress("reading big.csv")

        state.want((("big.csv", b"x"),), {}, state.plant_text())
        work = Work(endless)
        gate._stop_wanted(work)
        assert work.wait(10)

    visit = AppTest.from_function(press_stop)
    for key in ("kept_plant", "kept_files", "kept_digest"):
        visit.session_state[key] = good.session_state[key]
    visit.run()
    assert not visit.exception
    assert visit.session_state["kept_wanted"] is None
    assert visit.session_state["kept_files"] == good.session_state["kept_files"]
    assert visit.toast[0].value.startswith("Reading was stopped")


def test_fields_follow_the_number_format(good: AppTest) -> None:
    def field(label: str):
        return next(item for item in good.text_input if item.label.startswith(label))

    good.selectbox(key="hold_numbers").select("1.234,5").run()
    good.switch_page("screens/the_plant.py").run()
    field("Rated flow").set_value("12,5").run()
    good.selectbox(key="hold_numbers").select("1,234.5").run()
    assert field("Rated flow").value == "12.5"
    field("Rated flow").set_value("twelve").run()
    assert "“twelve” is not a number" in words(good)
    assert good.button(key="plant_use").disabled
    good.switch_page("screens/what_if.py").run()
    good.selectbox(key="hold_numbers").select("1.234,5").run()
    price = next(item for item in good.text_input if item.label.startswith("Electricity price"))
    assert "," in price.value
    price.set_value("0,2").run()
    slider = next(item for item in good.slider if item.label.startswith("Electricity price"))
    assert slider.value == 0.2
    field("Electricity price").set_value("cheap").run()
    assert field("Electricity price").value == "0,2"
    assert good.toast[0].value.startswith("“cheap” is not a number")
    field("Electricity price").set_value("7").run()
    assert field("Electricity price").value == "0,2"
    assert "can be tried here" in good.toast[0].value


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        (
            "name it with --column time=HEADER, and give [log] time_format.",
            "name it below, and give the form of the time.",
        ),
        ("another column with --column or its unit in [log] units.", "another column below or its unit below."),
        ("answer it with [log] day_first = true or false, or", "answer it with the order of day and month, or"),
        ("name the separator in [log] delimiter.", "name the separator below."),
    ],
)
def test_a_refusal_names_fields_and_not_keys(told: str, shown: str) -> None:
    from ui.words import with_fields

    assert with_fields(told) == shown


def test_unit_and_separator_of_a_refused_log_are_told(visit: AppTest, upload) -> None:
    table = saw_tooth(days=0.5)
    table.columns = ["Time", "Water content"]
    table["Water content"] = 20.0 + 3.0 * (table.index % 10)
    visit = upload(table.to_csv(index=False, sep=";").encode())
    assert state_of(visit, "kept_refused")
    assert "[log]" not in words(visit)
    visit.text_input(key="name_dew_point").set_value("Water content")
    visit.selectbox(key="name_unit_dew_point").select("ppmv")
    visit.selectbox(key="name_delimiter").select("semicolon")
    next(button for button in visit.button if button.label == "Try again").click().run()
    assert not visit.exception
    assert "1,440 readings" in words(visit)
    assert json.loads(str(state_of(visit, "kept_plant")))["log"]["units"] == {"dew_point": "ppmv"}
