"""Reading or diagnosing that runs beside the page, so that the page can show how far it is and stop it."""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")


class Stopped(BaseException):
    """Raised within the work when its visitor wants no more of it; no handler of ordinary errors holds it up."""


class Work(Generic[T]):
    """One run of a task in a thread of its own.

    Parameters
    ----------
    task : callable
        Gets a function to be called with the name of each step as it begins. Once stopped, the work ends there or,
        within a long step, at the next line of Python that it runs.
    """

    def __init__(self, task: Callable[[Callable[[str], None]], T]) -> None:
        self.step = "starting"
        self._ended = threading.Event()
        self._unwanted = threading.Event()
        self._result: T | None = None
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._run, args=(task,), daemon=True, name="engine")
        self._thread.start()

    def _run(self, task: Callable[[Callable[[str], None]], T]) -> None:
        try:
            self._result = task(self._begin)
        except BaseException as error:  # handed to whoever asks for the result
            self._error = error
        finally:
            self._ended.set()

    def _begin(self, step: str) -> None:
        if self._unwanted.is_set():
            raise Stopped
        self.step = step

    def stop(self) -> None:
        """End the work, also in the midst of a step; no more of its time is taken from others."""
        if self._unwanted.is_set():
            return
        self._unwanted.set()
        number = self._thread.ident
        if number is not None and not self._ended.is_set():
            ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(number), ctypes.py_object(Stopped))

    @property
    def stopped(self) -> bool:
        """Whether its visitor wanted no more of it."""
        return self._unwanted.is_set()

    def wait(self, seconds: float) -> bool:
        """Wait so long at most; whether the work has ended."""
        # A stop that comes in the very last lines ends the thread before it can say so.
        return self._ended.wait(seconds) or not self._thread.is_alive()

    def result(self) -> T:
        """What the task returned, or raise what it raised; the work must have ended."""
        if self._error is not None:
            raise self._error
        if self._result is None:
            raise Stopped
        return self._result
