"""Water and energy over whole runs of a dryer: every way of regenerating, every fault of the hardware, any load."""

from __future__ import annotations

import os

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics.bed.faults import FAULTS, fault_named, faulty
from diagnostics.bed.march import Row
from diagnostics.bed.twin import Conditions, Outlet, Twin, first_guess
from diagnostics.bed.vessel import FREE_AIR_KG_M3, dryer_from
from diagnostics.plant import plant_from

KINDS = ("heatless", "heated_purge", "blower_purge", "vacuum_assisted", "heat_of_compression")
HARDWARE = sorted(name for name, fault in FAULTS.items() if fault.kind == "hardware")
EXAMPLES = int(os.environ.get("DEWSWING_EXAMPLES", "12"))


class Ledger:
    """Sums of what crossed the beds' ends, march by march, and the worst gap in energy."""

    def __init__(self) -> None:
        self.throughput_kg = self.taken_kg = 0.0
        self.heat_gap = 0.0

    def watch(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Listen to every march."""
        whole = Row.march
        ledger = self

        def counted(row, state, duration_s, longest_step_s, **given):
            before = (state.enthalpy * row.cell_kg).reshape(row.beds, row.n).sum(axis=1)
            passage = whole(row, state, duration_s, longest_step_s, **given)
            after = (state.enthalpy * row.cell_kg).reshape(row.beds, row.n).sum(axis=1)
            ledger.throughput_kg += float(passage.water_in_kg[0])
            ledger.taken_kg += float((passage.water_in_kg - passage.water_out_kg - passage.void_kg).sum())
            gap = passage.heat_in_j - passage.heat_out_j - passage.wall_j - (after - before)
            size = np.abs(passage.heat_in_j) + np.abs(passage.heat_out_j) + np.abs(passage.wall_j) + 1.0
            # Where void gas is stored or let out, what enters is not what leaves; the flow differs from face to face.
            even = np.ptp(row.flow.reshape(row.beds, row.n), axis=1) == 0.0
            if even.any():
                ledger.heat_gap = max(ledger.heat_gap, float(np.abs(gap / size)[even].max()))
            assert np.abs(passage.void_kg[even]).max(initial=0.0) <= 1e-9 * (float(passage.water_in_kg[0]) + 1e-9)
            return passage

        monkeypatch.setattr(Row, "march", counted)


@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    kind=st.sampled_from(KINDS),
    desiccant=st.sampled_from(["activated_alumina", "silica_gel", "molecular_sieve"]),
    fault=st.sampled_from([None, *HARDWARE]),
    load=st.floats(0.05, 1.4),
    inlet_c=st.floats(12.0, 48.0),
    bar_g=st.floats(4.0, 11.0),
    liquid=st.sampled_from([0.0, 0.0, 4.0]),
    step_s=st.sampled_from([15.0, 40.0, 90.0]),
)
def test_water_and_energy_of_a_whole_run_close(kind, desiccant, fault, load, inlet_c, bar_g, liquid, step_s):
    nameplate = {"regeneration": kind, "rated_flow_m3_min": 20.0, "desiccant": desiccant}
    dryer = dryer_from(plant_from({"dryer": nameplate}), cells=16)
    if fault:
        dryer = faulty(dryer, (fault_named(fault),), 1.0)
    kelvin = inlet_c + 273.15
    feed = load * 20.0 / 60.0 * FREE_AIR_KG_M3
    conditions = Conditions(feed, kelvin, kelvin, (bar_g + 1.01325) * 1e5, liquid_share=liquid)
    twin = Twin(dryer, first_guess(dryer, conditions), step_s=min(step_s, dryer.half_cycle_s / 10.0))

    def held_kg():
        return sum(float(b.loading.sum()) * p.cell_kg for b, p in zip(twin.beds, dryer.packings, strict=True))

    ledger = Ledger()
    with pytest.MonkeyPatch.context() as patch:
        ledger.watch(patch)
        before = held_kg()
        for share in (1.0, 0.6, 1.0):
            twin.advance(conditions, share * dryer.half_cycle_s, Outlet(), 0.0)
            twin.switch()
    gap = held_kg() - before - ledger.taken_kg + twin.drained_kg
    assert abs(gap) <= 1e-6 * ledger.throughput_kg
    assert ledger.heat_gap <= 1e-6
    for bed in twin.beds:
        assert bed.loading.min() >= -1e-9
        assert np.isfinite(bed.enthalpy).all()
