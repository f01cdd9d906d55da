"""What if: settings as fields and sliders, before and after, answers live."""

import streamlit as st

from diagnostics.errors import UserError
from diagnostics.report.summary import LIMITED_WORDS
from ui import cached, gate, state

st.title("What if")
diagnosis = gate.diagnosis_or_stop()
display = state.display()
plant, kept = diagnosis.plant, state.what_if()
today = plant.half_cycle_s


def setting(key: str, label: str, low: float, high: float, step: float, help_text: str, present: float) -> float:
    """Slider over one setting; returns its value and remembers it when it was moved."""
    present = min(max(present, low), high)
    return float(st.slider(label, low, high, float(kept.get(key, present)), step, help=help_text, key=f"try_{key}"))


left, right = st.columns([2, 3])
with left:
    moved = {
        "dryer.dew_point_limit_c": setting(
            "dryer.dew_point_limit_c",
            "Dew point limit [°C]",
            -80.0,
            10.0,
            1.0,
            "A wetter limit is for the process owner, who knows the lowest pipe temperature.",
            plant.dryer.dew_point_limit_c,
        ),
        "dryer.longest_half_cycle_s": setting(
            "dryer.longest_half_cycle_s",
            "Longest half-cycle [min]",
            round(today / 60, 1),
            round(20 * today / 60, 1),
            round(max(0.5, today / 600), 1),
            "The control switches at the latest then, whatever the dew point.",
            (plant.dryer.longest_half_cycle_s or today) / 60,
        )
        * 60,
        "economics.electricity_price_per_kwh": setting(
            "economics.electricity_price_per_kwh",
            f"Electricity price [{plant.economics.currency or 'money'} per kWh]",
            0.0,
            1.0,
            0.01,
            "Mean price of the hours saved.",
            plant.economics.electricity_price_per_kwh or 0.15,
        ),
        "operation.hours_per_year": setting(
            "operation.hours_per_year",
            "Hours a year",
            500.0,
            8784.0,
            1.0,
            "Under pressure and cycling.",
            plant.operation.hours_per_year,
        ),
    }
    if plant.operation.flow_m3_min is not None and "flow" not in diagnosis.screened.log.channels:
        flow = plant.operation.flow_m3_min
        moved["operation.flow_m3_min"] = setting(
            "operation.flow_m3_min", "Air that enters [m³/min]", 0.0, round(3 * flow, 1), 0.1, "Purge included.", flow
        )
    if st.button("Back to today's settings", key="try_reset"):
        state.keep_what_if({})
        for key in [name for name in st.session_state if str(name).startswith("try_")]:
            del st.session_state[key]
        st.rerun()

changed = {key: value for key, value in moved.items() if gate.differs(plant, key, value)}
state.keep_what_if({k: v / 60 if k == "dryer.longest_half_cycle_s" else v for k, v in changed.items()})
try:
    result = cached.what_if_of(state.files(), state.plant_text(), state.columns_text(), changed)
except UserError as error:
    gate.show_sentence(str(error))
    st.stop()

with right:
    cases = (result.before, result.after)
    rows = {
        "Purge": [display.flow_words(c.purge.average_m3_min) for c in cases],
        "Cost of regeneration a year": [display.estimate(c.purge.cost_per_year, c.payback.currency) for c in cases],
        "Half-cycle on dew point": [display.duration(c.switching.figures.half_cycle_s) for c in cases],
        "Regenerations saved": [display.percent(c.switching.figures.regenerations_saved_share) for c in cases],
        "Energy saved a year": [display.estimate(c.switching.figures.energy_saved_kwh_per_year, "kWh") for c in cases],
        "Cost saved a year": [
            display.estimate(c.switching.figures.cost_saved_per_year, c.payback.currency) for c in cases
        ],
        "Limited by": [LIMITED_WORDS[c.switching.limited_by] for c in cases],
        "Simple payback": [display.estimate(c.payback.simple_payback_years, "years", digits=2) for c in cases],
        "Net present value": [display.estimate(c.payback.npv, c.payback.currency) for c in cases],
    }
    gate.show_table(
        {"figure": list(rows), "before": [r[0] for r in rows.values()], "after": [r[1] for r in rows.values()]}
    )
    for note in (*result.notes, *result.after.switching.notes):
        st.caption(gate.plain(note))
st.caption(
    "A relaxed limit or a longer half-cycle is proved over a day or more before it stays; keep the old setting marked."
    " Medical and breathing air: the responsible person decides."
)
