"""How a long search stands, on stderr: one living line on a terminal, now and then one elsewhere.

Nothing is said of a search that is over within a second.
"""

from __future__ import annotations

import time
from types import TracebackType
from typing import TYPE_CHECKING, Self

from optimizer.views.quantity import number, small_percent

if TYPE_CHECKING:
    from rich.console import Console
    from rich.status import Status

    from optimizer.solve.place import Progress

PATIENCE_S = 1.0
#: Between two lines where nothing can be drawn over.
INTERVAL_S = 10.0


class ProgressLine:
    """A sink for `Progress`, to be used as a context; silent if `quiet`."""

    def __init__(self, console: Console, *, quiet: bool = False) -> None:
        self._console = console
        self._quiet = quiet
        self._started = time.monotonic()
        self._said = self._started + PATIENCE_S - INTERVAL_S
        self._status: Status | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._status is not None:
            self._status.stop()
            self._status = None

    def __call__(self, progress: Progress) -> None:
        """Tell where the search stands, if it is time to."""
        self.tell(progress_words(progress))

    def tell(self, text: str) -> None:
        """Say something, if it is time to."""
        now = time.monotonic()
        if self._quiet or now - self._started < PATIENCE_S:
            return
        if self._console.is_terminal:
            if self._status is None:
                self._status = self._console.status(text, spinner="line", spinner_style="quiet")
                self._status.start()
            self._status.update(text)
        elif now - self._said >= INTERVAL_S:
            self._said = now
            self._console.print(text)


def progress_words(progress: Progress) -> str:
    """ "rank 1: best 9.6551, bound 9.4012, gap 2.7 %; 14 s (Ctrl-C: best so far)"."""
    if progress.incumbent is None:
        state = "no layout yet"
    else:
        state = f"best {number(progress.incumbent, 4)}"
    if progress.bound is not None:
        state += f", bound {number(progress.bound, 4)}"
    if progress.gap is not None:
        state += f", gap {small_percent(progress.gap)}"
    seconds = number(progress.seconds, 0)
    return f"rank {progress.rank}: {state}; {seconds} s (Ctrl-C: best so far)"
