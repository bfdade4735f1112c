"""The layout that a report, a build sheet or an export is about: found by solving, or given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.assess.result import Assessment, Infeasible, Proof, Ranking
from optimizer.commands._beside import Beside
from optimizer.commands._run import INFEASIBLE, STOPPED, Answer, read_study
from optimizer.errors import Flaw, InputError, Origin
from optimizer.setting import Setting
from optimizer.views.console import Consoles


@dataclass(frozen=True, slots=True)
class Request:
    """Which layout is wanted: of `layout_path` (with `lines_path`, `rank`), else the best."""

    study_path: str
    layout_path: str | None = None
    lines_path: str | None = None
    rank: int | None = None
    top: int | None = None
    time_limit_s: float | None = None
    settings: Sequence[str] = ()
    quiet: bool = False

    def lines_beside(self) -> Beside:
        """Lines are those of a layout that is given."""
        return Beside("--lines", self.lines_path, "--layout FILE", self.layout_path is not None)


@dataclass(frozen=True, slots=True)
class Planned:
    """The layout asked for; `ranking` is None where it was given."""

    setting: Setting
    plan: Assessment
    proof: Proof
    ranking: Ranking | None
    assumed: tuple[str, ...]


def planned(consoles: Consoles, request: Request, *, studys_top: bool = False) -> Planned | Answer:
    """The layout, or what `place` would say where there is none.

    `studys_top`: where nobody says how many to rank, as many as the study does; else no more than
    are needed.

    Raises
    ------
    InputError
        If study, layout or lines cannot be used, or fewer layouts are found than the rank.
    """
    from optimizer.assess.assessment import assess
    from optimizer.assess.layout_file import read_given_layout
    from optimizer.setting import build_setting
    from optimizer.solve.place import place as solve
    from optimizer.views.json import infeasible_document, ranking_document
    from optimizer.views.page import infeasible_page, stopped_page
    from optimizer.views.progress import ProgressLine

    study = read_study(request.study_path, request.settings)
    setting = build_setting(study)
    rank = 1 if request.rank is None else request.rank
    if request.layout_path is not None:
        given = read_given_layout(request.layout_path, setting, rank, request.lines_path)
        plan = assess(setting, given.layout)
        nan = float("nan")
        return Planned(
            setting, plan, Proof("given", plan.score, nan, nan, 0.0, 0), None, given.assumed
        )
    with ProgressLine(consoles.err, quiet=request.quiet) as progress:
        top = study.solve.top if studys_top else rank
        top = max(rank, top if request.top is None else request.top)
        found = solve(setting, top, None, request.time_limit_s, progress)
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
    if rank > len(found.layouts):
        expected = f"a rank from 1 to {len(found.layouts)}"
        expected += ", the layouts there are" if found.exhausted else ", all found in the time"
        raise InputError([Flaw(Origin("--rank"), str(rank), expected)])
    chosen = found.layouts[rank - 1]
    return Planned(setting, chosen.assessment, chosen.proof, found, ())


def measured_beside(parts_path: str | None, lines_path: str | None) -> Beside:
    """Measured lines are those of a weighed prototype."""
    return Beside("--measured-lines", lines_path, "--measured FILE", parts_path is not None)


def prototype(
    setting: Setting, parts_path: str | None, lines_path: str | None
) -> tuple[Assessment | None, tuple[str, ...]]:
    """The weighed prototype and what had to be assumed of it; None where none was weighed."""
    from optimizer.assess.assessment import assess
    from optimizer.assess.layout_file import read_given_layout

    if parts_path is None:
        return None, ()
    options = ("--measured", "--measured-lines")
    given = read_given_layout(parts_path, setting, 1, lines_path, options)
    return assess(setting, given.layout), given.assumed
