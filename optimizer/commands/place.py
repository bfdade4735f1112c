"""`limbtrim place`: the ranked, proven-best layouts."""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.commands._run import INFEASIBLE, OK, STOPPED, Answer, read_study
from optimizer.views.console import Consoles


def place(
    consoles: Consoles,
    study_path: str | None,
    *,
    top: int | None = None,
    gap: float | None = None,
    time_limit_s: float | None = None,
    settings: Sequence[str] = (),
    quiet: bool = False,
) -> Answer:
    """Solve a study, or the demo where none is given."""
    from optimizer.assess.dynamics import swing_report
    from optimizer.assess.result import Infeasible
    from optimizer.setting import build_setting
    from optimizer.solve.place import place as solve
    from optimizer.study.load import demo_path
    from optimizer.views.json import infeasible_document, ranking_document
    from optimizer.views.page import infeasible_page, ranking_page, stopped_page
    from optimizer.views.progress import ProgressLine
    from optimizer.views.ranking import effort_words
    from optimizer.views.sketch import sketch_view

    study = read_study(demo_path() if study_path is None else study_path, settings)
    if study_path is None and not quiet:
        consoles.err.print("limbtrim: no study given, so this is the demo")
    setting = build_setting(study)
    with ProgressLine(consoles.err, quiet=quiet) as progress:
        found = solve(setting, top, gap, time_limit_s, progress)
    asked_for = study.solve.top if top is None else top
    if isinstance(found, Infeasible):
        return Answer(
            lambda: infeasible_document(study, found),
            lambda: infeasible_page(study, found),
            INFEASIBLE,
        )
    if not quiet:
        consoles.err.print(f"limbtrim: {effort_words(found)}")
    if not found.layouts:
        return Answer(
            lambda: ranking_document(study, found, asked_for),
            lambda: stopped_page(study, found),
            STOPPED,
        )
    best = found.layouts[0].assessment
    swing = swing_report(setting, best)
    return Answer(
        lambda: ranking_document(study, found, asked_for, swing),
        lambda: ranking_page(
            study,
            found,
            consoles.out,
            asked_for,
            swing,
            sketch_view(setting, best, consoles.out),
        ),
        OK,
    )
