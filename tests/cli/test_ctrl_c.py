"""Ctrl-C at moments when something is known: it is told, and the exit code is that of an answer.

A real signal, sent by the command's own process at one step of its work.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from optimizer import interrupts
from optimizer.interrupts import answered, hold, stoppable

ROOT = Path(__file__).parents[2]
STUDY = "studies/air_ankle.toml"

CHILD = """
import atexit, importlib, signal, sys

def press(*given, **also):
    global pressed
    if not pressed:
        pressed = True
        print("pressed", file=sys.stderr, flush=True)
        signal.raise_signal(signal.SIGINT)
    return whole(*given, **also)

pressed = False
module, name, *sys.argv[1:] = sys.argv[1:]
if module == "exit":
    whole = lambda: None
    atexit.register(press)
else:
    where = importlib.import_module(module)
    whole = getattr(where, name)
    setattr(where, name, press)
from optimizer.cli import main
main()
"""


def pressed(at: tuple[str, str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, output and messages, Ctrl-C pressed where a command first calls something."""
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    ended = subprocess.run(
        [sys.executable, "-c", CHILD, *at, *arguments],
        check=False,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": path},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert "pressed" in ended.stderr
    return ended.returncode, ended.stdout, ended.stderr


@pytest.mark.skipif(os.name != "posix", reason="sends SIGINT")
@pytest.mark.parametrize(
    ("at", "command"),
    [
        (("optimizer.solve.why", "_in_order"), ("why", STUDY)),
        (("optimizer.solve.demands", "as_row"), ("why", STUDY)),
        (("optimizer.solve.front_points", "_assess"), ("front", STUDY)),
        (
            ("optimizer.solve.front_points", "_assess"),
            ("front", STUDY, "--goals", "metabolic,comfort"),
        ),
        (("exit", ""), ("place", STUDY)),
    ],
)
def test_what_is_known_is_told(at: tuple[str, str], command: tuple[str, ...]) -> None:
    code, out, err = pressed(at, *command)
    assert code == 0, err
    assert len(out.splitlines()) > 10
    assert "stopped by hand" not in err and "KeyboardInterrupt" not in err


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(interrupts, "_HELD", interrupts._Held())
    before = signal.getsignal(signal.SIGINT)
    hold()
    yield
    signal.signal(signal.SIGINT, before)


def press() -> None:
    signal.raise_signal(signal.SIGINT)


@pytest.mark.usefixtures("held")
def test_before_anything_is_known_it_ends_the_command() -> None:
    with pytest.raises(KeyboardInterrupt):
        press()


@pytest.mark.usefixtures("held")
def test_once_something_is_known_it_waits_for_the_next_search() -> None:
    with stoppable():
        pass
    press()
    with pytest.raises(KeyboardInterrupt), stoppable():
        raise AssertionError("the search goes on")
    with stoppable():  # and ends one only
        pass


@pytest.mark.usefixtures("held")
def test_the_second_one_does_not_wait() -> None:
    with stoppable():
        pass
    press()
    with pytest.raises(KeyboardInterrupt):
        press()


@pytest.mark.usefixtures("held")
def test_a_search_within_a_search_leaves_the_outer_one_open() -> None:
    with stoppable():
        with pytest.raises(KeyboardInterrupt), stoppable():
            press()
        with pytest.raises(KeyboardInterrupt):
            press()


@pytest.mark.usefixtures("held")
def test_once_the_answer_is_told_it_changes_nothing() -> None:
    answered()
    press()
