"""`limbtrim compare`: two layouts, garments or studies side by side, differences first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from optimizer.commands._beside import Beside, require_beside
from optimizer.commands._run import INFEASIBLE, OK, Answer, read_study
from optimizer.errors import Flaw, InputError
from optimizer.views.console import Consoles

if TYPE_CHECKING:
    from optimizer.assess.result import Layout
    from optimizer.setting import Setting
    from optimizer.solve.compare import Side


def compare(
    consoles: Consoles,
    study_a: str,
    study_b: str | None = None,
    *,
    layouts: tuple[str | None, str | None] = (None, None),
    ranks: tuple[int | None, int | None] = (None, None),
    settings: tuple[Sequence[str], Sequence[str]] = ((), ()),
    time_limit_s: float | None = None,
    quiet: bool = False,
) -> Answer:
    """Compare two sides; the second study is the first's if none is given."""
    from optimizer.solve.compare import compare as put_together
    from optimizer.views.compare import comparison_document, comparison_page
    from optimizer.views.progress import ProgressLine

    require_beside(
        Beside(f"--rank-{side}", rank, f"--layout-{side} FILE", layout is not None)
        for side, rank, layout in zip("ab", ranks, layouts, strict=True)
    )
    studies = (study_a, study_a if study_b is None else study_b)
    read, flaws = [], []
    for i, side in enumerate("ab"):
        try:
            read.append(_read(studies[i], layouts[i], ranks[i], settings[i], side))
        except InputError as error:
            flaws += [_of_side(flaw, side) for flaw in error.flaws]
    if flaws:
        # a study named once is wrong once
        raise InputError(list(dict.fromkeys(flaws)))
    with ProgressLine(consoles.err, quiet=quiet) as progress:
        sides = []
        for each, study in zip(read, studies, strict=True):
            progress.tell(f"looking for the best layout of {study}")
            sides.append(_side(each, time_limit_s))
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


@dataclass(frozen=True, slots=True)
class _Read:
    """What a side is made of, as read: `layout` None for the best one."""

    label: str
    setting: Setting
    layout: Layout | None


def _read(
    study_path: str, layout_path: str | None, rank: int | None, settings: Sequence[str], side: str
) -> _Read:
    from optimizer.assess.layout_file import read_given_layout
    from optimizer.setting import build_setting
    from optimizer.study.files import display

    setting = build_setting(read_study(study_path, settings))
    told = " ".join([display(study_path), *(f"--set {text}" for text in settings)])
    if layout_path is None:
        return _Read(told, setting, None)
    number = 1 if rank is None else rank
    options = (f"--layout-{side}", "--lines")
    given = read_given_layout(layout_path, setting, number, options=options)
    label = f"{display(layout_path)}{f' rank {number}' if number > 1 else ''} in {told}"
    return _Read(label, setting, given.layout)


def _side(read: _Read, time_limit_s: float | None) -> Side:
    from optimizer.assess.assessment import assess
    from optimizer.solve.compare import Side, best_side

    if read.layout is None:
        return best_side(read.label, read.setting, time_limit_s)
    return Side(read.label, read.setting.study, assess(read.setting, read.layout), "given")
