"""Limited faces: nothing leaves a bed that is not there, and what one cell gives the next receives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.bed.column import BedState, Packing, Stream, enthalpy_of, uniform_state
from diagnostics.bed.donor import given_at_most
from diagnostics.bed.isotherm import DESICCANTS
from diagnostics.bed.march import Row


def _before(faces, inlet):
    return np.concatenate(([inlet], faces[:-1]))


@settings(max_examples=200, deadline=None)
@given(
    faces=st.lists(st.floats(-1e-2, 1e-2), min_size=2, max_size=12),
    held=st.lists(st.floats(0.0, 1e-2), min_size=12, max_size=12),
    rate_dt=st.floats(0.0, 50.0),
    inlet=st.floats(0.0, 1e-2),
)
def test_no_cell_gives_more_than_it_holds_and_receives(faces, held, rate_dt, inlet):
    given_faces, loading = np.array(faces), np.array(held[: len(faces)])
    passing = np.full(loading.size, rate_dt)
    limited = given_at_most(given_faces, _before(given_faces, inlet), loading, passing, {0: inlet})
    assert limited.min() >= 0.0
    after = loading + passing * (_before(limited, inlet) - limited)
    assert after.min() >= -1e-12
    # Water closes whatever the limiter did: only faces changed.
    assert float((after - loading).sum()) == pytest.approx(rate_dt * (inlet - limited[-1]), rel=1e-9, abs=1e-12)


def test_faces_that_are_possible_stay_as_they_are():
    faces = np.array([3e-3, 2e-3, 1e-3])
    same = given_at_most(faces, _before(faces, 4e-3), np.full(3, 0.1), np.ones(3), {0: 4e-3})
    assert same is faces


def test_an_empty_cell_passes_on_what_enters_and_a_given_inlet_starts_anew():
    faces = np.array([5e-3, 4e-3, -1e-3, 2e-3])
    before = np.array([1e-3, 5e-3, 1e-6, -1e-3])
    limited = given_at_most(faces, before, np.zeros(4), np.full(4, 2.0), {0: 1e-3, 2: 1e-6})
    assert limited == pytest.approx([1e-3, 1e-3, 0.0, 0.0])


@pytest.mark.parametrize("kind", sorted(DESICCANTS))
def test_long_steps_over_hot_dry_beads_stay_few_and_keep_the_water(kind, monkeypatch):
    # A cold dry purge runs into hot, all but dry beads: a millionth of loading changes their pressure a thousandfold.
    packing = Packing(DESICCANTS[kind], 1.2, 0.2, cells=60)
    drying, hot = uniform_state(packing, 0.02, 305.0), uniform_state(packing, 0.0, 450.0)
    hot.loading = 1e-7 * np.exp(np.linspace(0.0, 10.0, 60))
    hot.enthalpy = enthalpy_of(packing.desiccant, hot.loading, 450.0)
    state = BedState(*(np.concatenate(pair) for pair in zip(vars(drying).values(), vars(hot).values(), strict=True)))
    before = state.loading.reshape(2, -1).sum(axis=1) * packing.cell_kg
    tried = 0
    whole = Row._thermal_step

    def counted(self, *given):
        nonlocal tried
        tried += 1
        return whole(self, *given)

    monkeypatch.setattr(Row, "_thermal_step", counted)
    streams = (Stream(0.4, 4e-3, 305.0, 8e5), Stream(0.05, None, 305.0, 1.05e5))
    run = Row([packing, packing], streams).march(state, 3600.0, 60.0)
    assert tried < 4 * 60
    assert state.loading.min() >= -1e-12
    gained = state.loading.reshape(2, -1).sum(axis=1) * packing.cell_kg - before
    assert np.abs(run.water_in_kg - run.water_out_kg - gained).max() <= 1e-6 * run.water_in_kg[0]
