"""Whatever the plant: finite figures in ordered intervals, or None with a sentence; no loss passes as a saving."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.energy.levers import weigh_levers
from diagnostics.energy.record import PurgeEnergy
from diagnostics.estimate import Estimate
from tests.energy import made
from tests.energy.case import diagnosis

REGENERATIONS = ("heatless", "heated_purge", "blower_purge", "vacuum_assisted", "heat_of_compression")
CONTROLS = ("load_unload", "inlet_modulation", "variable_speed", "start_stop", None)


def maybe(strategy: Any) -> Any:
    return st.none() | strategy


@st.composite
def plants(draw: Any) -> Any:
    half_cycle = draw(st.sampled_from([60, 300, 14400]))
    dryer = {
        "regeneration": draw(st.sampled_from(REGENERATIONS)),
        "rated_flow_m3_min": draw(maybe(st.floats(0.01, 500.0))),
        "half_cycle_s": half_cycle,
        "purge_share": draw(maybe(st.sampled_from([0.0, 1e-9, 0.01, 0.15, 1.0]))),
        "purge_share_means": draw(st.sampled_from(["average", "while_purging"])),
        "orifice_mm": draw(maybe(st.floats(0.1, 50.0))),
        "regenerating_pressure_bar_g": draw(maybe(st.floats(-0.9, 8.0))),
        "vessel_volume_m3": draw(maybe(st.floats(0.001, 20.0))),
        "desiccant_mass_kg": draw(maybe(st.floats(0.1, 5000.0))),
        "heater_kw": draw(maybe(st.floats(0.0, 500.0))),
        "heating_ends_by": draw(st.sampled_from(["time", "exhaust_temperature"])),
        "longest_half_cycle_s": draw(maybe(st.floats(half_cycle, 50.0 * half_cycle))),
    }
    operation = {
        "flow_m3_min": draw(maybe(st.sampled_from([0.0, 1e-6, 0.5, 7.0, 1000.0]))),
        "inlet_temperature_c": draw(maybe(st.floats(5.0, 60.0))),
        "hours_per_year": draw(st.floats(1.0, 8784.0)),
        "pressure_at_use_bar_g": draw(maybe(st.floats(1.0, 9.0))),
    }
    economics = {
        "electricity_price_per_kwh": draw(maybe(st.floats(0.0, 2.0))),
        "retrofit_cost": draw(maybe(st.floats(0.0, 1e5))),
        "upkeep_per_year": draw(st.floats(0.0, 5000.0)),
    }
    compressor = {
        "specific_power_kw_per_m3_min": draw(maybe(st.floats(1.0, 20.0))),
        "control": draw(st.sampled_from(CONTROLS)),
        "unloaded_power_share": draw(maybe(st.floats(0.0, 1.0))),
        "rated_flow_m3_min": draw(maybe(st.floats(0.1, 500.0))),
    }
    tables = {"dryer": dryer, "operation": operation, "economics": economics, "compressor": compressor}
    given = {name: {k: v for k, v in table.items() if v is not None} for name, table in tables.items()}
    return made.plant({**given, "measurement": {"pressure_bar_g": draw(st.floats(0.5, 16.0)), "basis": "pressure"}})


def estimates(record: Any) -> list[Estimate]:
    found = []
    for field in fields(record):
        value = getattr(record, field.name)
        if isinstance(value, PurgeEnergy):
            value = value.total
        if isinstance(value, Estimate):
            found.append(value)
    return found


@settings(max_examples=80, deadline=None)
@given(
    plant=plants(),
    length=st.floats(0.2, 20.0),
    control=st.sampled_from(["fixed", "dew_point", "stopped"]),
    resolved=st.booleans(),
    reserve=maybe(st.floats(0.05, 10.0)),
)
def test_figures_are_finite_or_explained(plant, length, control, resolved, reserve) -> None:
    log = made.screened(plant, hours=24, interval_s=600.0)
    rhythm = made.cycle(log, length * plant.half_cycle_s, control=control, resolved=resolved)
    margin = made.margin(None if reserve is None else Estimate(reserve, 0.8 * reserve, 1.3 * reserve))
    case = diagnosis(plant, log, rhythm, margin)
    purge, switching, payback = case.purge, case.switching, case.payback
    for estimate in estimates(purge):
        assert math.isfinite(estimate.high)
    if purge.average_m3_min is None:
        assert purge.notes
    else:
        assert purge.average_m3_min.low >= 0.0
        assert purge.share_of_inlet is None or purge.share_of_inlet.value <= 1.0
    for figures in (switching.figures, switching.cautious):
        for estimate in estimates(figures):
            assert estimate.low >= 0.0
        share = figures.regenerations_saved_share
        assert share is None or share.high <= 1.0
    if switching.figures.regenerations_saved_share is None:
        assert switching.notes
    if switching.limited_by == "none_possible" and switching.figures.regenerations_saved_share is not None:
        assert switching.figures.regenerations_saved_share.value < 0.01
    if payback.simple_payback_years is None:
        assert payback.notes
    else:
        assert payback.net_saving_per_year.value > 0.0
    for lever in weigh_levers(case).levers:
        assert lever.energy_saved_kwh_per_year.low >= 0.0
