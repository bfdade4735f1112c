"""`limbtrim front`: every trade-off that nothing beats, proven complete."""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.commands._run import INFEASIBLE, OK, STOPPED, Answer, read_study
from optimizer.errors import Flaw, InputError, Origin
from optimizer.views.console import Consoles


def front(
    consoles: Consoles,
    study_path: str,
    *,
    goals: Sequence[str] = (),
    third: str | None = None,
    time_limit_s: float | None = None,
    settings: Sequence[str] = (),
    quiet: bool = False,
) -> Answer:
    """List the front of a study; stopped early, what it has by then."""
    from optimizer.assess.result import Infeasible
    from optimizer.solve.front import DEFAULT_GOALS
    from optimizer.solve.front import front as solve
    from optimizer.views.front import front_document, front_page
    from optimizer.views.json import infeasible_document
    from optimizer.views.page import infeasible_page
    from optimizer.views.progress import ProgressLine
    from optimizer.views.words import counted

    if goals and len(goals) != 2:
        given = counted(len(goals), "goal")
        raise InputError([Flaw(Origin("--goals"), given, "two, as in metabolic,comfort")])
    study = read_study(study_path, settings)
    with ProgressLine(consoles.err, quiet=quiet) as progress:
        found = solve(
            study,
            tuple(goals) or DEFAULT_GOALS,
            third,
            time_limit_s=time_limit_s,
            on_point=lambda n: progress.tell(
                f"{counted(n, 'point')} of the front so far (Ctrl-C ends it with these)"
            ),
        )
    if isinstance(found, Infeasible):
        return Answer(
            lambda: infeasible_document(study, found),
            lambda: infeasible_page(study, found),
            INFEASIBLE,
        )
    if not quiet:
        consoles.err.print(
            f"limbtrim: {counted(found.solves, 'solve')}, {found.seconds:.2f} s", soft_wrap=True
        )
    return Answer(
        lambda: front_document(study, found),
        lambda: front_page(study, found, consoles.out),
        OK if found.points else STOPPED,
    )
