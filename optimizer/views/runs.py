"""How many tasks of a long run are done and how long it will take, on stderr."""

from __future__ import annotations

import time
from types import TracebackType
from typing import TYPE_CHECKING, Self

from optimizer.views.quantity import number

if TYPE_CHECKING:
    from rich.console import Console
    from rich.status import Status

    from optimizer.parallel import Progress

PATIENCE_S = 1.0
#: Between two lines where nothing can be drawn over.
INTERVAL_S = 10.0


class RunLine:
    """A sink for `optimizer.parallel.Progress`, to be used as a context; silent if `quiet`."""

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
        """Tell how far the run is, if it is time to."""
        now = time.monotonic()
        if self._quiet or now - self._started < PATIENCE_S:
            return
        text = run_words(progress)
        if self._console.is_terminal:
            if self._status is None:
                self._status = self._console.status(text, spinner="line", spinner_style="quiet")
                self._status.start()
            self._status.update(text)
        elif now - self._said >= INTERVAL_S:
            self._said = now
            self._console.print(text)


def run_words(progress: Progress) -> str:
    """ "draws solved: 8 of 15, 24 s gone, about 21 s left (Ctrl-C ends it with what is known)"."""
    left = "" if progress.left_s is None else f", about {duration(progress.left_s)} left"
    return (
        f"{progress.what}: {progress.done} of {progress.total}, {duration(progress.seconds)} gone"
        f"{left} (Ctrl-C ends it with what is known)"
    )


def duration(seconds: float) -> str:
    """ "24 s", "3 min 20 s", "2 h 5 min"."""
    whole = round(seconds)
    if whole < 60:
        return f"{number(whole, 0)} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"
