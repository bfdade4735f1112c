"""The two consoles everything is shown on: results on stdout, progress and complaints on stderr.

Width: `--width`, else the environment's COLUMNS, else the terminal's, else 80. Piped output is
plain: no colour, no control codes, 80 columns unless --width or COLUMNS says otherwise. A
NO_COLOR that is not empty, or TERM=dumb, makes a terminal's output plain as well.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from io import TextIOWrapper
from typing import IO

from rich.console import Console, RenderableType
from rich.theme import Theme

DEFAULT_WIDTH = 80
LEAST_WIDTH = 40

#: Few styles, each named for what it says; whatever they mark is also said in words.
THEME = Theme(
    {
        "head": "bold",
        "quiet": "dim",
        "group": "bold",
        "good": "green",
        "tight": "yellow",
        "bad": "bold red",
        "caution": "italic",
    },
    inherit=False,
)


@dataclass(frozen=True, slots=True)
class Consoles:
    """Where results (`out`) and where progress and complaints (`err`) are shown."""

    out: Console
    err: Console


def plain_wanted(environment: Mapping[str, str]) -> bool:
    """Whether the environment asks for output without any control codes."""
    return bool(environment.get("NO_COLOR")) or environment.get("TERM") in ("dumb", "unknown")


def wanted_width(width: int | None, environment: Mapping[str, str]) -> int | None:
    """The width asked for by `--width` or COLUMNS; None where neither says."""
    if width is not None:
        return width
    columns = environment.get("COLUMNS", "")
    if columns.isdecimal() and int(columns) > 0:
        return max(LEAST_WIDTH, int(columns))
    return None


def make_console(
    stream: IO[str], width: int | None = None, environment: Mapping[str, str] | None = None
) -> Console:
    """A console writing to `stream` that neither wraps wider than wanted nor highlights."""
    env = os.environ if environment is None else environment
    if isinstance(stream, TextIOWrapper):
        with suppress(OSError, ValueError):
            stream.reconfigure(errors="replace")  # a name no terminal charset may stop a run
    asked = wanted_width(width, env)
    terminal = stream.isatty()
    if asked is None and not terminal:
        asked = DEFAULT_WIDTH
    coloured = terminal and not plain_wanted(env)
    console = Console(
        file=stream,
        width=asked,
        theme=THEME,
        highlight=False,
        markup=False,
        emoji=False,
        soft_wrap=False,
        color_system="auto" if coloured else None,
        force_terminal=coloured,
        no_color=not coloured,
        legacy_windows=None if coloured else False,
    )
    if asked is None and console.width < LEAST_WIDTH:
        console.width = LEAST_WIDTH
    return console


def show(console: Console, *renderables: RenderableType) -> None:
    """Print, leaving no spaces at line ends where the output is not a terminal's."""
    if console.is_terminal:
        console.print(*renderables)
        return
    with console.capture() as captured:
        console.print(*renderables)
    lines = captured.get().splitlines()
    console.file.write("".join(f"{line.rstrip()}\n" for line in lines))
    console.file.flush()


def make_consoles(width: int | None = None) -> Consoles:
    """The process's two consoles."""
    return Consoles(make_console(sys.stdout, width), make_console(sys.stderr, width))
