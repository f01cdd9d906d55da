"""Work that runs beside the page: its step is told, it stops when asked, its errors reach who asks for the result."""

from __future__ import annotations

import threading

import pytest

from ui.work import Stopped, Work


def test_the_result_and_the_step_are_told() -> None:
    go = threading.Event()

    def task(progress) -> int:
        progress("counting")
        go.wait(10)
        return 7

    work = Work(task)
    while work.step != "counting":
        assert not work.wait(0.01)
    go.set()
    assert work.wait(10)
    assert work.result() == 7


def test_it_ends_at_the_next_step_once_stopped() -> None:
    begun, go = threading.Event(), threading.Event()
    reached = []

    def task(progress) -> int:
        begun.set()
        go.wait(10)
        progress("the step never begun")
        reached.append(1)
        return 7

    work = Work(task)
    assert begun.wait(10)
    work.stop()
    go.set()
    assert work.wait(10)
    assert reached == []
    with pytest.raises(Stopped):
        work.result()


def test_an_error_is_raised_where_the_result_is_wanted() -> None:
    def task(progress) -> int:
        raise ValueError("no air")

    work = Work(task)
    assert work.wait(10)
    with pytest.raises(ValueError, match="no air"):
        work.result()


def test_it_ends_in_the_midst_of_a_step_once_stopped() -> None:
    begun = threading.Event()

    def task(progress) -> int:
        progress("a step without end")
        begun.set()
        count = 0
        while True:
            try:
                count += 1
            except Exception:  # what the engine might catch on its way must not hold the stop up
                count = 0

    work = Work(task)
    assert begun.wait(10)
    work.stop()
    assert work.wait(10)
    with pytest.raises(Stopped):
        work.result()
