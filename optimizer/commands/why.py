"""`limbtrim why`: why each part sits where it does, and what each limit costs."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from optimizer.commands._run import INFEASIBLE, STOPPED, Answer, read_study
from optimizer.views.console import Consoles


def why(
    consoles: Consoles,
    study_path: str,
    part: str | None = None,
    *,
    time_limit_s: float | None = None,
    settings: Sequence[str] = (),
    quiet: bool = False,
) -> Answer:
    """Solve a study, then ask what each part's other sites and each limit's loosening are worth."""
    from optimizer.assess.result import Infeasible, Ranking
    from optimizer.solve.why import why as ask
    from optimizer.views.json import infeasible_document, ranking_document
    from optimizer.views.page import infeasible_page, stopped_page
    from optimizer.views.runs import RunLine, duration
    from optimizer.views.why import why_page
    from optimizer.views.why_json import why_document

    study = read_study(study_path, settings)
    with RunLine(consoles.err, quiet=quiet) as progress:
        found = ask(study, part, progress, inf if time_limit_s is None else time_limit_s)
    if isinstance(found, Infeasible):
        return Answer(
            lambda: infeasible_document(study, found),
            lambda: infeasible_page(study, found),
            INFEASIBLE,
        )
    if found is None:
        empty = Ranking(study.name, (), False, 0.0, {}, study.warnings)
        return Answer(
            lambda: ranking_document(study, empty), lambda: stopped_page(study, empty), STOPPED
        )
    if not quiet:
        consoles.err.print(f"limbtrim: took {duration(found.seconds)}")
    return Answer(lambda: why_document(study, found), lambda: why_page(study, found, consoles.out))
