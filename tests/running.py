"""A command run in this process as if nothing were a terminal."""

from __future__ import annotations

import io
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout

from optimizer.cli import main


def run_here(arguments: Sequence[str]) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of a command."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    code = 0
    with redirect_stdout(out), redirect_stderr(err):
        try:
            main(list(arguments))
        except SystemExit as stop:
            code = int(stop.code or 0)
        out.flush()
        err.flush()
    said = [s.buffer.getvalue().decode() for s in (out, err)]  # type: ignore[attr-defined]
    return code, said[0], said[1]
