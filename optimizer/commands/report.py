"""`limbtrim report`: pictures, one self-contained page, the build sheet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from optimizer.commands._beside import Beside, require_beside
from optimizer.commands._plan import Planned, Request, measured_beside, planned, prototype
from optimizer.commands._run import INFEASIBLE, OK, Answer, read_study
from optimizer.commands._turned import swept
from optimizer.commands._turned import turned as turned_over
from optimizer.interrupts import stoppable
from optimizer.views.console import Consoles

if TYPE_CHECKING:
    from optimizer.setting import Setting
    from optimizer.solve.front import Front
    from optimizer.trust.result import Trust

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Extras:
    """What else a report may hold."""

    front: bool = True
    sweep: str | None = None
    low: float | None = None
    high: float | None = None
    trust: bool = False
    measured: str | None = None
    measured_lines: str | None = None
    solved_draws: int | None = None


def report(consoles: Consoles, request: Request, folder: Path, extras: Extras) -> Answer:
    """Write the report's folder; what else was found is told in the sections it has."""
    from optimizer.report.folder import write_folder
    from optimizer.report.make import (
        MEASURED_LINES,
        MEASURED_PARTS,
        PAGE,
        Results,
        report_files,
    )
    from optimizer.report.need import require_matplotlib
    from optimizer.report.sweep_curve import curve_of
    from optimizer.study.files import display
    from optimizer.views.paper import written_page, written_paper

    swept_over, trusted = extras.sweep is not None, extras.trust
    require_beside(
        [
            request.lines_beside(),
            measured_beside(extras.measured, extras.measured_lines),
            Beside("--from", extras.low, "--sweep PATH", swept_over),
            Beside("--to", extras.high, "--sweep PATH", swept_over),
            Beside("--solve", extras.solved_draws, "--trust", trusted),
        ]
    )
    require_matplotlib()  # said before anything is solved
    turned = None
    if extras.sweep is not None:
        read_study(request.study_path, request.settings)  # its own flaws are none of the range's
        turned = turned_over(
            request.study_path, [extras.sweep], extras.low, extras.high, request.settings
        )
    found = planned(consoles, request)
    if isinstance(found, Answer):
        return found
    built, assumed = prototype(found.setting, extras.measured, extras.measured_lines)

    def extra(what: str, find: Callable[[], T]) -> T | None:
        """What is found; None where Ctrl-C ended it: the layout is told all the same."""
        try:
            with stoppable():
                return find()
        except KeyboardInterrupt:
            consoles.err.print(f"limbtrim: stopped by hand, {what} is left out", soft_wrap=True)
            return None

    results = Results(
        found.setting,
        found.plan,
        found.proof,
        found.ranking,
        built,
        (*found.assumed, *assumed),
        extra("the front", lambda: _front(found, request)) if extras.front else None,
        None
        if turned is None
        else extra("the sweep", lambda: curve_of(swept(turned, request.time_limit_s))),
        extra("how far to trust it", lambda: _trust(found.setting, extras.solved_draws))
        if extras.trust
        else None,
    )
    files = report_files(results)
    write_folder(folder, files, filled=(MEASURED_PARTS, MEASURED_LINES), page=PAGE)
    names = [display(folder / name) for name in files]
    return Answer(
        lambda: written_paper(names, results.plan, built),
        lambda: written_page(names, results.plan, built),
        OK if all(each.feasible for each in (results.plan, built) if each) else INFEASIBLE,
    )


def _front(found: Planned, request: Request) -> Front | None:
    from optimizer.assess.result import Infeasible
    from optimizer.solve.front import front

    made = front(found.setting, time_limit_s=request.time_limit_s)
    return None if isinstance(made, Infeasible) else made


def _trust(setting: Setting, solved_draws: int | None) -> Trust | None:
    from optimizer.assess.result import Infeasible
    from optimizer.trust.trust import SCENARIOS, trust

    found = trust(setting.study, scenarios=SCENARIOS if solved_draws is None else solved_draws)
    return None if isinstance(found, Infeasible) else found
