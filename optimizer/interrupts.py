"""Ctrl-C where it must not be raised at once: while HiGHS runs, and once something is known.

`KeyboardInterrupt` may be raised between any two steps of a program, also where an answer is being
put together from what a search has found. So a command line asks for it to be raised only where
somebody waits for it (`stoppable`). A second Ctrl-C ends everything, as ever.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Self


@contextmanager
def noted(note: Callable[[], None]) -> Iterator[None]:
    """Ctrl-C calls `note` and raises nothing for as long as the context lasts.

    Elsewhere than in the main thread, and where Ctrl-C raises nothing anyway, nothing changes.
    """
    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(before):
        yield
        return

    def handle(number: int, frame: FrameType | None) -> None:
        note()

    signal.signal(signal.SIGINT, handle)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


class _Held:
    """Whether somebody waits for Ctrl-C, has waited before, or it waits for somebody."""

    def __init__(self) -> None:
        self.is_open, self.was_open, self.waits = False, False, False

    def handle(self, number: int, frame: FrameType | None) -> None:
        if self.was_open and not self.is_open and not self.waits:
            self.waits = True
            return
        # raised once: what catches it is not cut short in turn before it opens again
        self.is_open = self.waits = False
        raise KeyboardInterrupt


_HELD = _Held()


class stoppable:  # noqa: N801 - a context, used like a function
    """Within this context Ctrl-C is raised, and one that waits is raised on entering.

    To be entered inside the `try` that catches it.
    """

    def __enter__(self) -> Self:
        self._before = _HELD.is_open
        if _HELD.waits:
            _HELD.waits = False
            raise KeyboardInterrupt
        _HELD.is_open = _HELD.was_open = True
        return self

    def __exit__(self, *error: object) -> None:
        _HELD.is_open = self._before


def hold() -> None:
    """From the first `stoppable` on, raise Ctrl-C only in such a context; elsewhere it waits.

    For a process of its own, in its main thread.
    """
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _HELD.handle)


def answered() -> None:
    """The answer is told: while the process ends, Ctrl-C has nothing left to stop."""
    if signal.getsignal(signal.SIGINT) == _HELD.handle:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
