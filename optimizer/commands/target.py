"""`limbtrim target`: at which values of a number something is so."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from optimizer.commands._run import STOPPED, Answer, read_study
from optimizer.commands._turned import swept_code, turned
from optimizer.views.console import Consoles


def target(
    consoles: Consoles,
    study_path: str,
    paths: Sequence[str],
    *,
    low: float | None = None,
    high: float | None = None,
    figure: str | None = None,
    at_most: float | None = None,
    at_least: float | None = None,
    part: str | None = None,
    where: str | None = None,
    time_limit_s: float | None = None,
    settings: Sequence[str] = (),
    quiet: bool = False,
) -> Answer:
    """Find where along a number the best layout meets a wish."""
    from optimizer.solve.epsilon import SearchStoppedError
    from optimizer.solve.targets import target as solve
    from optimizer.solve.wish import wish_of
    from optimizer.views.progress import ProgressLine
    from optimizer.views.targets import stopped_document, stopped_page, target_document, target_page
    from optimizer.views.words import counted

    wish = wish_of(figure, at_most, at_least, part, where)
    study = read_study(study_path, settings)
    dial, start, end = turned(study_path, paths, low, high, settings)
    try:
        with ProgressLine(consoles.err, quiet=quiet) as progress:
            found = solve(
                dial,
                start,
                end,
                wish,
                time_limit_s=inf if time_limit_s is None else time_limit_s,
                on_solve=lambda n: progress.tell(f"{dial.label}: {counted(n, 'solve')} so far"),
            )
    except SearchStoppedError:
        return Answer(lambda: stopped_document(study), lambda: stopped_page(study), STOPPED)
    if not quiet:
        consoles.err.print(
            f"limbtrim: {counted(found.solves, 'solve')}, {found.seconds:.2f} s", soft_wrap=True
        )
    return Answer(
        lambda: target_document(study, found),
        lambda: target_page(study, found, consoles.out),
        swept_code(found.sweep),
    )
