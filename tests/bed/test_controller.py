"""Timers, running-time timers and dew-point control decide as they are told."""

from __future__ import annotations

from diagnostics.bed.controller import Controller


def _timer(rule, **settings):
    return Controller(rule, 300.0, 300.0, 1800.0, -40.0, **settings)


def test_clock_timer_counts_standstill_and_running_timer_does_not():
    clock, running = _timer("clock_time"), _timer("running_time")
    for controller in (clock, running):
        controller.count(200.0, True)
        controller.count(100.0, False)
    assert clock.due(-60.0)
    assert not running.due(-60.0)
    running.count(100.0, True)
    assert running.due(-60.0)


def test_dew_point_control_waits_for_the_shortest_and_never_passes_the_longest():
    control = _timer("dew_point")
    control.count(200.0, True)
    assert not control.due(-20.0)
    control.count(100.0, True)
    assert control.due(-39.9)
    assert not control.due(-40.1)
    control.count(1500.0, True)
    assert control.due(-70.0)
    control.restart()
    assert not control.due(-20.0)


def test_the_resting_tower_must_be_ready():
    control = _timer("dew_point", least_s=500.0)
    control.count(400.0, True)
    assert not control.due(-20.0)


def test_blocks_end_where_a_decision_may_fall():
    control = _timer("dew_point")
    assert control.longest_block_s(20.0) == 300.0
    control.count(300.0, True)
    assert control.longest_block_s(20.0) == 20.0
    control.count(1490.0, True)
    assert control.longest_block_s(20.0) == 10.0
    assert _timer("none").longest_block_s(20.0) > 1800.0
    assert not _timer("none").due(20.0)
