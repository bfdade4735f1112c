"""Ctrl-C where it must not be raised at once."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType


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
