"""`limbtrim compare`: two layouts, garments or studies side by side, differences first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from optimizer.commands._run import INFEASIBLE, OK, Answer, overrides
from optimizer.errors import Flaw, InputError
from optimizer.views.console import Consoles

if TYPE_CHECKING:
    from optimizer.solve.compare import Side


def compare(
    consoles: Consoles,
    study_a: str,
    study_b: str | None = None,
    *,
    layouts: tuple[str | None, str | None] = (None, None),
    ranks: tuple[int, int] = (1, 1),
    settings: tuple[Sequence[str], Sequence[str]] = ((), ()),
    time_limit_s: float | None = None,
    quiet: bool = False,
) -> Answer:
    """Compare two sides; the second study is the first's if none is given."""
    from optimizer.solve.compare import compare as put_together
    from optimizer.views.compare import comparison_document, comparison_page
    from optimizer.views.progress import ProgressLine

    studies = (study_a, study_a if study_b is None else study_b)
    with ProgressLine(consoles.err, quiet=quiet) as progress:
        sides = []
        for i in (0, 1):
            progress.tell(f"looking for the best layout of {studies[i]}")
            try:
                side = _side(studies[i], layouts[i], ranks[i], settings[i], time_limit_s)
            except InputError as error:
                raise InputError([_of_side(flaw, "ab"[i]) for flaw in error.flaws]) from None
            sides.append(side)
    found = put_together(*sides)
    missing = any(side.assessment is None for side in sides)
    return Answer(
        lambda: comparison_document(found),
        lambda: comparison_page(found, consoles.out),
        INFEASIBLE if missing else OK,
    )


def _of_side(flaw: Flaw, side: str) -> Flaw:
    """A flaw of what was typed after an option, naming the option of this side."""
    named = {"--set": f"--set-{side}", "--rank": f"--rank-{side}"}
    origin = flaw.origin
    return replace(flaw, origin=replace(origin, file=named.get(origin.file, origin.file)))


def _side(
    study_path: str,
    layout_path: str | None,
    rank: int,
    settings: Sequence[str],
    time_limit_s: float | None,
) -> Side:
    from optimizer.assess.assessment import assess
    from optimizer.assess.layout_file import read_given_layout
    from optimizer.setting import build_setting
    from optimizer.solve.compare import Side, best_side
    from optimizer.study.files import display
    from optimizer.study.load import load_study

    setting = build_setting(load_study(study_path, overrides(settings)))
    told = " ".join([display(study_path), *(f"--set {text}" for text in settings)])
    if layout_path is None:
        return best_side(told, setting, time_limit_s)
    given = read_given_layout(layout_path, setting, rank)
    label = f"{display(layout_path)}{f' rank {rank}' if rank > 1 else ''} in {told}"
    return Side(label, setting.study, assess(setting, given.layout), "given")
