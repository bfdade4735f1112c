"""`limbtrim weigh`: what a given or as-built layout costs, and whether it keeps the limits."""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.commands._run import INFEASIBLE, OK, Answer, read_study
from optimizer.views.console import Consoles


def weigh(
    consoles: Consoles,
    study_path: str,
    layout_path: str,
    *,
    lines_path: str | None = None,
    rank: int = 1,
    settings: Sequence[str] = (),
) -> Answer:
    """Assess the layout in a file; one that breaks a limit is told in full, with exit code 3."""
    from optimizer.assess.assessment import assess
    from optimizer.assess.dynamics import swing_report
    from optimizer.assess.layout_file import read_given_layout
    from optimizer.setting import build_setting
    from optimizer.views.json import assessment_document
    from optimizer.views.page import assessment_page
    from optimizer.views.sketch import sketch_view

    setting = build_setting(read_study(study_path, settings))
    given = read_given_layout(layout_path, setting, rank, lines_path)
    found = assess(setting, given.layout)
    swing = swing_report(setting, found)
    return Answer(
        lambda: assessment_document(setting.study, found, given.assumed, swing),
        lambda: assessment_page(
            setting.study,
            found,
            consoles.out,
            given.assumed,
            swing,
            sketch_view(setting, found, consoles.out),
        ),
        OK if found.feasible else INFEASIBLE,
    )
