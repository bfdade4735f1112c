"""What all commands share: an answer shown as tables or JSON, errors told once, exit codes."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from rich.console import RenderableType

from optimizer.errors import DisagreementError, Flaw, InputError, Origin
from optimizer.interrupts import answered
from optimizer.study.files import writing
from optimizer.views.console import Consoles, show

if TYPE_CHECKING:
    from optimizer.study.model import Study

OK = 0
FAULT = 1
BAD_INPUT = 2
INFEASIBLE = 3
STOPPED = 4
INTERRUPTED = 130
T = TypeVar("T")


@dataclass(frozen=True)
class Answer:
    """What a command found: how its document and its tables are made, and its exit code.

    Of a thousand layouts either takes seconds: both are made only when asked for.
    """

    told: Callable[[], Mapping[str, Any]]
    view: Callable[[], RenderableType]
    code: int = OK

    @cached_property
    def document(self) -> Mapping[str, Any]:
        """The answer as a document."""
        return self.told()


def shown_anyway(make: Callable[[], T]) -> T:
    """Make what shows an answer that is there; a Ctrl-C meant for the search does not lose it.

    A second Ctrl-C ends it.
    """
    try:
        return make()
    except KeyboardInterrupt:
        return make()


def answer(consoles: Consoles, json_to: str | None, ask: Callable[[], Answer]) -> int:
    """Ask, show, and return the exit code.

    `json_to` None: tables on stdout. "-": the document on stdout instead. A path: the document
    to that file, and the tables on stdout.
    """
    try:
        with writing("--json", json_to):
            found = ask()
        if json_to is not None:
            _write_json(shown_anyway(lambda: _encoded(found)), json_to)
        if json_to != "-":
            shown_anyway(lambda: show(consoles.out, found.view()))
        sys.stdout.flush()
        answered()
        return found.code
    except InputError as error:
        from optimizer.views.errors import error_text

        # elsewhere than on a terminal lines stay whole, so that they can be searched
        width = consoles.err.width if consoles.err.is_terminal else None
        consoles.err.print(error_text(error, width), soft_wrap=True)
        return BAD_INPUT
    except DisagreementError as error:
        consoles.err.print(
            f"limbtrim: a fault of the program, not of the study: {error}. "
            "No answer is given rather than a doubtful one; please report this with the study."
        )
        return FAULT
    except KeyboardInterrupt:
        consoles.err.print("limbtrim: stopped by hand before there was an answer")
        return INTERRUPTED
    except BrokenPipeError:
        # whoever read the output has seen enough; keep the interpreter from complaining later
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK


def _encoded(found: Answer) -> str:
    from optimizer.views.json import encode

    return encode(found.document)


def _write_json(text: str, json_to: str) -> None:
    from optimizer._write import write_whole

    if json_to == "-":
        sys.stdout.flush()
        sys.stdout.buffer.write(text.encode())  # UTF-8 whatever the terminal's charset
        sys.stdout.buffer.flush()
        return
    try:
        write_whole(Path(json_to), text)
    except OSError as error:
        reason = error.strerror or str(error)
        found = f"{json_to}, which cannot be written: {reason}"
        raise InputError(
            [Flaw(Origin("--json"), found, "a file in a folder you may write")]
        ) from error


def read_study(path: str | Path, assignments: Sequence[str]) -> Study:
    """The study as written, with what `--set` says.

    Raises
    ------
    InputError
        With every flaw of both.
    """
    from optimizer.study.load import load_study
    from optimizer.study.overrides import read_overrides

    steps, flaws = read_overrides(assignments)
    try:
        study = load_study(path, steps)
    except InputError as error:
        raise InputError([*flaws, *error.flaws]) from None
    if flaws:
        raise InputError(flaws)
    return study


def check_choices(*given: tuple[str, str, Sequence[str]]) -> None:
    """Raise InputError for every option (its name, what was typed, what it takes) not among those.

    Options are not enumerations of the command line's own: those name no nearest choice.
    """
    from optimizer.study.words import choice_of, nearest, quoted

    flaws = [
        Flaw(Origin(option), quoted(typed), choice_of(choices), nearest(typed, choices))
        for option, typed, choices in given
        if typed not in choices
    ]
    if flaws:
        raise InputError(flaws)


def overrides(assignments: Sequence[str]) -> Mapping[str, object] | None:
    """What `--set path=value` (repeatable) says, by path; None where nothing is set."""
    if not assignments:
        return None
    from optimizer.study.overrides import parse_overrides

    return parse_overrides(assignments)
