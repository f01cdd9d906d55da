"""The curve: what is sent to a browser stays small, nothing that matters is thinned away, the axis is local time."""

from __future__ import annotations

import io
from dataclasses import replace

import altair as alt
import numpy as np
import pytest

from diagnostics import diagnose, read_log
from diagnostics.diagnosis import Diagnosis
from diagnostics.log.record import Exclusion, Upload
from diagnostics.plant import plant_from
from diagnostics.report import charts
from diagnostics.report.chart_style import INK, LIMIT, QUIET, TIME_LABEL, TOWER_COLOURS, TREND
from diagnostics.report.figures import US
from tests.logs import saw_tooth

MILLION = 1_100_000


@pytest.fixture(scope="module")
def diagnosis() -> Diagnosis:
    plant = plant_from({"site": {"timezone": "Europe/Lisbon"}})
    content = io.BytesIO()
    saw_tooth(days=0.5).to_csv(content, index=False)
    return diagnose(read_log(Upload("a.csv", content.getvalue()), plant), plant)


@pytest.fixture(scope="module")
def long(diagnosis: Diagnosis) -> Diagnosis:
    """The same dryer with a million readings and four more channels."""
    rng = np.random.default_rng(11)
    time_s = 1.7e9 + 60.0 * np.arange(MILLION)
    values = -58.0 + np.sin(time_s / 900.0) + rng.normal(0, 0.2, MILLION)
    values[765_432] = -12.0
    names = ("dew_point", "temperature", "pressure", "flow", "inlet_temperature")
    log = replace(diagnosis.screened.log, time_s=time_s, channels=dict.fromkeys(names, values), interval_s=60.0)
    screened = replace(
        diagnosis.screened,
        log=log,
        dew_point_c=values,
        used=np.ones(MILLION, bool),
        exclusions=tuple(Exclusion(t, t + 3600.0, "frozen") for t in time_s[:: MILLION // 200]),
    )
    return replace(diagnosis, screened=screened)


def weight(chart: alt.TopLevelMixin) -> int:
    with alt.data_transformers.disable_max_rows():
        return len(chart.to_json(indent=None))


def test_a_million_readings_weigh_under_a_megabyte_and_keep_their_peak(long: Diagnosis) -> None:
    assert weight(charts.curve_panels(long)) < 1_000_000
    assert charts.curve_table(long)["dew_point_c"].max() == -12.0


def test_a_narrower_window_shows_more_of_its_readings(long: Diagnosis) -> None:
    time_s = long.screened.log.time_s
    table = charts.curve_table(long, start_s=time_s[1000], end_s=time_s[3000])
    assert (table["kind"] == "used").sum() == 2001


def test_it_speaks_the_readers_unit(diagnosis: Diagnosis) -> None:
    assert "pressure dew point [°F]" in charts.curve_panels(diagnosis, display=US).to_json()


def test_hours_run_to_24_and_days_are_named(diagnosis: Diagnosis) -> None:
    assert "'%H:%M'" in TIME_LABEL
    assert "%p" not in TIME_LABEL
    assert "%I" not in TIME_LABEL
    first = charts.curve_table(diagnosis)["time"].iloc[0]
    assert f"{first:%H:%M}" == "08:00", "local wall-clock time of the site, whatever the browser's zone"


def test_what_was_set_aside_is_hatched(diagnosis: Diagnosis) -> None:
    time_s = diagnosis.screened.log.time_s
    aside = replace(
        diagnosis, screened=replace(diagnosis.screened, exclusions=(Exclusion(time_s[100], time_s[300], "frozen"),))
    )
    spec = charts.curve_chart(aside).to_dict()
    slanted = [layer for layer in spec["layer"] if "y2" in layer["encoding"] and layer["mark"]["type"] == "rule"]
    assert len(slanted) == 1
    assert len(spec["datasets"][slanted[0]["data"]["name"]]) > 10


def test_a_limit_far_off_is_named_instead_of_squashing_the_curve(diagnosis: Diagnosis) -> None:
    far = replace(diagnosis, plant=plant_from({"dryer": {"dew_point_limit_c": 10.0}}))
    text = charts.curve_chart(far).to_json()
    assert "above this picture" in text
    near = replace(diagnosis, plant=plant_from({"dryer": {"dew_point_limit_c": -51.0}}))
    assert "above this picture" not in charts.curve_chart(near).to_json()


def luminance(colour: str) -> float:
    """Relative luminance after WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("colour", [INK, QUIET, LIMIT, TREND, *TOWER_COLOURS.values()])
def test_colours_stand_out_on_white_and_on_black(colour: str) -> None:
    """WCAG 2.2, success criterion 1.4.11: 3:1 for parts of graphics."""
    light, dark = luminance("#ffffff"), luminance("#0e1117")
    assert (light + 0.05) / (luminance(colour) + 0.05) >= 3.0
    assert (luminance(colour) + 0.05) / (dark + 0.05) >= 3.0
