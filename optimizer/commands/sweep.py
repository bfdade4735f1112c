"""`limbtrim sweep`: the values of a number at which the best layout changes."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from optimizer.commands._run import Answer, check_choices, read_study
from optimizer.commands._turned import swept_code, turned
from optimizer.views.console import Consoles


def sweep(
    consoles: Consoles,
    study_path: str,
    paths: Sequence[str],
    *,
    low: float | None = None,
    high: float | None = None,
    method: str | None = None,
    time_limit_s: float | None = None,
    settings: Sequence[str] = (),
    quiet: bool = False,
) -> Answer:
    """Sweep a number, or several turned together."""
    from optimizer.solve.sweep import sweep as solve
    from optimizer.solve.sweep_result import BISECTION, EXACT
    from optimizer.views.progress import ProgressLine
    from optimizer.views.sweep import sweep_document, sweep_page
    from optimizer.views.words import counted

    if method is not None:
        check_choices(("--method", method, (EXACT, BISECTION)))
    study = read_study(study_path, settings)
    dial, start, end = turned(study_path, paths, low, high, settings)
    with ProgressLine(consoles.err, quiet=quiet) as progress:
        found = solve(
            dial,
            start,
            end,
            method=method,
            time_limit_s=inf if time_limit_s is None else time_limit_s,
            on_solve=lambda n: progress.tell(
                f"{dial.label}: {counted(n, 'solve')} so far (Ctrl-C ends it with these)"
            ),
        )
    if not quiet:
        consoles.err.print(
            f"limbtrim: {counted(found.solves, 'solve')}, {found.seconds:.2f} s", soft_wrap=True
        )
    return Answer(
        lambda: sweep_document(study, found),
        lambda: sweep_page(study, found, consoles.out),
        swept_code(found),
    )
