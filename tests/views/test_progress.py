from __future__ import annotations

import io

import pytest

from optimizer.solve.place import Progress
from optimizer.views import progress as module
from optimizer.views.console import make_console
from optimizer.views.progress import ProgressLine, progress_words

STATE = Progress(rank=2, seconds=14.2, incumbent=9.6551, bound=9.4012, gap=0.0263, found=1)


class Clock:
    """A clock that is set by hand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now = 100.0
        monkeypatch.setattr(module.time, "monotonic", lambda: self.now)


@pytest.fixture
def clock(monkeypatch):
    return Clock(monkeypatch)


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_says_incumbent_bound_and_gap():
    text = progress_words(STATE)
    assert "rank 2: best 9.6551, bound 9.4012, gap 2.7 %; 14 s" in text and "Ctrl-C" in text
    assert len(text) < 76  # a spinner beside it still leaves it on one line of 80 columns
    none = progress_words(Progress(1, 3.0, None, None, None, 0))
    assert "no layout yet" in none and "bound" not in none and "None" not in none


def test_a_short_search_is_silent(clock):
    console = make_console(io.StringIO(), 120, {})
    with ProgressLine(console) as line:
        clock.now += 0.9
        line(STATE)
    assert console.file.getvalue() == ""


def test_where_nothing_can_be_drawn_over_a_line_comes_now_and_then(clock):
    console = make_console(io.StringIO(), 120, {})
    with ProgressLine(console) as line:
        for _ in range(25):
            clock.now += 1.0
            line(STATE)
    lines = console.file.getvalue().splitlines()
    assert len(lines) == 3 and all(text.startswith("rank 2: best") for text in lines)


def test_quiet_is_silent_however_long_it_takes(clock):
    console = make_console(io.StringIO(), 120, {})
    with ProgressLine(console, quiet=True) as line:
        clock.now += 100.0
        line(STATE)
    assert console.file.getvalue() == ""


def test_on_a_terminal_one_line_lives_and_is_gone_in_the_end(clock):
    console = make_console(Terminal(), 120, {"TERM": "xterm"})
    with ProgressLine(console) as line:
        clock.now += 2.0
        line(STATE)
        line(STATE)
    text = console.file.getvalue()
    assert "rank 2: best" in text
    assert text.rstrip("\r\n").endswith(("\x1b[2K", "\x1b[?25h", "\x1b[1A", "\x1b[0m"))
