"""The command line: parse, call, show. Nothing is computed here.

Exit codes: 0 done; 1 a fault of limbtrim itself; 2 input that cannot be used; 3 no layout meets
every limit (`place`), or the given one breaks one (`weigh`); 4 stopped before any layout was
found; 130 interrupted before there was an answer.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from optimizer._version import __version__
from optimizer.interrupts import hold

if TYPE_CHECKING:
    import typer

EXIT_CODES = (
    "Exit codes: 0 done; 2 input that cannot be used; 3 no layout meets every limit, or the "
    "weighed one breaks one; 4 stopped before any layout was found."
)
CAUTION = (
    "Costs are population averages, not a prescription. Test on the bench first. Local codes, "
    "medical-device rules, and licensed orthotists and clinicians decide what may be worn."
)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; exits the process with the command's code."""
    if arguments is None:
        hold()
    given = list(sys.argv[1:] if arguments is None else arguments)
    if given in (["--version"], ["-V"]):
        print(version_text())  # before anything heavy is imported
        return
    try:
        build_app()(args=given or ["--help"], prog_name="limbtrim")
    except KeyboardInterrupt:  # before a command took over, while modules were still read
        print("limbtrim: stopped by hand before there was an answer", file=sys.stderr)
        raise SystemExit(130) from None


def version_text() -> str:
    """The version, and in a line of its own whether the compiled parts are used."""
    from optimizer.native.library import why_not

    reason = why_not()
    return f"limbtrim {__version__}\ncompiled parts: {f'not used, {reason}' if reason else 'used'}"


def build_app() -> typer.Typer:
    """The typer application."""
    from optimizer.commands import _app, _paper, _tradeoffs

    assert _paper and _tradeoffs  # they add their commands to the application
    return _app.app
