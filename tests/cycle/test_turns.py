"""Switchovers by their suddenness, and whether they bear a timer's clock out: invented traces, no outside source."""

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.cycle.borne_out import borne_out, is_contradicted, is_kept_by_turns, turns_length_s
from diagnostics.cycle.clock import Piece
from diagnostics.cycle.rhythm import find_comb
from diagnostics.cycle.trace import trace_of
from diagnostics.cycle.tracking import follow
from diagnostics.cycle.turns import clear_turns_s, is_still, sudden_turns, turned_s

STEP_S = 10.0


def _trace(at_s, hours, noise, seed=1, rise=1.0, lag_s=30.0):
    """A straight rise between switchovers, at each of them a fall that a probe follows."""
    time_s = np.arange(0.0, hours * 3600.0, STEP_S)
    rng = np.random.default_rng(seed)
    edges = np.concatenate([[-400.0], at_s])
    since = time_s - edges[np.searchsorted(edges, time_s, side="right") - 1]
    shape = rise * (since / 400.0) + rise * np.exp(-since / lag_s)
    return trace_of(time_s, -12.0 + shape + noise * rng.normal(size=time_s.size), STEP_S)


def _uneven(hours, seed=2):
    """Switchovers of no timer: 300 to 500 s apart."""
    gaps = np.random.default_rng(seed).uniform(300.0, 500.0, int(hours * 9))
    at = np.cumsum(gaps)
    return at[at < hours * 3600.0 - 200.0]


def _highest(trace, at_s):
    """Highest reading within 40 s of each switchover."""
    index = np.searchsorted(trace.time_s, at_s)[:, None] + np.arange(-4, 5)[None, :]
    return trace.time_s[index[np.arange(at_s.size), trace.value[index].argmax(axis=1)]]


def test_uneven_switchovers_are_seen_one_by_one():
    at = _uneven(6.0)
    trace = _trace(at, 6.0, 0.005)
    found, clear = turned_s(trace, _highest(trace, at), 300.0)
    assert abs(found.size - at.size) <= 1
    apart = np.abs(found[:, None] - at[None, :]).min(axis=1)
    assert np.median(apart) < 0.5 * STEP_S
    assert np.mean(apart < 20.0) > 0.97
    assert clear.mean() > 0.9


def test_nothing_sudden_is_seen_in_a_smooth_wave():
    time_s = np.arange(0.0, 6 * 3600.0, STEP_S)
    value = np.sin(2.0 * np.pi * time_s / 1500.0) + 0.01 * np.random.default_rng(1).normal(size=time_s.size)
    trace = trace_of(time_s, value, STEP_S)
    instants = np.arange(300.0, 6 * 3600.0 - 300.0, 1500.0)
    assert is_still(trace, instants)
    assert clear_turns_s(trace, instants, 300.0).size == 0
    assert sudden_turns(trace, 3)[0].size < 0.01 * time_s.size


def test_a_switchover_is_not_still():
    at = _uneven(6.0)
    assert not is_still(_trace(at, 6.0, 0.005), at)


def _course(trace):
    comb = find_comb(trace)
    course = follow(trace, comb.period_s)
    assert course is not None
    return course


def test_a_timer_is_borne_out_by_its_own_switchovers():
    at = np.arange(130.0, 8 * 3600.0, 400.3)
    trace = _trace(at, 8.0, 0.005)
    course = _course(trace)
    assert is_kept_by_turns(trace, course)
    assert not is_contradicted(trace, course, 400.0)
    assert borne_out(trace, course, 400.0).pieces == course.pieces


def test_a_clock_that_runs_on_through_another_control_ends_where_that_begins():
    timer = np.arange(130.0, 4 * 3600.0, 400.3)
    rest = timer[-1] + _uneven(4.0, 5)
    trace = _trace(np.concatenate([timer, rest]), 8.0, 0.005)
    course = _course(_trace(timer, 4.0, 0.005))
    ran_on = replace(course, pieces=(Piece(0.0, float(trace.time_s[-1]), course.pieces[0].offset_s),))
    kept = borne_out(trace, ran_on, 300.0)
    assert len(kept.pieces) == 1
    assert kept.pieces[0].end_s == pytest.approx(timer[-1], abs=4 * 400.3)
    assert is_contradicted(trace, ran_on, 300.0)


def test_turns_at_half_a_clocks_length_tell_the_shorter_timer():
    at = np.arange(130.0, 8 * 3600.0, 400.3)
    trace = _trace(at, 8.0, 0.005)
    course = _course(trace)
    slow = replace(course, half_cycle_s=2.0 * course.half_cycle_s)
    assert turns_length_s(trace, slow, 300.0) == pytest.approx(400.3, rel=0.01)
    assert turns_length_s(trace, course, 300.0) is None
