"""A Ctrl-C that comes once the answer is there does not lose it."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from pathlib import Path

import pytest

from optimizer.commands._run import INTERRUPTED, OK, Answer, answer
from optimizer.views.console import Consoles, make_console


def unasked_for() -> Mapping[str, object]:
    raise AssertionError("a document that nobody asked for")


def shown(interrupts: int) -> tuple[int, str, str]:
    """Exit code, output and messages of an answer whose tables are interrupted so many times."""
    out, err = io.StringIO(), io.StringIO()
    left = iter(range(interrupts))

    def view() -> str:
        if next(left, None) is not None:
            raise KeyboardInterrupt
        return "the layouts"

    consoles = Consoles(make_console(out), make_console(err))
    code = answer(consoles, None, lambda: Answer(unasked_for, view))
    return code, out.getvalue(), err.getvalue()


@pytest.mark.parametrize("interrupts", [0, 1])
def test_the_first_one_is_let_pass(interrupts: int) -> None:
    assert shown(interrupts) == (OK, "the layouts\n", "")


def test_the_second_one_ends_it() -> None:
    code, out, err = shown(2)
    assert (code, out) == (INTERRUPTED, "")
    assert "stopped by hand" in err


@pytest.mark.parametrize("interrupts", [0, 1])
def test_nor_is_the_document_lost_that_is_being_made(interrupts: int, tmp_path: Path) -> None:
    left, made = iter(range(interrupts)), []

    def told() -> Mapping[str, object]:
        made.append(1)
        if next(left, None) is not None:
            raise KeyboardInterrupt
        return {"layouts": 900}

    consoles = Consoles(make_console(io.StringIO()), make_console(io.StringIO()))
    path = tmp_path / "answer.json"
    assert answer(consoles, str(path), lambda: Answer(told, lambda: "the layouts")) == OK
    assert json.loads(path.read_text())["layouts"] == 900
    assert len(made) == interrupts + 1
