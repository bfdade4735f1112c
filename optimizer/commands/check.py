"""`limbtrim check`: is a study in order, and what was read."""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.commands._run import Answer, overrides, read_study


def check(study_path: str, settings: Sequence[str] = ()) -> Answer:
    """Read a study with all its tables; every flaw is raised at once.

    Its scenarios are read too once the study as written is sound: each is a study of its own.
    """
    from optimizer.study.cases import load_scenarios
    from optimizer.views.header import study_view
    from optimizer.views.json import study_document

    study = read_study(study_path, settings)
    load_scenarios(study_path, study.scenarios, overrides(settings))
    return Answer(lambda: study_document(study), lambda: study_view(study))
