"""`limbtrim whatif`: scenarios of the study, or given as `--set`, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import TYPE_CHECKING

from optimizer.commands._run import INFEASIBLE, OK, STOPPED, Answer
from optimizer.errors import Flaw, InputError, Origin
from optimizer.views.console import Consoles

if TYPE_CHECKING:
    from optimizer.solve.whatif import CaseResult
    from optimizer.study.model import Scenario, Study


def whatif(
    consoles: Consoles,
    study_path: str,
    *,
    names: Sequence[str] = (),
    settings: Sequence[str] = (),
    time_limit_s: float | None = None,
    quiet: bool = False,
) -> Answer:
    """Solve the study as written and its scenarios."""
    from optimizer.solve.whatif import Case
    from optimizer.solve.whatif import whatif as solve
    from optimizer.study.cases import load_scenarios
    from optimizer.study.load import load_study
    from optimizer.study.scenarios import settings_words
    from optimizer.views.progress import ProgressLine
    from optimizer.views.whatif import whatif_document, whatif_page

    study = load_study(study_path)
    chosen, flaws = _scenarios(study, names, settings)
    try:
        studies = load_scenarios(study_path, chosen)
    except InputError as error:
        flaws += error.flaws
    if flaws:
        raise InputError(flaws)
    cases = [
        Case(scenario.name, settings_words(scenario.settings), changed)
        for scenario, changed in zip(chosen, studies, strict=True)
    ]
    with ProgressLine(consoles.err, quiet=quiet) as progress:
        found = solve(
            study,
            cases,
            time_limit_s=inf if time_limit_s is None else time_limit_s,
            on_case=lambda i, name: progress.tell(f"{name}: {i + 1} of {len(cases) + 1}"),
        )
    return Answer(
        lambda: whatif_document(study, found),
        lambda: whatif_page(study, found, consoles.out),
        _code(found.results[1:] or found.results),
    )


def _code(asked: Sequence[CaseResult]) -> int:
    """Whether any scenario that was asked for has a layout; the study as written if none began."""
    if any(result.best is not None for result in asked):
        return OK
    return INFEASIBLE if all(result.infeasible is not None for result in asked) else STOPPED


def _scenarios(
    study: Study, names: Sequence[str], settings: Sequence[str]
) -> tuple[list[Scenario], list[Flaw]]:
    """The scenarios asked for: those named, the one that is set, else all that are written.

    With them what is wrong: a name the study does not have, a `--set` that cannot be read, no
    scenario at all.
    """
    from optimizer.study.cases import scenario_of
    from optimizer.study.overrides import OVERRIDE_FILE, read_overrides
    from optimizer.study.words import nearest

    written = {scenario.name: scenario for scenario in study.scenarios}
    flaws = [
        Flaw(
            Origin("--scenario"),
            repr(name),
            "a scenario of the study",
            nearest(name, tuple(written)),
        )
        for name in names
        if name not in written
    ]
    chosen = [written[name] for name in names if name in written]
    if settings:
        steps, wrong = read_overrides(settings)
        flaws += wrong
        chosen.append(scenario_of("as set", steps, OVERRIDE_FILE))
    if not names and not settings:
        chosen = list(study.scenarios)
    if not chosen and not flaws:
        expected = "--set path=value, or [[scenarios]] with a name and what they set in the study"
        flaws.append(Flaw(study.origin, "no scenario", expected))
    return chosen, flaws
