"""Settings to try under What if: one slider and one field each, in the reader's units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from diagnostics.diagnosis import Diagnosis
from diagnostics.energy.record import PurgeEnergy
from diagnostics.report.figures import Display
from diagnostics.what_if import EnergyCase, WhatIf
from ui import state
from ui.number_field import read_number, written
from ui.words import plain


@dataclass(frozen=True)
class Trial:
    """One setting: its key in the plant file, words, range in the reader's unit, and the way there and back."""

    key: str
    label: str
    low: float
    high: float
    step: float
    help: str
    today: float
    to_shown: Callable[[float], float]
    to_kept: Callable[[float], float]
    tag: str = ""
    decimals: int = 2


def trials_for(diagnosis: Diagnosis, display: Display) -> list[Trial]:
    """The settings that this dryer and this log let one try."""
    plant = diagnosis.plant
    money = plant.economics.currency or "money"
    half_cycle_s = plant.half_cycle_s
    cycle = diagnosis.cycle.half_cycle_s
    seen_min = (cycle.value if cycle else half_cycle_s) / 60.0
    longest_min = (plant.dryer.longest_half_cycle_s or half_cycle_s) / 60.0
    chosen = [
        _trial(
            "dryer.dew_point_limit_c",
            f"Dew point limit [{display.temperature_unit}]",
            (display.level(-80.0), display.level(10.0), 1.0),
            "Pressure dew point that the process needs. A wetter limit is for the process owner, who knows the lowest"
            " pipe temperature.",
            plant.dryer.dew_point_limit_c,
            display.level,
            (lambda x: x) if display.temperature == "C" else (lambda x: (x - 32.0) / 1.8),
            display.temperature,
            1,
        ),
        _trial(
            "dryer.longest_half_cycle_s",
            "Longest half-cycle [min]",
            (seen_min, max(10.0 * seen_min, 1.5 * longest_min), max(0.5, round(seen_min / 10.0, 1))),
            "The control switches at the latest then, whatever the dew point.",
            plant.dryer.longest_half_cycle_s or half_cycle_s,
            lambda x: x / 60.0,
            lambda x: x * 60.0,
            decimals=1,
        ),
        _trial(
            "dryer.purge_share",
            "Purge [% of rated flow]",
            (0.0, 40.0, 0.5),
            "A trimmed purge has to prove the new dew point over a day or more; keep the old setting marked.",
            plant.dryer.purge_share,
            lambda x: x * 100.0,
            lambda x: x / 100.0,
            decimals=1,
        ),
        _trial(
            "operation.hours_per_year",
            "Hours a year",
            (500.0, 8784.0, 1.0),
            "Under pressure and cycling, not production hours.",
            plant.operation.hours_per_year,
            decimals=0,
        ),
        _trial(
            "economics.electricity_price_per_kwh",
            f"Electricity price [{money} per kWh]",
            (0.0, 1.0, 0.01),
            "Mean price of the hours saved.",
            plant.economics.electricity_price_per_kwh,
            decimals=3,
        ),
        _trial(
            "economics.retrofit_cost",
            f"Cost of the control, installed [{money}]",
            (0.0, max(20000.0, 3 * (plant.economics.retrofit_cost or 0.0)), 100.0),
            "Probe, controller, valves, work.",
            plant.economics.retrofit_cost,
            decimals=0,
        ),
    ]
    if plant.operation.flow_m3_min is not None and "flow" not in diagnosis.screened.log.channels:
        chosen.insert(
            2,
            _trial(
                "operation.flow_m3_min",
                f"Air that enters [{display.flow_unit}]",
                (0.0, display.volume_flow(3.0 * plant.operation.flow_m3_min), 0.1 if display.flow == "m3_min" else 1.0),
                "Purge included, at 20 °C, 1 bar, dry.",
                plant.operation.flow_m3_min,
                display.volume_flow,
                lambda x: x / display.volume_flow(1.0),
                display.flow,
            ),
        )
    return [trial for trial in chosen if trial is not None and not (plant.profile and "hours" in trial.key)]


def _trial(
    key: str,
    label: str,
    span: tuple[float, float, float],
    help_text: str,
    today: float | None,
    to_shown: Callable[[float], float] = lambda x: x,
    to_kept: Callable[[float], float] = lambda x: x,
    tag: str = "",
    decimals: int = 2,
) -> Any:
    if today is None:
        return None
    low, high, step = span
    shown = to_shown(today)
    return Trial(
        key,
        label,
        round(min(low, shown), decimals),
        round(max(high, shown), decimals),
        step,
        help_text,
        today,
        to_shown,
        to_kept,
        tag,
        decimals,
    )


def _present(trial: Trial) -> float:
    """Value that is tried now, in the reader's unit."""
    present = round(trial.to_shown(state.what_if().get(trial.key, trial.today)), trial.decimals)
    return float(min(max(present, trial.low), trial.high))


def draw(trial: Trial, display: Display) -> None:
    """Draw slider and field of one setting; moving one moves the other."""
    mark = display.decimal.replace(".", "")
    slider, field = f"try_slider_{trial.key}_{trial.tag}", f"try_field_{trial.key}_{trial.tag}{mark}"
    st.session_state.setdefault(slider, _present(trial))
    st.session_state.setdefault(field, written(_present(trial), display))
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    left.slider(
        trial.label,
        float(trial.low),
        float(trial.high),
        step=float(trial.step),
        help=trial.help,
        key=slider,
        format=f"%.{trial.decimals}f",
        on_change=_slid,
        args=(trial, slider, field, display),
    )
    right.text_input(
        f"{trial.label} as a number",
        key=field,
        label_visibility="collapsed",
        on_change=_typed,
        args=(trial, slider, field, display),
    )


def _slid(trial: Trial, slider: str, field: str, display: Display) -> None:
    value = float(st.session_state[slider])
    st.session_state[field] = written(round(value, trial.decimals), display)
    state.try_setting(trial.key, trial.to_kept(value))


def _typed(trial: Trial, slider: str, field: str, display: Display) -> None:
    """Take a typed number into the slider; one that cannot be taken is told, and the former stands again."""
    former = float(st.session_state[slider])
    if round(former, trial.decimals) != _present(trial):
        return  # a slider pressed fast sends the field's former text along; the slider's own move is what was meant
    try:
        value = read_number(st.session_state[field], display)
    except ValueError as error:
        st.toast(plain(str(error)))
        value = None
    if value is not None and not trial.low <= value <= trial.high:
        low, high = (written(end, display) for end in (trial.low, trial.high))
        st.toast(plain(f"{trial.label}: {low} to {high} can be tried here."))
        value = None
    if value is None:
        st.session_state[field] = written(former, display)
        return
    st.session_state[slider] = value
    state.try_setting(trial.key, trial.to_kept(value))


def changed(diagnosis: Diagnosis) -> dict[str, float]:
    """The settings tried that differ from the plant's own."""
    found = {}
    for key, value in state.what_if().items():
        table, name = key.split(".")
        own = getattr(getattr(diagnosis.plant, table), name)
        if own is None or abs(value - own) > 1e-6 * max(1.0, abs(own)):
            found[key] = value
    return found


def energy_cases(result: WhatIf) -> pd.DataFrame:
    """Energy of regeneration before and after, each as it is and switched on dew point: case, part, kwh_per_year."""
    rows = []
    for word, case in (("before", result.before), ("after", result.after)):
        rows += _energy(word, case)
    table = pd.DataFrame(rows, columns=["case", "part", "kwh_per_year"])
    return table[table["kwh_per_year"] > 0].reset_index(drop=True)


def _energy(word: str, case: EnergyCase) -> list[tuple[str, str, float]]:
    energy, saved = case.purge.energy_kwh_per_year, case.switching.figures.energy_saved_kwh_per_year
    if energy is None:
        return []
    if case.switching.already_saved_share is not None:
        return [(word, part, value) for part, value in _parts(energy)]
    parts = _parts(energy)
    rows = [(f"{word}: timer", part, value) for part, value in parts]
    if saved is not None and energy.total.value > 0:
        kept = max(0.0, 1.0 - saved.value / energy.total.value)
        rows += [(f"{word}: on dew point", part, value * kept) for part, value in parts]
    return rows


def _parts(energy: PurgeEnergy) -> tuple[tuple[str, float], ...]:
    return ("compressed air", energy.air), ("heater", energy.heater), ("blower", energy.blower)
