"""The layout that a report, a build sheet or an export is about: found by solving, or given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.assess.result import Assessment, Infeasible, Proof, Ranking
from optimizer.commands._run import INFEASIBLE, STOPPED, Answer, read_study
from optimizer.setting import Setting
from optimizer.views.console import Consoles


@dataclass(frozen=True, slots=True)
class Request:
    """Which layout is wanted: of `layout_path` (with `lines_path`, `rank`), else the best."""

    study_path: str
    layout_path: str | None = None
    lines_path: str | None = None
    rank: int = 1
    top: int | None = None
    time_limit_s: float | None = None
    settings: Sequence[str] = ()
    quiet: bool = False


@dataclass(frozen=True, slots=True)
class Planned:
    """The layout asked for; `ranking` is None where it was given."""

    setting: Setting
    plan: Assessment
    proof: Proof
    ranking: Ranking | None
    assumed: tuple[str, ...]


def planned(consoles: Consoles, request: Request) -> Planned | Answer:
    """The layout, or what `place` would say where there is none."""
    from optimizer.assess.assessment import assess
    from optimizer.assess.layout_file import read_given_layout
    from optimizer.setting import build_setting
    from optimizer.solve.place import place as solve
    from optimizer.views.json import infeasible_document, ranking_document
    from optimizer.views.page import infeasible_page, stopped_page
    from optimizer.views.progress import ProgressLine

    study = read_study(request.study_path, request.settings)
    setting = build_setting(study)
    if request.layout_path is not None:
        given = read_given_layout(request.layout_path, setting, request.rank, request.lines_path)
        plan = assess(setting, given.layout)
        nan = float("nan")
        return Planned(
            setting, plan, Proof("given", plan.score, nan, nan, 0.0, 0), None, given.assumed
        )
    with ProgressLine(consoles.err, quiet=request.quiet) as progress:
        top = request.top if request.top is not None else request.rank
        found = solve(setting, max(top, request.rank), None, request.time_limit_s, progress)
    if isinstance(found, Infeasible):
        return Answer(
            lambda: infeasible_document(study, found),
            lambda: infeasible_page(study, found),
            INFEASIBLE,
        )
    if not found.layouts:
        return Answer(
            lambda: ranking_document(study, found), lambda: stopped_page(study, found), STOPPED
        )
    chosen = found.layouts[min(request.rank, len(found.layouts)) - 1]
    return Planned(setting, chosen.assessment, chosen.proof, found, ())


def prototype(
    setting: Setting, parts_path: str | None, lines_path: str | None
) -> tuple[Assessment | None, tuple[str, ...]]:
    """The weighed prototype and what had to be assumed of it; None where none was weighed."""
    from optimizer.assess.assessment import assess
    from optimizer.assess.layout_file import read_given_layout
    from optimizer.errors import Flaw, InputError, Origin

    if parts_path is None:
        if lines_path is not None:
            flaw = Flaw(Origin("--measured-lines"), lines_path, "--measured FILE beside it")
            raise InputError([flaw])
        return None, ()
    given = read_given_layout(parts_path, setting, 1, lines_path)
    return assess(setting, given.layout), given.assumed
